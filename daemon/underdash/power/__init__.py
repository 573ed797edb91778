"""Power: what the ignition is known to be, what the accessory does about it, and what that costs the battery.

Start at `ignition.py`, then the tables in `states.py`.
"""
