"""``python -m underdash`` is the same as ``underdash``."""

from __future__ import annotations

import sys

from .cli import main

sys.exit(main())
