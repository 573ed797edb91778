from __future__ import annotations

from collections.abc import Mapping

import pytest

import underdash_boost
from underdash import (
    UNITS,
    Age,
    Derived,
    Page,
    Quality,
    Reading,
    Result,
    Role,
    Scale,
    Snapshot,
    Value,
    convert,
)
from underdash_boost.page import doubt, knows_vacuum, scale_for
from underdash_boost.reference import Reference, ambient_step, follow
from underdash_boost.settings import Settings

AT_REST: dict[str, Value | None] = {
    "vehicle.ignition": "ON",
    "engine.speed": 0.0,
    "engine.manifold_pressure": 95.4,
    "engine.charge_pressure": None,
}


def reading(
    name: str, value: Value | None, *, quality: Quality = Quality.GOOD, age: Age = Age.FRESH, unit: str = "kPa"
) -> Reading:
    there = value if age is not Age.GONE else None
    shown = convert(there, "kPa", unit) if isinstance(there, float) else None
    label = UNITS[unit].label if value is not None or age is Age.GONE else ""
    return Reading(
        name, there, shown, label, UNITS[unit].digits, Age.GONE if value is None else age, 0.1, quality, "", "kPa"
    )


def inputs(**changed: Value | None) -> dict[str, Reading]:
    values = AT_REST | {name.replace("__", "."): value for name, value in changed.items()}
    return {name: reading(name, value) for name, value in values.items()}


def rest(seconds: float, before: Reference | None = None, /, **changed: Value | None) -> Reference:
    state = before or Reference()
    for _ in range(round(seconds * 10)):
        state = follow(state, inputs(**changed), 0.1)
    return state


def derived(name: str, settings: Settings | None = None) -> Derived:
    return {d.signal: d for d in underdash_boost.derived_signals(settings or Settings())}[name]


def computed(name: str, readings: Mapping[str, Reading]) -> Result | None:
    item = derived(name)
    _, result = item.step(item.state, {n: readings[n] for n in item.inputs}, 0.02)
    return result


# --- the reference ----------------------------------------------------------------------------------------------


def test_three_seconds_at_rest_make_a_reference() -> None:
    assert rest(2.9).kpa is None
    assert rest(3.1).kpa == pytest.approx(95.4)
    assert rest(3.1).age_s == 0.0


@pytest.mark.parametrize(
    "changed",
    [
        {"vehicle__ignition": "OFF"},
        {"vehicle__ignition": "START"},
        {"vehicle__ignition": None},
        {"engine__speed": 800.0},
        {"engine__speed": None},
        {"engine__manifold_pressure": 12.0},
        {"engine__manifold_pressure": 140.0},
        {"engine__manifold_pressure": None},
    ],
)
def test_nothing_else_makes_one(changed: dict[str, Value | None]) -> None:
    assert rest(10.0, None, **changed).kpa is None


def test_a_saturated_or_late_pressure_makes_none() -> None:
    for how in ({"quality": Quality.ABOVE}, {"age": Age.LATE}):
        odd = inputs() | {"engine.manifold_pressure": reading("engine.manifold_pressure", 100.0, **how)}
        state = Reference()
        for _ in range(100):
            state = follow(state, odd, 0.1)
        assert state.kpa is None


def test_charge_pressure_serves_where_there_is_no_manifold_pressure() -> None:
    state = rest(4.0, engine__manifold_pressure=None, engine__charge_pressure=84.6)
    assert state.kpa == pytest.approx(84.6)


def test_a_long_gap_between_two_looks_proves_no_rest() -> None:
    assert follow(Reference(), inputs(), 60.0).kpa is None


def test_the_reference_is_kept_with_its_age_and_renewed_at_the_next_stop() -> None:
    sea = rest(4.0, engine__manifold_pressure=101.3)
    driven = rest(1500.0, sea, engine__speed=2000.0, engine__manifold_pressure=60.0)
    assert driven.kpa == pytest.approx(101.3)
    assert driven.age_s == pytest.approx(1500.0, abs=0.2)
    on_the_pass = rest(3.1, driven, engine__manifold_pressure=84.6)
    # the value of another height does not linger in a mean
    assert on_the_pass.kpa == pytest.approx(84.6)
    assert on_the_pass.age_s == 0.0


def test_ambient_says_whether_it_is_assumed_measured_or_old() -> None:
    step = ambient_step(Settings())
    running = inputs(engine__speed=900.0)
    assert step(Reference(), running, 0.1)[1] == Result(101.325, Quality.ASSUMED)
    assert step(Reference(kpa=95.4, age_s=60.0), running, 0.1)[1] == Result(95.4, Quality.GOOD)
    assert step(Reference(kpa=95.4, age_s=1199.8), running, 0.1)[1] == Result(95.4, Quality.GOOD)
    assert step(Reference(kpa=95.4, age_s=1200.0), running, 0.1)[1] == Result(95.4, Quality.DATED)


