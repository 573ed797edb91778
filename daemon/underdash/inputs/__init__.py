"""Wired lines and sensors: GPIO lines, the kernel's IIO and hwmon channels, 1-Wire thermometers.

Start in `station.py`, which keeps all of them going. What can block is read in one thread of its own (`reader.py`),
never on the loop; devices are found anew whenever they were gone (`channels.py`).
"""
