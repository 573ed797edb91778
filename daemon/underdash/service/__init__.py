"""The daemon as a service: what it tells the service manager, and the socket through which commands ask it.

Start at `messages.py` (what is said) and `control.py` (who may say it). Nothing here knows a bus or a page.
"""
