"""A trace played through the parts of a car."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.errors import GivenError, UnderdashError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.loading import load
from underdash.wiring.assembly import Assembly, assemble
from underdash.wiring.listening import TracePlayer

SPEED = BroadcastListener("drive", 0x101, (Field("engine.speed", Bits(0, 16)),), period_s=0.1)


def assembly_of(*roles: str) -> Assembly:
    return assemble(
        CarDescription("c", "C", tuple(BusDescription(r, 500_000) for r in roles), broadcasts=(SPEED,)), load({})
    )


def player(tmp_path: Path, text: str, *roles: str, given: Mapping[str, str] | None = None) -> TracePlayer:
    path = tmp_path / "t.log"
    path.write_text(text)
    return TracePlayer(assembly_of(*(roles or ("drive",))), path, given or {})


LINES = "(5.0) can0 101#03E8\n(6.0) can0 101#07D0\n(7.0) can0 101#0BB8\n"


def value(one: TracePlayer) -> object:
    return one._assembly.store.read("engine.speed", one.now).value


def test_the_whole_of_it_or_its_first_seconds_are_played(tmp_path: Path) -> None:
    whole = player(tmp_path, LINES)
    whole.play()
    assert (whole.frames, whole.start, whole.now, value(whole)) == (3, 5.0, 7.0, 3000.0)
    part = player(tmp_path, LINES)
    part.play(1.05)
    assert (part.frames, part.now, value(part)) == (2, 6.05, 2000.0)


def test_an_instant_beyond_the_end_is_refused(tmp_path: Path) -> None:
    player(tmp_path, LINES).play(2.0)
    with pytest.raises(GivenError, match=r"2\.1 s is beyond the end of .*t\.log, which lasts 2\.0 s"):
        player(tmp_path, LINES).play(2.1)


def test_a_lone_channel_is_the_lone_bus_and_a_channel_named_like_a_bus_is_that_bus(tmp_path: Path) -> None:
    named = player(tmp_path, LINES.replace("can0", "drive"), "drive", "comfort")
    named.play()
    assert named.frames == 3


@pytest.mark.parametrize(
    ("text", "roles", "says"),
    [
        (LINES, ("drive", "comfort"), "say such as --bus drive=can0"),
        (LINES + "(8.0) can1 101#0000\n", ("drive", "comfort"), "such as --bus drive=can0 --bus comfort=can1"),
        (LINES + "(8.0) can1 101#0000\n", ("drive",), "'can0' and 'can1'"),
    ],
)
def test_what_is_not_clear_is_not_guessed(tmp_path: Path, text: str, roles: tuple[str, ...], says: str) -> None:
    with pytest.raises(GivenError, match=says):
        player(tmp_path, text, *roles).play()


def test_what_is_given_rules(tmp_path: Path) -> None:
    text = LINES + "(8.0) can1 101#0001\n(9.0) drive 101#0002\n"
    played = player(tmp_path, text, given={"can1": "drive"})
    played.play()
    assert (played.frames, played.foreign, value(played)) == (1, 4, 1.0)


def test_a_bus_or_channel_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(GivenError, match="its buses are drive"):
        player(tmp_path, LINES, given={"can0": "drvie"})
    with pytest.raises(GivenError, match="its channels are can0"):
        player(tmp_path, LINES, given={"can9": "drive"}).play()


@pytest.mark.parametrize("text", ["", "\n\n", "# underdash trace 1\n", "# underdash trace 1\n(1.0) can0 10"])
def test_a_trace_without_frames_is_told(tmp_path: Path, text: str) -> None:
    with pytest.raises(UnderdashError, match="no frame in it"):
        player(tmp_path, text).play()


def test_frames_of_other_kinds_are_counted_and_handled_by_nobody(tmp_path: Path) -> None:
    played = player(tmp_path, LINES + "(8.0) can0 101#R\n(8.1) can0 101##00001\n(8.2) can0 20000004#0000000000000000\n")
    played.play()
    assert (played.frames, played.foreign) == (3, 3)


def test_time_that_runs_backwards_breaks_nothing(tmp_path: Path) -> None:
    played = player(tmp_path, LINES + "(1.0) can0 101#0001\n")
    played.play()
    assert (played.now, played.back_at) == (7.0, 7.0)


def test_frames_of_two_buses_may_be_written_in_a_slightly_wrong_order(tmp_path: Path) -> None:
    played = player(tmp_path, LINES + "(6.9) can0 101#0001\n")
    played.play()
    assert played.back_at is None
