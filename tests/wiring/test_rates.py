"""How often a page's main value really comes."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import EntryPoint

import pytest

from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.pages import Page
from underdash.loading import load
from underdash.wiring.assembly import Assembly, assemble
from underdash.wiring.rates import Rate, Rates

SPEED = BroadcastListener("drive", 0x100, (Field("engine.speed", Bits(0)),), period_s=0.1)
CAR = CarDescription("small", "Small", (BusDescription("drive", 500_000),), broadcasts=(SPEED,))
TWICE = """
def step(state, inputs, dt_s):
    value = inputs["engine.speed"].value
    return None, None if value is None else Result(value * 2)

@hookimpl
def signals():
    return [Signal("tiny.twice", "rpm", "twice")]

@hookimpl
def derived_signals():
    return [Derived("tiny.twice", ("engine.speed",), step)]
"""
TinyPlugin = Callable[..., EntryPoint]


def page(*needs: str, uses: tuple[str, ...] = ()) -> Page:
    return Page("speed", "Speed", lambda canvas, seen: None, needs, uses, period_s=0.05)


def counted(assembly: Assembly, shown: Page, per_s: float, seconds: float = 20.0) -> Rate | None:
    """The rate on a panel that shows a page while the frame comes so often; a look every 0.2 s."""
    rates = Rates(assembly)
    sent = 0
    for look in range(round(seconds / 0.2) + 1):
        now = 100.0 + look * 0.2
        while 100.0 + sent / per_s <= now:
            assembly.tables["drive"][0x100](bytes((sent % 200,)), 100.0 + sent / per_s)
            sent += 1
        assembly.snapshot(now)
        rates.look([("main", shown)], now)
    return rates.of("main")


@pytest.mark.parametrize(("per_s", "says"), [(14.0, "14/s, wanted 20/s"), (0.5, "0.5/s, wanted 20/s")])
def test_a_rate_is_what_came_beside_what_was_wanted(per_s: float, says: str) -> None:
    rate = counted(assemble(CAR, load({})), page("engine.speed"), per_s)
    assert rate is not None
    assert rate.sentence == says
    assert (rate.page, rate.signal, rate.wanted_per_s) == ("speed", "engine.speed", 20.0)


def test_a_computed_value_comes_as_often_as_what_it_rests_on(tiny_plugin: TinyPlugin) -> None:
    point = tiny_plugin(TWICE, "tiny")
    assembly = assemble(CAR, load({"tiny": {}}, [point]))
    assert not assembly.loaded.refused
    rate = counted(assembly, page("tiny.twice"), 1.0)
    assert rate is not None
    assert rate.signal == "tiny.twice"
    assert rate.per_s == pytest.approx(1.0, abs=0.11)  # though it is computed four times a second


def test_the_main_value_is_the_first_that_somebody_provides() -> None:
    rate = counted(assemble(CAR, load({})), page("engine.boost_pressure", uses=("engine.speed",)), 5.0)
    assert rate is not None
    assert rate.signal == "engine.speed"


def test_a_page_without_a_value_has_no_rate_and_one_just_shown_is_being_counted() -> None:
    assembly = assemble(CAR, load({}))
    assert counted(assembly, page(), 5.0) is None
    assert counted(assembly, page("engine.boost_pressure"), 5.0) is None
    rate = counted(assembly, page("engine.speed"), 5.0, seconds=0.6)
    assert rate is not None
    assert rate.sentence == "counting, wanted 20/s"


def test_another_page_is_counted_from_its_own_beginning() -> None:
    assembly = assemble(CAR, load({}))
    rates = Rates(assembly)
    for now in (0.0, 5.0):
        rates.look([("main", page("engine.speed"))], now)
    other = Page("other", "Other", lambda canvas, seen: None, ("engine.speed",), period_s=1.0)
    rates.look([("main", other)], 6.0)
    rate = rates.of("main")
    assert rate is not None
    assert (rate.page, rate.per_s) == ("other", None)
