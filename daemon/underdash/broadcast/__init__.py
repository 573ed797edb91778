"""What comes without being asked for: declared layouts become decoders, one closure a wanted signal.

Start at `fields.py` (a field becomes a closure) and `dispatch.py` (listeners become entries of a bus's table).
Nothing here opens a bus, reads a clock or knows who looks at a signal.
"""
