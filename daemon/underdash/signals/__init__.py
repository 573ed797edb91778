"""Signals: the catalogue, the store that keeps the latest sample of every source, and what is computed from others.

Start at `store.py`. Nothing here does I/O or reads a clock; every `now` is monotonic seconds handed in.
"""
