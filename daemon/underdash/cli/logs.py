"""What the commands log: short constant events with key and value, one a line, to the standard error."""

from __future__ import annotations

import logging
import sys

import structlog


def set_up(level: int = logging.INFO) -> None:
    """Log events from this level on; the service manager's journal adds the time."""
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.format_exc_info,
            structlog.processors.LogfmtRenderer(key_order=["level", "event"], bool_as_flag=False),
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
