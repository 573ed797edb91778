"""Files people write: the configuration and the descriptions of cars.

Start at `reading.py` (the configuration) and `cars.py` (a car). Every mistake of a file is reported at once, with the
line, what was found, what is allowed and the nearest right spelling. Nothing here opens a bus, a panel or a plug-in.
"""
