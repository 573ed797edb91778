"""The line that keeps the accessory's own supply on: taken before anything else, let go of last."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import structlog

from ..config.findings import Finding, Level
from ..config.schema import PowerConfig
from ..contract.errors import UnderdashError
from ..power.states import Supply
from ..service.lines import CONSUMER, OutputLine, holder, output

_log = structlog.get_logger()

LASTS_S = 20
"""A shutdown goes on for some seconds after the daemon has ended; a supply that waits for this long is safe."""


class HoldLine:
    """Drives the line.

    Args:
        config: what the owner wrote.
        open_line: takes a line, driven active from the first moment.
    """

    def __init__(self, config: PowerConfig, open_line: Callable[..., OutputLine] = output) -> None:
        self._line: OutputLine | None = None
        if not config.hold_line:
            return
        try:
            self._line = open_line(config.hold_line, on=True, inverted=config.hold_inverted)
        except UnderdashError as exc:  # a gauge that dies with the key is better than none
            _log.error("supply_not_held", error=str(exc))
        else:
            _log.info("supply_held", line=config.hold_line)

    def close(self, *, off: bool) -> None:
        """Let go of it.

        Args:
            off: the machine powers off, so the supply may go; else the line is left as the kernel leaves it, since the
                next life takes it again.
        """
        line, self._line = self._line, None
        if line is None:
            return
        try:
            if off:
                line.set(False)
            line.close()
        except OSError as exc:
            _log.warning("supply_not_let_go", error=str(exc))


def findings(config: PowerConfig, held: Callable[[str], str] = holder) -> Iterator[Finding]:
    """Say whether the line is there, and what it cannot do.

    Args:
        config: what the owner wrote.
        held: says who holds a line.
    """
    if not config.hold_line:
        if config.supply is Supply.HELD:
            sentence = 'supply = "held", and no power.hold_line says which line holds it'
            step = "name it, unless the supply holds itself by a delay or by dtoverlay=gpio-poweroff"
            yield Finding(Level.NOTE, sentence, step)
        return
    if config.supply is Supply.SWITCHED:
        sentence = 'power.hold_line holds a supply that ends with the key, as supply = "switched" says'
        yield Finding(Level.WARNING, sentence, 'say supply = "held" if a relay of yours is behind that line')
    try:
        by = held(config.hold_line)
    except UnderdashError as exc:
        yield Finding(Level.ERROR, f"power.hold_line: {exc}", "correct it; without it the supply ends with the key")
        return
    if by not in ("", CONSUMER):
        step = "choose another line, or take away what holds it (an overlay in config.txt, another program)"
        yield Finding(Level.ERROR, f"power.hold_line: line {config.hold_line} is held by {by!r}", step)
        return
    sentence = f"power.hold_line {config.hold_line} is let go when the daemon ends, before the disk is done"
    step = f"let the supply last {LASTS_S} s longer, and let the ignition hold it by itself too"
    yield Finding(Level.NOTE, sentence, step)
