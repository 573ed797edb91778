"""Older formats of `underdash.toml` are changed over in memory; the owner's file stays as it was written.

To change the format: raise `FORMAT`, and enter under the old number what makes a table of the next format of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from .mistakes import Mistakes

FORMAT = 1

Step = Callable[[dict[str, Any]], dict[str, Any]]

STEPS: Mapping[int, Step] = {}
"""By format: makes the next one of it. None yet, as there is only one format."""


def migrated(
    table: dict[str, Any], mistakes: Mistakes, *, newest: int = FORMAT, steps: Mapping[int, Step] = STEPS
) -> dict[str, Any]:
    """Return a table in the newest format.

    Args:
        table: as it stands in the file; neither it nor one without a format is changed.
        mistakes: told if the format is newer than this program, or older than it can read; one that is missing or no
            number is found with all other mistakes.
        newest: the format that is wanted.
        steps: see `STEPS`.

    Raises:
        ConfigError: the format is not one that can be read; whatever else is wrong would only confuse.
    """
    found = table.get("format")
    if type(found) is not int or found < 1:
        return table
    if found > newest:
        allowed = f"at most {newest}; it was written for a newer underdash, which reads older ones too: install that"
        mistakes.add(("format",), found, allowed)
    elif gap := [number for number in range(found, newest) if number not in steps]:
        allowed = f"at least {gap[-1] + 1}; it is too old for this underdash: begin with a copy of the new example"
        mistakes.add(("format",), found, allowed)
    mistakes.raise_any()
    for number in range(found, newest):
        table = {**steps[number](dict(table)), "format": number + 1}
    return table
