"""Buses: frames, opening and reading, health and load, traces, and the guard in front of every send.

Start at `frames.py`, then `guard.py`. Nothing above this room ever touches a socket.
"""
