"""The power tables as text, for the documentation."""

from __future__ import annotations

from ..contract.signals import PowerState
from .states import ASLEEP_S, TABLES, PowerOptions, Row, Supply

_HEADINGS = ("state", "when", "for", "then", "and do")


def tables_as_text(options: PowerOptions | None = None) -> str:
    """Return the table of every supply with the times of `options`, as Markdown."""
    return "\n".join(f"**{supply}**\n\n{table_as_text(supply, options)}" for supply in Supply)


def table_as_text(supply: Supply, options: PowerOptions | None = None) -> str:
    """Return the table of one supply as Markdown, columns padded so that it reads well in a terminal too."""
    table = sorted(TABLES[supply], key=lambda row: list(PowerState).index(row.state))
    rows = [_HEADINGS, *(_cells(supply, row, options or PowerOptions()) for row in table)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEADINGS))]
    lines = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |" for row in rows
    ]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(lines) + "\n"


def _cells(supply: Supply, row: Row, options: PowerOptions) -> tuple[str, ...]:
    then = "stay" if row.to is row.state else row.to.value
    return row.state.value, row.when.value, _time(supply, row.after, options), then, ", ".join(row.effects)


def _time(supply: Supply, after: str, options: PowerOptions) -> str:
    if not after:
        return "at once"
    given = getattr(options, after)
    seconds = ASLEEP_S[supply] if given is None else float(given)
    if seconds >= 7200:
        return f"{seconds / 3600:g} h"
    return f"{seconds / 60:g} min" if seconds >= 120 else f"{seconds:g} s"
