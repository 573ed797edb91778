"""Recording: what the signals were, kept for later.

Start at `export.py`. Nothing here knows where a signal came from.
"""
