"""The command line: one file a verb."""

from __future__ import annotations


def main() -> int:
    """Run."""
    return 0
