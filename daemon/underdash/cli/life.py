"""One life of the daemon, from its first line in the log to its last, written down in the crash ledger.

It begins before plug-ins and most of the daemon are imported, so that what ends it there is written down too.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from ..bus.runtime import runtime_directory
from ..contract.errors import UnderdashError
from ..service.ledger import Ledger
from ..wiring.past import Past, owners
from .logs import set_up


@dataclass(frozen=True, slots=True)
class Life:
    """What a life begins with: what earlier ones teach it, and the book of this one."""

    past: Past
    ledger: Ledger


@contextlib.contextmanager
def life(enabled: Iterable[str]) -> Iterator[Life]:
    """Begin a life, and write down how it ended.

    Args:
        enabled: names of the plug-ins that the configuration enables.
    """
    lines = set_up()
    ledger = Ledger(runtime_directory(), owners(enabled))
    try:
        with ledger.told_to_end():
            yield Life(Past.of(ledger.bad, time.monotonic()), ledger)
    except KeyboardInterrupt:
        raise
    except UnderdashError:
        ledger.close(forget=False)
        raise
    except BaseException as exc:
        ledger.crashed(exc)
        raise
    finally:
        ledger.close(forget=True)
        lines.last_word()
