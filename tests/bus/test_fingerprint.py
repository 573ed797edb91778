from __future__ import annotations

from collections.abc import Sequence

import pytest

from underdash.bus.fingerprint import Fingerprint, Fit
from underdash.bus.frames import EXTENDED
from underdash.contract.cars import BusDescription, CarDescription, ExpectedFrame

ENGINE = ExpectedFrame("drive", 0x1A0, False, 8, 0.01)
DOORS = ExpectedFrame("comfort", 0x12345, True, 4, 0.1)
EVENT = ExpectedFrame("comfort", 0x300, False, 2)


def hear(fingerprint: Fingerprint, at: Sequence[float], bus: str, key: int, length: int) -> None:
    for role, wanted, handler in fingerprint.handlers():
        if (role, wanted) == (bus, key):
            for time in at:
                fingerprint.talks(time)
                handler(bytes(length), time)


def every(period_s: float, seconds: float, start: float = 0.0) -> list[float]:
    return [start + i * period_s for i in range(int(seconds / period_s) + 1)]


def fit(fingerprint: Fingerprint, now: float) -> Fit:
    return fingerprint.verdict(now).fit


def test_a_car_fits_once_every_expected_frame_was_heard_often_enough() -> None:
    fingerprint = Fingerprint([ENGINE, DOORS, EVENT])
    hear(fingerprint, every(0.01, 1), "drive", 0x1A0, 8)
    hear(fingerprint, every(0.1, 1), "comfort", 0x12345 | EXTENDED, 4)

    assert fit(fingerprint, 1.0) is Fit.WAITING
    assert "300 on comfort" in fingerprint.verdict(1.0).sentence

    hear(fingerprint, [1.1], "comfort", 0x300, 2)
    assert fit(fingerprint, 1.1) is Fit.FITS
    assert fingerprint.verdict(1.1).may_send


def test_one_frame_is_not_enough() -> None:
    fingerprint = Fingerprint([ENGINE])
    hear(fingerprint, [0.0], "drive", 0x1A0, 8)

    assert fit(fingerprint, 0.5) is Fit.WAITING


@pytest.mark.parametrize("length", [0, 7, 9])
def test_another_length_is_another_car_even_once(length: int) -> None:
    fingerprint = Fingerprint([ENGINE])
    hear(fingerprint, every(0.01, 1), "drive", 0x1A0, 8)
    hear(fingerprint, [1.01], "drive", 0x1A0, length)
    hear(fingerprint, every(0.01, 1, 1.02), "drive", 0x1A0, 8)

    verdict = fingerprint.verdict(2.1)
    assert verdict.fit is Fit.DIFFERS
    assert f"1A0 on drive has {length} bytes instead of 8" in verdict.sentence


@pytest.mark.parametrize(
    ("period_s", "expected"),
    [(0.004, Fit.DIFFERS), (0.006, Fit.FITS), (0.01, Fit.FITS), (0.019, Fit.FITS), (0.025, Fit.DIFFERS)],
)
def test_a_period_fits_within_a_factor_of_two(period_s: float, expected: Fit) -> None:
    fingerprint = Fingerprint([ENGINE])
    hear(fingerprint, every(period_s, 2), "drive", 0x1A0, 8)

    assert fit(fingerprint, 2.0) is expected


def test_frames_that_were_read_in_one_go_do_not_look_quicker() -> None:
    fingerprint = Fingerprint([ENGINE])
    drains = [at for at in every(0.04, 2) for _ in range(4)]
    hear(fingerprint, drains, "drive", 0x1A0, 8)

    assert fit(fingerprint, 2.0) is Fit.FITS


def test_frames_that_had_piled_up_at_opening_do_not_look_quicker() -> None:
    fingerprint = Fingerprint([ENGINE])
    piled = [0.0] * 32
    hear(fingerprint, piled + every(0.01, 0.05, 0.01), "drive", 0x1A0, 8)
    assert fit(fingerprint, 0.06) is Fit.WAITING
    hear(fingerprint, every(0.01, 0.5, 0.07), "drive", 0x1A0, 8)

    assert fit(fingerprint, 0.6) is Fit.FITS


def test_a_break_of_the_bus_does_not_look_like_a_slow_frame() -> None:
    fingerprint = Fingerprint([ENGINE])
    hear(fingerprint, every(0.01, 1) + every(0.01, 1, 60.0), "drive", 0x1A0, 8)

    assert fit(fingerprint, 61.0) is Fit.FITS


def test_frames_that_stay_away_are_another_car_after_ten_seconds() -> None:
    fingerprint = Fingerprint([ENGINE, DOORS])
    hear(fingerprint, every(0.01, 11), "drive", 0x1A0, 8)

    assert fit(fingerprint, 9.9) is Fit.WAITING
    verdict = fingerprint.verdict(10.1)
    assert verdict.fit is Fit.DIFFERS
    assert "00012345 on comfort not heard" in verdict.sentence
    assert "[[fingerprint]]" in verdict.sentence


def test_a_silent_car_is_waited_for() -> None:
    assert fit(Fingerprint([ENGINE]), 1e6) is Fit.WAITING


def test_a_car_that_fitted_goes_on_fitting_when_one_frame_pauses() -> None:
    fingerprint = Fingerprint([ENGINE])
    hear(fingerprint, every(0.01, 1), "drive", 0x1A0, 8)
    assert fit(fingerprint, 1.0) is Fit.FITS
    hear(fingerprint, [30.0], "drive", 0x1A0, 8)

    assert fit(fingerprint, 30.0) is Fit.FITS


def test_after_silence_the_car_is_recognised_anew() -> None:
    fingerprint = Fingerprint([ENGINE])
    hear(fingerprint, every(0.01, 1), "drive", 0x1A0, 8)
    fingerprint.verdict(1.0)
    fingerprint.forget()

    assert fit(fingerprint, 1.0) is Fit.WAITING


def test_a_description_without_a_fingerprint_keeps_the_guard_shut_and_says_how_to_make_one() -> None:
    verdict = Fingerprint.of(CarDescription("tarn", "Tarn", (BusDescription("drive", 500_000),))).verdict(0.0)

    assert verdict.fit is Fit.ABSENT
    assert not verdict.may_send
    assert "[[fingerprint]]" in verdict.sentence


def test_a_car_behind_a_gateway_cannot_be_recognised_and_may_be_asked_all_the_same() -> None:
    silent = BusDescription("port", 500_000, silent=True)
    verdict = Fingerprint.of(CarDescription("tarn", "Tarn", (silent,))).verdict(0.0)

    assert verdict.fit is Fit.IMPOSSIBLE
    assert verdict.may_send
