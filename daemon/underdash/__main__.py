"""``python -m underdash`` is the same as ``underdash``."""

from __future__ import annotations

from .cli import entry

entry()
