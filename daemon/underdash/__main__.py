"""``python -m underdash`` and the installed program ``underdash``.

Nothing but this file is imported before somebody listens for Ctrl-C, so that it ends a start quietly too.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line of this process and end it."""
    try:
        from .cli import entry

        entry()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
