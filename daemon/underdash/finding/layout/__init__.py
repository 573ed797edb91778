"""How each frame comes and what it is made of: fields, counters, checksums, multiplexers."""