def test_the_reference_has_an_age_only_once_there_is_one() -> None:
    age = derived("boost.reference_age")
    state, result = age.step(age.state, inputs(engine__speed=900.0), 1.0)
    assert result is None
    _, result = age.step(Reference(kpa=95.4, age_s=30.0), inputs(engine__speed=900.0), 1.0)
    assert result == Result(31.0)
    assert isinstance(state, Reference)


# --- boost ------------------------------------------------------------------------------------------------------


def pressures(
    manifold: float | None, charge: float | None, ambient: float | None, quality: Quality = Quality.GOOD
) -> dict[str, Reading]:
    return {
        "engine.manifold_pressure": reading("engine.manifold_pressure", manifold),
        "engine.charge_pressure": reading("engine.charge_pressure", charge),
        "ambient.pressure": reading("ambient.pressure", ambient, quality=quality),
    }


@pytest.mark.parametrize(
    ("manifold", "charge", "ambient", "expected"),
    [
        (173.3, None, 101.3, 72.0),
        (60.0, 120.0, 101.0, -41.0),
        (None, 120.0, 100.0, 20.0),
        (None, None, 100.0, None),
        (120.0, None, None, None),
    ],
)
def test_boost_is_manifold_or_else_charge_minus_ambient(
    manifold: float | None, charge: float | None, ambient: float | None, expected: float | None
) -> None:
    result = computed("engine.boost_pressure", pressures(manifold, charge, ambient))
    if expected is None:
        assert result is None
    else:
        assert result is not None
        assert result.value == pytest.approx(expected)


def test_boost_is_as_good_as_the_worst_it_rests_on() -> None:
    for quality in (Quality.GOOD, Quality.DATED, Quality.ASSUMED):
        result = computed("engine.boost_pressure", pressures(150.0, None, 101.3, quality))
        assert result is not None
        assert result.quality is quality
    saturated = pressures(255.0, None, 101.3, Quality.DATED)
    saturated["engine.manifold_pressure"] = reading("engine.manifold_pressure", 255.0, quality=Quality.ABOVE)
    result = computed("engine.boost_pressure", saturated)
    assert result is not None
    assert result.quality is Quality.ABOVE


def test_boost_is_as_old_as_what_it_was_computed_from() -> None:
    both = computed("engine.boost_pressure", pressures(150.0, 160.0, 101.3))
    charge_only = computed("engine.boost_pressure", pressures(None, 160.0, 101.3))
    assert both is not None
    assert charge_only is not None
    assert both.rests_on == ("engine.manifold_pressure", "ambient.pressure")
    assert charge_only.rests_on == ("engine.charge_pressure", "ambient.pressure")


def test_no_peak_is_taken_from_an_assumed_reference() -> None:
    assert computed("boost.known_pressure", pressures(200.0, None, 101.325, Quality.ASSUMED)) is None
    for quality in (Quality.GOOD, Quality.DATED):
        assert computed("boost.known_pressure", pressures(200.0, None, 101.3, quality)) is not None
    (page,) = underdash_boost.display_pages(Settings())
    assert page.peaks == ("boost.known_pressure",)


def test_what_is_its_own_is_declared() -> None:
    own = {signal.name for signal in underdash_boost.signals()}
    assert own == {"boost.reference_age", "boost.known_pressure"}
    assert underdash_boost.plugin().settings is Settings


# --- the page ---------------------------------------------------------------------------------------------------


class Canvas:
    """Keeps what the page put on it."""

    width = height = 240

    def __init__(self) -> None:
        self.swept: tuple[Reading, Scale, float | None] | None = None
        self.signed: bool | None = None
        self.said = ""
        self.points: tuple[tuple[float, float], ...] = ()

    def sweep(self, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None) -> None:
        self.swept = reading, scale, peak

    def figure(self, reading: Reading, *, signed: bool = False) -> None:
        self.signed = signed

    def title(self, text: str) -> None:
        self.name = text

    def strip(self, points: tuple[tuple[float, float], ...], scale: Scale, *, seconds: float) -> None:
        self.points = points

    def rows(self, rows: tuple[tuple[str, Reading, Role], ...]) -> None:
        raise AssertionError("the boost page has no rows")

    def column(
        self, label: str, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None
    ) -> None:
        raise AssertionError("this page has no columns")

    def lamp(self, text: str, lit: Reading | bool | None, role: Role = Role.INK) -> None:
        raise AssertionError("this page has no lamps")

    def list(self, lines: tuple[tuple[str, Role], ...]) -> None:
        raise AssertionError("this page has no list")

    def sentence(self, text: str, role: Role = Role.INK) -> None:
        raise AssertionError("this page says no sentences")

    def remark(self, text: str, role: Role = Role.CAUTION) -> None:
        self.said = text


SETTINGS = Settings(unit="bar", full_scale=1.6, vacuum=0.8, caution=1.2, warning=1.4)


