"""Which field follows a knob or a pedal that is moved from end to end."""
