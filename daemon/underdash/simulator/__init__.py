"""A simulated car: engine, gearbox, batteries, driver and control units, with a seed and without a clock.

Start at `car.py`. Everything but `station.py` is a function of state and the time handed in.
"""
