"""Where locks and the daemon's socket live, and whether anybody holds a bus; quick to import, as the start needs it."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Mapping
from pathlib import Path


def runtime_directory(environment: Mapping[str, str] = os.environ) -> Path:
    """Return where locks live: systemd's runtime directory, the user's, or the one for temporary files."""
    given = environment.get("RUNTIME_DIRECTORY", "").split(":")[0]
    if given:
        return Path(given)
    base = environment.get("XDG_RUNTIME_DIR")
    if base:
        return Path(base, "underdash")
    import tempfile  # it looks for a folder that can be written, with all it needs for that

    return Path(tempfile.gettempdir(), f"underdash-{os.getuid()}")


def any_held(directory: Path) -> bool:
    """Say whether a process owns any interface whose lock is in a directory; nothing is made or changed."""
    for path in directory.glob("*.lock"):
        with contextlib.suppress(OSError), path.open("rb") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
            except BlockingIOError:
                return True
    return False
