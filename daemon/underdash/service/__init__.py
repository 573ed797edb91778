"""The daemon as a service: what it tells the service manager.

Start at `notify.py`. Nothing here knows a bus or a page.
"""
