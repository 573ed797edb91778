"""What the commands log: short constant events with key and value, one a line, to the standard error.

Nothing is coloured and no time is written: the journal adds it. Where the standard error is the journal, each line
begins with its priority (``<4>``, sd-daemon(3)).
"""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import time
from collections.abc import Callable, Mapping, MutableMapping
from math import inf
from typing import Any

import structlog

from ..service.repeats import Repeats
from .log_sentences import sentence

LEFT_OUT = "left_out"
"""The event that says how often another one was kept back."""
WHO = "role", "interface", "panel", "plugin", "input", "signal"
"""Facts that tell whose event it is: what one bus says too often is no reason to keep another bus quiet."""
PRIORITIES = {"debug": 7, "info": 6, "warning": 4, "error": 3, "exception": 3, "critical": 2}
"""Of syslog (RFC 5424, 6.2.1), by level."""


def set_up(level: int = logging.INFO, *, sentences: bool = False) -> Lines:
    """Log events from this level on; returns what writes the lines, which has a last word at the end.

    Args:
        level: of `logging`.
        sentences: write what an event means, for a person who waits at a terminal.
    """
    lines = Lines(journal=to_journal(os.environ), sentences=sentences)
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.format_exc_info,
            lines,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
    return lines


def to_journal(environment: Mapping[str, str], descriptor: int = 2) -> bool:
    """Return whether a descriptor leads to the journal: JOURNAL_STREAM names its device and inode (systemd.exec(5))."""
    try:
        found = os.fstat(descriptor)
    except OSError:
        return False
    return environment.get("JOURNAL_STREAM") == f"{found.st_dev}:{found.st_ino}"


class Lines:
    """The last step of structlog: an event becomes a line, unless the same was said too often already.

    Args:
        journal: whether lines begin with their priority.
        sentences: whether a line is what the event means, where that is known.
        repeats: how often is too often.
        clock: monotonic seconds.
    """

    def __init__(
        self, *, journal: bool, sentences: bool = False, repeats: Repeats | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._journal, self._sentences = journal, sentences
        self._repeats = repeats or Repeats()
        self._clock = clock
        self._rendered = structlog.processors.LogfmtRenderer(key_order=["level", "event"], bool_as_flag=False)

    def __call__(self, logger: object, method: str, event: MutableMapping[str, Any]) -> str:
        """Return the line, after lines about what was kept back before it; raises DropEvent where there is none."""
        now = self._clock()
        lines = [self._line(_left_out(what, count)) for what, count in self._repeats.over(now)]
        who = tuple((key, str(event[key])) for key in WHO if key in event)
        if self._repeats.may((("of", str(event.get("event"))), *who), now):
            lines.append(self._line(event))
        if not lines:
            raise structlog.DropEvent
        return "\n".join(lines)

    def last_word(self) -> None:
        """Say what is still kept back, to the standard error; for the end, after which nobody would."""
        for what, count in self._repeats.over(inf):
            with contextlib.suppress(OSError):  # whoever reads it may be gone before
                print(self._line(_left_out(what, count)), file=sys.stderr, flush=True)

    def _line(self, event: MutableMapping[str, Any]) -> str:
        text = sentence({key: str(value) for key, value in event.items()}) if self._sentences else None
        if text is not None:
            return f"underdash: {text}"
        priority = f"<{PRIORITIES.get(str(event.get('level')), 6)}>" if self._journal else ""
        return f"{priority}{self._rendered(None, '', dict(event))}"


def _left_out(what: Any, count: int) -> dict[str, Any]:
    return {"level": "info", "event": LEFT_OUT, "count": count, **dict(what)}
