"""``underdash listen``."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.controller import Controller
from underdash.bus.rates import Try
from underdash.cli.listen_rates import COMMON_FIRST, find, try_rates
from underdash.config.reading import parse_config
from underdash.switching.orders import LISTENING_RATES, Mode, Order

Typed = Callable[..., Any]


def test_silence_is_told_with_what_to_do_next(typed: Typed, config: Path) -> None:
    done = typed("listen", "--config", config, "--seconds", "0.3")
    assert done.status == 1
    assert "drive: no wire, so no rate to prove" in done.out
    assert "nothing in 0 s: the bus is asleep" in done.out
    assert "next: switch the ignition on" in done.out


def test_an_interface_that_is_not_there_is_told(typed: Typed, config: Path) -> None:
    text = config.read_text()
    start, end = text.index("[bus.drive]"), text.index("[power]")
    config.write_text(text[:start] + '[bus.drive]\nchannel = "can77"\n\n' + text[end:])
    done = typed("listen", "--config", config, "--seconds", "0.2")
    assert done.status == 1
    assert "drive: is not open" in done.out


def test_a_configuration_without_buses_is_told(typed: Typed, config: Path) -> None:
    text = config.read_text()
    start, end = text.index("[bus.drive]"), text.index("[power]")
    config.write_text(text[:start] + text[end:])
    done = typed("listen", "--config", config)
    assert done.status == 2
    assert "nothing to hear" in done.err


def test_rates_of_what_linux_does_not_set_up_cannot_be_tried(typed: Typed, config: Path) -> None:
    done = typed("listen", "--config", config, "--seconds", "0.2", "--rates")
    assert done.status == 1
    assert "only interfaces that Linux sets up" in done.err


def test_a_trace_is_told_in_the_same_words(typed: Typed, tmp_path: Path) -> None:
    trace = tmp_path / "drive.log"
    trace.write_text("".join(f"({number * 0.01:.6f}) drive 3A6#0102\n" for number in range(300)))
    done = typed("listen", "--trace", trace)
    assert done.status == 0
    assert "300 frames in 3 s from 1 ids (1 of 11 bits)" in done.out
    assert f"\nnext: underdash find QUESTION {trace}; " in done.out
    trace.write_text(trace.read_text()[:-2])
    cut = typed("listen", "--trace", trace)
    assert (cut.status, "its last line is half there" in cut.err) == (0, True)


@pytest.mark.parametrize(("text", "status"), [("", 2), ("hello", 2)])
def test_a_trace_that_is_none_is_told(typed: Typed, tmp_path: Path, text: str, status: int) -> None:
    trace = tmp_path / "drive.log"
    trace.write_text(text)
    done = typed("listen", "--trace", trace)
    assert done.status == status
    assert "Traceback" not in done.err


@pytest.mark.parametrize(
    ("data", "said"),
    [("20000008#0000000000000000", "only error frames, 60 in 6 s"), ("101##001", "60 FD frames and no classic one")],
)
def test_a_trace_without_a_frame_that_is_understood_ends_with_one(
    typed: Typed, tmp_path: Path, data: str, said: str
) -> None:
    trace = tmp_path / "drive.log"
    lines = [f"({number * 0.1:.6f}) drive {data}\n" for number in range(60)]
    trace.write_text("".join(lines))
    done = typed("listen", "--trace", trace)
    assert (done.status, said in done.out, "find QUESTION" in done.out) == (1, True, False)
    trace.write_text("".join([*lines, "(6.0) drive 101#01\n(6.1) drive 102#R\n"]))
    done = typed("listen", "--trace", trace)
    assert done.status == 0
    assert "  beside them 60 " in done.out
    assert " and 1 remote frame\n" in done.out


@pytest.mark.parametrize("option", [("--seconds", "3"), ("--rates",)])
def test_what_goes_with_a_car_is_refused_with_a_trace(typed: Typed, tmp_path: Path, option: tuple[str, ...]) -> None:
    (trace := tmp_path / "drive.log").write_text("(1.0) drive 101#01\n")
    done = typed("listen", "--trace", trace, *option)
    assert done.status == 2
    assert f"{option[0]} goes with a car" in done.err


def found(signs: dict[int, Try]) -> tuple[list[int], Any]:
    tried: list[int] = []

    async def at(bitrate: int) -> Try:
        tried.append(bitrate)
        return signs.get(bitrate, Try(bitrate, 0, 20))

    return tried, asyncio.run(find(at))


def test_rates_are_tried_until_one_is_right() -> None:
    tried, verdict = found({125_000: Try(125_000, 30)})
    assert tried == [500_000, 250_000, 125_000]
    assert verdict.bitrate == 125_000


def test_a_bus_that_nobody_understands_takes_the_whole_pass() -> None:
    tried, verdict = found({})
    assert tried == list(COMMON_FIRST)
    assert verdict.bitrate is None


@pytest.mark.parametrize("right", [None, 125_000])
def test_an_interface_is_left_at_the_right_rate_or_as_it_was(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], right: int | None
) -> None:
    ordered: list[Order] = []

    async def hear(bus: object, bitrate: int) -> Try:
        return Try(bitrate, 30) if bitrate == right else Try(bitrate, 0, 20)

    def switch(order: Order) -> str:
        ordered.append(order)
        return "can0"

    monkeypatch.setattr("underdash.switching.client.switch", switch)
    monkeypatch.setattr("underdash.bus.controller.read", lambda name: Controller(name, 3, "can", bitrate=83_333))
    monkeypatch.setattr("underdash.cli.listen_rates._hear", hear)
    text = 'format = 1\n[car]\nname = "tarn"\n[bus.drive]\nchannel = "can0"\n'
    asyncio.run(try_rates(parse_config(text), ["drive"]))
    assert {order.mode for order in ordered} == {Mode.LISTEN}
    assert ordered[-1] == Order("drive", Mode.LISTEN, right or 83_333)
    assert "drive: " in capsys.readouterr().out


def test_every_rate_that_is_tried_may_be_listened_at() -> None:
    assert set(COMMON_FIRST) == set(LISTENING_RATES)
