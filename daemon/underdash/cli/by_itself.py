"""Buses heard by a command itself, where no daemon owns them: opened as the configuration says, and listening only."""

from __future__ import annotations

import argparse
import contextlib
import logging
from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from .common import config

if TYPE_CHECKING:
    from ..bus.link import Link


@contextlib.contextmanager
def buses(arguments: argparse.Namespace, level: int = logging.WARNING) -> Iterator[dict[str, Link]]:
    """Own the buses of the configuration for a while; their links are not started.

    Args:
        arguments: with ``--config``, see `common.add_config`.
        level: from which on events are told as they come.

    Raises:
        UnderdashError: there is no configuration, it connects no bus, or one is in use.
    """
    from dataclasses import replace

    from ..wiring.building import assembled, locked, make_links
    from .logs import set_up

    set_up(level, sentences=True)
    read = config(arguments)
    if not read.bus:
        raise GivenError(f"{read.path}: no [bus.<role>] in it, so there is nothing to hear")
    silent = replace(read, bus={role: replace(bus, transmit=False) for role, bus in read.bus.items()})
    assembly = assembled(silent)
    links = make_links(silent, assembly, {})
    locks = locked(silent, assembly.car)
    try:
        yield links
    finally:
        for lock in locks:
            lock.release()
