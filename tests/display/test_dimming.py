from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.display.dimming import LEAST_LIGHT, Dimmed, Dimming, DimmingInputs, DimmingOptions

OPTIONS = DimmingOptions(floor=0.04, ceiling=0.9, night=0.3, hysteresis=0.05, fade_s=0.0)


def settled(inputs: DimmingInputs, options: DimmingOptions = OPTIONS, before: Dimmed | None = None) -> Dimmed:
    dimming = Dimming(options)
    return dimming.step(before or dimming.start(), inputs, 10.0)


def test_by_day_it_is_bright_whatever_the_knob_says() -> None:
    assert settled(DimmingInputs(brightness=0.2, night=False)).level == 0.9


def test_a_knob_that_always_counts_dims_by_day_too() -> None:
    always = replace(OPTIONS, knob_applies="always")
    assert settled(DimmingInputs(brightness=0.2, night=False), always).level < 0.2


def test_the_knob_runs_from_floor_to_ceiling_at_night() -> None:
    levels = [settled(DimmingInputs(brightness=k / 10, night=True)).level for k in range(11)]
    assert levels[0] == pytest.approx(0.04)
    assert levels[-1] == pytest.approx(0.9)
    assert levels == sorted(levels)
    # half way up looks half as bright, which is far less than half the light
    assert levels[5] < 0.3


def test_at_night_without_a_knob_a_fixed_light_serves() -> None:
    assert settled(DimmingInputs(night=True)).level == 0.3


def test_what_is_stale_keeps_the_last_state() -> None:
    dark = settled(DimmingInputs(brightness=0.1, night=True))
    assert settled(DimmingInputs(), before=dark).level == dark.level
    assert settled(DimmingInputs(), before=dark).night


def test_small_turns_of_the_knob_are_not_followed() -> None:
    before = settled(DimmingInputs(brightness=0.50, night=True))
    assert settled(DimmingInputs(brightness=0.53, night=True), before=before).level == before.level
    assert settled(DimmingInputs(brightness=0.56, night=True), before=before).level > before.level
    assert settled(DimmingInputs(brightness=0.0, night=True), before=before).level == pytest.approx(0.04)


def test_it_fades_and_never_steps() -> None:
    dimming = Dimming(replace(OPTIONS, fade_s=1.0))
    state, levels = dimming.start(), []
    for tick in range(40):
        state = dimming.step(state, DimmingInputs(night=False), tick * 0.05)
        levels.append(state.level)
    assert levels[0] == 0.0
    assert levels == sorted(levels)
    assert levels[-1] == 0.9
    seen = [level ** (1 / 2.2) for level in levels]
    assert max(b - a for a, b in pairwise(seen)) < 0.051


def test_a_clock_that_stands_or_runs_back_changes_nothing() -> None:
    dimming = Dimming(replace(OPTIONS, fade_s=1.0))
    state = dimming.step(dimming.step(dimming.start(), DimmingInputs(night=False), 1.0), DimmingInputs(), 1.3)
    assert dimming.step(state, DimmingInputs(), 1.3).level == state.level
    assert dimming.step(state, DimmingInputs(), 0.5).level == state.level


def test_only_fresh_readings_count() -> None:
    def reading(name: str, value: float | bool, age: Age) -> Reading:
        return Reading(name, value, None, "", 2, age, 0.1, Quality.GOOD, "")

    def read(age: Age) -> DimmingInputs:
        readings = [reading("dashboard.brightness", 0.4, age), reading("dashboard.night", True, age)]
        return DimmingInputs.read(Snapshot(0.0, {r.name: r for r in readings}))

    assert read(Age.FRESH) == DimmingInputs(0.4, True)
    assert read(Age.LATE) == DimmingInputs()
    assert DimmingInputs.read(Snapshot(0.0, {})) == DimmingInputs()


@given(st.none() | st.floats(0, 1), st.none() | st.booleans(), st.floats(0, 1), st.booleans())
def test_no_setting_makes_the_page_vanish(
    brightness: float | None, night: bool | None, floor: float, always: bool
) -> None:
    options = DimmingOptions(
        floor=floor, ceiling=1.0, night=0.0, fade_s=0.0, knob_applies="always" if always else "night"
    )
    assert LEAST_LIGHT <= settled(DimmingInputs(brightness, night), options).level <= 1.0


@pytest.mark.parametrize(
    "wrong", [{"floor": 0.9, "ceiling": 0.1}, {"ceiling": 1.2}, {"fade_s": -1.0}, {"hysteresis": 1.0}, {"curve": 0.0}]
)
def test_options_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(UnderdashError, match="dimming"):
        DimmingOptions(**wrong)  # type: ignore[arg-type]