def snapshot(
    boost: float | None = 72.0,
    *,
    unit: str = "bar",
    ambient: Quality = Quality.GOOD,
    manifold: bool = True,
    age_s: float | None = None,
    peak: float | None = None,
) -> Snapshot:
    readings = [
        reading("engine.boost_pressure", boost, unit=unit),
        reading("ambient.pressure", 101.3, quality=ambient, unit=unit),
    ]
    if manifold:
        readings.append(reading("engine.manifold_pressure", 173.0, unit=unit))
    if age_s is not None:
        readings.append(Reading("boost.reference_age", age_s, age_s, "s", 0, Age.FRESH, 0.1, Quality.GOOD, ""))
    peaks = {} if peak is None else {"boost.known_pressure": peak}
    histories = {"engine.boost_pressure": ((2.0, 50.0), (1.0, 72.0))}
    return Snapshot(100.0, {r.name: r for r in readings}, peaks, histories, {"kPa": unit})


def drawn(shown: Snapshot, settings: Settings = SETTINGS) -> Canvas:
    page: Page = underdash_boost.display_pages(settings)[0]
    canvas = Canvas()
    page.draw(canvas, shown)
    return canvas


def test_the_scale_is_converted_to_the_owners_unit() -> None:
    canvas = drawn(snapshot(unit="psi", peak=110.0))
    assert canvas.swept is not None
    _, scale, peak = canvas.swept
    assert scale.high == pytest.approx(23.2, abs=0.01)
    assert scale.low == pytest.approx(-11.6, abs=0.01)
    assert [zone.role for zone in scale.zones] == [Role.CAUTION, Role.WARNING]
    assert scale.zones[0].low == pytest.approx(17.4, abs=0.01)
    assert peak == pytest.approx(15.95, abs=0.01)
    assert canvas.points[0] == pytest.approx((2.0, 7.25), abs=0.01)


def test_the_vacuum_side_is_shown_only_where_the_sensor_knows_vacuum() -> None:
    with_side, without = drawn(snapshot()), drawn(snapshot(manifold=False))
    assert with_side.swept is not None
    assert without.swept is not None
    assert with_side.swept[1].low == pytest.approx(-0.8)
    assert without.swept[1].low == 0.0
    assert (with_side.signed, without.signed) == (True, False)


def test_a_manifold_sensor_that_is_gone_for_a_while_keeps_its_scale() -> None:
    gone = Reading("engine.manifold_pressure", None, None, "bar", 2, Age.GONE, 9.0, Quality.GOOD, "")
    shown = snapshot(manifold=False)
    readings = dict(shown.readings) | {gone.name: gone}
    assert knows_vacuum(SETTINGS, Snapshot(0.0, readings))


@pytest.mark.parametrize(("side", "low"), [("show", -0.8), ("hide", 0.0)])
def test_the_owner_can_set_the_vacuum_side(side: str, low: float) -> None:
    settings = Settings(unit="bar", full_scale=1.6, vacuum=0.8, vacuum_side=side)  # type: ignore[arg-type]
    for manifold in (True, False):
        canvas = drawn(snapshot(manifold=manifold), settings)
        assert canvas.swept is not None
        assert canvas.swept[1].low == pytest.approx(low)


def test_the_page_says_what_its_zero_rests_on() -> None:
    assert drawn(snapshot()).said == ""
    assert drawn(snapshot(ambient=Quality.ASSUMED)).said == "reference assumed"
    assert drawn(snapshot(ambient=Quality.DATED, age_s=1440.0)).said == "reference 24 min old"


def test_the_page_says_when_nobody_provides_a_pressure() -> None:
    assert doubt(Snapshot(0.0, {})) == "no manifold pressure"
    gone = Reading("engine.manifold_pressure", None, None, "bar", 2, Age.GONE, 9.0, Quality.GOOD, "")
    assert doubt(Snapshot(0.0, {gone.name: gone})) == ""


def test_a_peak_below_zero_is_none() -> None:
    canvas = drawn(snapshot(peak=-20.0))
    assert canvas.swept is not None
    assert canvas.swept[2] is None


def test_a_scale_without_limits_has_no_zones() -> None:
    assert scale_for(Settings(), "kPa", vacuum=True).zones == ()
    only = scale_for(Settings(warning=140.0), "kPa", vacuum=False).zones
    assert [(zone.low, zone.high, zone.role) for zone in only] == [(140.0, 160.0, Role.WARNING)]


@pytest.mark.parametrize(
    ("wrong", "allowed"),
    [
        ({"unit": "degC"}, "one of Pa, kPa"),
        ({"full_scale": 0.0}, "more than 0"),
        ({"caution": 150.0, "warning": 140.0}, "below `warning`"),
        ({"warning": 170.0}, "between 0 and `full_scale`"),
        ({"assumed_ambient": 1.0}, "45 to 110 kPa"),
    ],
)
def test_settings_that_make_no_sense_say_what_is_allowed(wrong: dict[str, object], allowed: str) -> None:
    with pytest.raises(ValueError, match=allowed):
        Settings(**wrong)  # type: ignore[arg-type]
