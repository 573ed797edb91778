from __future__ import annotations

from pathlib import Path


def written(folder: Path, text: str, name: str = "a.log") -> Path:
    """Write a trace."""
    path = folder / name
    path.write_text(text)
    return path
