"""GPIO lines, with the library's place taken by a stand-in; the real kernel is asked in tests/system."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest

gpiod = pytest.importorskip("gpiod")
from gpiod.line import Bias, Direction, Edge, Value  # noqa: E402  # only where it is installed

from underdash.contract.errors import UnderdashError  # noqa: E402
from underdash.contract.sources import Pull  # noqa: E402
from underdash.service.lines import input_line  # noqa: E402


class FakeRequest:
    """What gpiod gives for a line that was taken."""

    def __init__(self) -> None:
        self.fd = 7
        self.level = Value.ACTIVE
        self.events: list[Any] = []
        self.released = False

    def wait_edge_events(self, timeout: float) -> bool:
        assert timeout == 0.0, "the loop must not wait"
        return bool(self.events)

    def read_edge_events(self) -> list[Any]:
        found, self.events = self.events[:1], self.events[1:]
        return found

    def get_value(self, offset: int) -> Value:
        return self.level

    def release(self) -> None:
        self.released = True


@pytest.fixture
def taken(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, dict[int, Any]]]:
    """Takes note of what is asked of the library."""
    asked: list[tuple[str, dict[int, Any]]] = []

    def request_lines(chip: str, consumer: str, config: dict[int, Any]) -> FakeRequest:
        asked.append((chip, config))
        return FakeRequest()

    monkeypatch.setattr(gpiod, "request_lines", request_lines)
    return asked


def test_a_line_is_taken_as_it_is_declared(taken: list[tuple[str, dict[int, Any]]]) -> None:
    input_line("/dev/gpiochip0:17", pull=Pull.UP, inverted=True, debounce_s=0.02)
    ((chip, config),) = taken
    settings = config[17]
    assert chip == "/dev/gpiochip0"
    assert (settings.direction, settings.edge_detection) == (Direction.INPUT, Edge.BOTH)
    assert (settings.bias, settings.active_low) == (Bias.PULL_UP, True)
    assert settings.debounce_period == timedelta(milliseconds=20)


def test_a_line_that_nothing_is_said_of_keeps_its_pull(taken: list[tuple[str, dict[int, Any]]]) -> None:
    input_line("/dev/gpiochip0:17")
    assert taken[0][1][17].bias == Bias.AS_IS


def test_changes_come_with_their_own_time_and_the_level_is_read_beside_them(monkeypatch: pytest.MonkeyPatch) -> None:
    request = FakeRequest()
    monkeypatch.setattr(gpiod, "request_lines", lambda *given, **named: request)
    rising, falling = gpiod.EdgeEvent.Type.RISING_EDGE, gpiod.EdgeEvent.Type.FALLING_EDGE
    request.events = [
        SimpleNamespace(event_type=rising, timestamp_ns=1_500_000_000),
        SimpleNamespace(event_type=falling, timestamp_ns=1_620_000_000),
    ]
    line = input_line("/dev/gpiochip0:17")
    assert line.fileno() == 7
    assert line.changes() == [(True, 1.5), (False, 1.62)]
    assert line.changes() == []
    assert line.on()
    line.close()
    assert request.released


def test_a_line_that_is_held_is_told_with_what_may_hold_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(*given: object, **named: object) -> None:
        raise OSError(16, "Device or resource busy")

    monkeypatch.setattr(gpiod, "request_lines", busy)
    with pytest.raises(UnderdashError, match=r"line /dev/gpiochip0:17 cannot be taken: Device or resource busy"):
        input_line("/dev/gpiochip0:17")
