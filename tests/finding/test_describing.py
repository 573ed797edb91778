from __future__ import annotations

import tomllib
from collections.abc import Mapping

import pytest

from underdash.bus.frames import Frame
from underdash.config.writing import with_addition
from underdash.contract.errors import GivenError
from underdash.contract.layout import Bits
from underdash.contract.signals import Kind, Signal
from underdash.finding.describing import addition, period_of
from underdash.finding.found import Candidate, Where
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
from underdash.signals.catalogue import CATALOGUE

HEAD = 'format = 1\nname = "c"\ntitle = "C"\ncounting = "from 0"\n[bus.comfort]\nbitrate = 125_000\n'


ONE_BIT = Bits(1, 1, 0)


def heard() -> Heard:
    """2C1 every 100 ms, 300 on change, 310 every 20 ms."""
    frames = [("comfort", Frame(0x2C1, bytes([0, n % 3]), at=0.1 * n)) for n in range(50)]
    frames += [("comfort", Frame(0x300, bytes([n % 5]), at=at)) for n, at in enumerate((0.1, 0.4, 2.0, 2.1, 4.8, 4.9))]
    frames += [("comfort", Frame(0x310, b"\0", at=0.02 * n)) for n in range(250)]
    return heard_from(sorted(frames, key=lambda pair: pair[1].at))


def candidate(
    can_id: int = 0x2C1, bits: Bits = ONE_BIT, *, meaning: Mapping[int, str] | None = None, **figures: float
) -> Candidate:
    where = Where("comfort", can_id, False, bits)
    return Candidate(where, 0.97, 4.0, ("5 of 5 presses", "quiet else"), meaning or {}, figures)


def written(found: Candidate, name: str, use: str = "") -> dict[str, object]:
    signal = CATALOGUE[name] if name in CATALOGUE else Signal(name, "%", "what it is")
    text = with_addition(HEAD, addition(found, heard(), signal, "find pressed menu", use), "c.toml")
    return tomllib.loads(text)


def test_a_button_becomes_a_switch_with_its_evidence() -> None:
    table = written(candidate(meaning={0: "released", 1: "menu"}), "button.menu", "comfort")
    assert table["buttons"] == {"menu": "comfort"}
    assert table["broadcast"] == [
        {
            "bus": "comfort", "id": "2C1", "period_s": 0.1,
            "fields": [
                {
                    "signal": "button.menu", "byte": 1, "bit": 0, "found_by": "find pressed menu",
                    "checked_by": "5 of 5 presses; quiet else", "note": "97 % sure",
                }
            ],
        }
    ]  # fmt: skip


def test_of_several_raw_numbers_the_one_at_rest_is_off() -> None:
    table: dict[str, list[dict[str, list[dict[str, object]]]]]
    found = candidate(bits=Bits(1, 2, 1), meaning={1: "released", 2: "menu", 3: "menu"})
    table = written(found, "button.menu", "comfort")  # type: ignore[assignment]
    assert table["broadcast"][0]["fields"][0]["values"] == {"1": False, "2": True, "3": True}
    with pytest.raises(GivenError, match="what it is at rest was not found"):
        written(candidate(meaning={0: "menu", 1: "ok"}), "button.menu")


def test_a_quantity_has_its_scale_or_the_ends_of_its_range() -> None:
    table: dict[str, list[dict[str, list[dict[str, object]]]]]
    table = written(candidate(bits=Bits(1), scale=0.5, offset=-40.0), "engine.oil_temperature")  # type: ignore[assignment]
    field = table["broadcast"][0]["fields"][0]
    assert (field["scale"], field["offset"]) == (0.5, -40)
    table = written(candidate(bits=Bits(1), low=20, high=220), "dashboard.brightness")  # type: ignore[assignment]
    assert table["broadcast"][0]["fields"][0]["points"] == [[20, 0], [220, 1]]
    table = written(candidate(bits=Bits(1), low=20, high=220), "vehicle.accelerator")  # type: ignore[assignment]
    assert table["broadcast"][0]["fields"][0]["points"] == [[20, 0], [220, 100]]
    with pytest.raises(GivenError, match="is a number in km/h, and the ends of a turn do not say which"):
        written(candidate(bits=Bits(1), low=20, high=220), "vehicle.speed")


def test_what_the_catalogue_does_not_have_is_declared() -> None:
    assert written(candidate(bits=Bits(1)), "car.fan")["signal"] == [
        {"name": "car.fan", "meaning": "what it is", "unit": "%"}
    ]


def test_the_ignition_on_change_is_kept_alive_by_the_quickest_frame() -> None:
    found = candidate(0x300, Bits(0, 3, 2), meaning={0: "LOCK", 1: "OFF", 2: "ACC", 3: "ON", 4: "START"})
    table = written(found, "vehicle.ignition")
    assert table["ignition"] == [
        {
            "signal": "vehicle.ignition", "on": ["ON"], "off": ["LOCK", "OFF", "ACC"], "start": ["START"],
            "alive_with": {"bus": "comfort", "id": "310", "extended": False},
        }
    ]  # fmt: skip
    assert table["broadcast"][0]["on_change"] is True  # type: ignore[index]


def test_words_that_a_choice_does_not_have_are_refused() -> None:
    with pytest.raises(GivenError, match="is one of LOCK, OFF, ACC, ON, START; found on: name the marks so"):
        written(candidate(meaning={0: "OFF", 1: "on"}), "vehicle.ignition")
    with pytest.raises(GivenError, match="this finding names no values"):
        written(candidate(), "vehicle.ignition")


def test_a_finding_of_another_trace_is_refused() -> None:
    with pytest.raises(GivenError, match="comfort 111 byte 1 bit 0 was not heard"):
        written(candidate(0x111), "button.menu")


def test_frames_that_only_come_cannot_be_written_down() -> None:
    where = Where("comfort", 0x300, False, Bits(0, 8), comes=True)
    with pytest.raises(GivenError, match="comfort 300 being sent at all is what answers, and nothing in its frames"):
        written(Candidate(where, 0.97, 4.0), "button.menu", "comfort")


def test_a_frame_sent_by_the_clock_has_a_period() -> None:
    by_id = {one.id: period_of(one) for one in heard()}
    assert by_id == {0x2C1: 0.1, 0x300: None, 0x310: 0.02}


def test_a_switch_that_is_always_there_is_a_choice_of_the_owner() -> None:
    signal = Signal("car.plug", "", "plugged in", Kind.SWITCH)
    assert addition(candidate(), heard(), signal, "find pressed").listener.fields[0].values == ()
