"""Which field tells the position of the ignition."""
