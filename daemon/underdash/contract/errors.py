"""The root of every error this program raises on purpose.

A message says what was being done, where, what was found, what is allowed, and the next step; it is printed as it is.
"""

from __future__ import annotations


class UnderdashError(Exception):
    """Something a person can put right; the message says how."""
