from __future__ import annotations

from collections.abc import Sequence

import pytest

from underdash.bus.frames import Frame
from underdash.finding.ignition.order import MOST_SURE, WITHOUT_START, ignition_by_order, path_of
from underdash.finding.reading import heard_from

from .led import led_recording


def names(raw: Sequence[int], seconds: Sequence[float]) -> dict[int, str] | None:
    at = [sum(seconds[:place]) for place in range(len(raw))]
    path = path_of(raw, at, sum(seconds))
    return None if path is None else path.names


@pytest.mark.parametrize(
    ("raw", "seconds", "wanted"),
    [
        ((0, 1, 2, 3, 4, 3, 1, 0), (5, 4, 4, 5, 1.5, 9, 3, 9), {0: "LOCK", 1: "OFF", 2: "ACC", 3: "ON", 4: "START"}),
        ((7, 5, 6, 5, 7), (5, 4, 1, 9, 9), {7: "OFF", 5: "ON", 6: "START"}),
        ((0, 1, 2, 1, 0), (5, 4, 20, 4, 9), {0: "OFF", 1: "ACC", 2: "ON"}),
        ((0, 1, 2, 3, 1, 2, 3, 0), (5, 4, 4, 20, 4, 4, 9, 9), {0: "LOCK", 1: "OFF", 2: "ACC", 3: "ON"}),
        ((0, 1, 0), (5, 20, 9), {0: "OFF", 1: "ON"}),
    ],
    ids=["all", "start only", "accessory", "twice", "switch"],
)
def test_values_in_the_order_of_an_ignition_are_named(
    raw: Sequence[int], seconds: Sequence[float], wanted: dict[int, str]
) -> None:
    assert names(raw, seconds) == wanted


@pytest.mark.parametrize(
    ("raw", "seconds"),
    [
        ((0, 1), (5, 20)),
        ((0, 1, 2, 0, 3, 0), (5, 4, 4, 5, 9, 9)),
        ((0, 1, 2, 3, 4, 5, 0), (5,) * 7),
        ((0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0), (5,) * 11),
        ((0, 1, 2, 1, 0), (5, 0.2, 20, 4, 9)),
    ],
    ids=["ends on", "new value from below", "too many", "too often", "in haste"],
)
def test_other_orders_are_none(raw: Sequence[int], seconds: Sequence[float]) -> None:
    assert names(raw, seconds) is None


@pytest.mark.parametrize("car", ["tarn", "loris"])
def test_without_marks_the_order_finds_it_but_is_never_sure(car: str) -> None:
    heard, _, truth = led_recording(car, 1)
    answer = ignition_by_order(heard)
    first = answer.ranks[0][0]
    assert first.where.bits == truth
    assert set(first.meaning.values()) == {"LOCK", "OFF", "ACC", "ON", "START"}
    assert 0.5 < first.confidence <= MOST_SURE
    assert any("record again and mark each position" in remark for remark in answer.remarks)


def test_what_only_goes_on_and_off_is_next_to_nothing() -> None:
    frames = [("body", Frame(0x10, bytes((3 <= n / 10 < 9,)), at=n / 10)) for n in range(200)]
    (first,) = ignition_by_order(heard_from(frames)).ranks[0]
    assert first.confidence < 0.1


def test_without_a_start_the_order_says_even_less() -> None:
    values = [0] * 50 + [1] * 50 + [2] * 50 + [3] * 100 + [1] * 50 + [0] * 50
    (first,) = ignition_by_order(
        heard_from([("b", Frame(1, bytes((v,)), at=n / 10)) for n, v in enumerate(values)])
    ).ranks[0]
    assert first.confidence <= WITHOUT_START


def test_the_upper_bits_of_a_number_are_no_switch() -> None:
    """Speed climbs and falls as an ignition does; the bits below show that it is a number."""
    frames = [("b", Frame(1, min(n, 600 - n).to_bytes(2, "big"), at=n / 10)) for n in range(600)]
    assert ignition_by_order(heard_from(frames)).ranks == ()


def test_nothing_heard_or_nothing_moving_is_nothing_found() -> None:
    assert ignition_by_order(heard_from([])).ranks == ()
    still = heard_from([("b", Frame(1, b"\x01", at=float(n))) for n in range(9)])
    assert "no field goes through its values as an ignition does" in ignition_by_order(still).remarks
