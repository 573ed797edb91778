"""Wiring: the rooms joined to a daemon, one file a joint.

Start at `assembly.py` (what turns frames into readings), then `daemon.py` (what runs them). Only this room and the
commands know all the others.
"""
