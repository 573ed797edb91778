"""The contract between the core and its plug-ins: frozen value types, units and the hooks.

Start at `hooks.py`. Nothing here does I/O, and nothing here imports more than the standard library and pluggy.
"""
