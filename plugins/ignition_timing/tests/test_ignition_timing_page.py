from __future__ import annotations

import pytest

from underdash import Page, Role, UnderdashError
from underdash.testing import brought, draw, load_plugin, snapshot
from underdash_ignition_timing.page import CYLINDERS, KNOCK, LOAD, TIMING, knock_role, worst_cylinder
from underdash_ignition_timing.settings import Settings


def page(**settings: object) -> Page:
    (found,) = brought(load_plugin("underdash_ignition_timing", settings), "display_pages")
    assert isinstance(found, Page)
    return found


def test_worst_cylinder_stands_in_for_the_cars_own_word() -> None:
    each = worst_cylinder(snapshot({CYLINDERS[0]: 1.0, CYLINDERS[1]: 4.5, CYLINDERS[2]: None}))
    assert each is not None
    assert (each.name, each.value) == (KNOCK, 4.5)
    own = worst_cylinder(snapshot({KNOCK: 0.5, CYLINDERS[0]: 9.0}))
    assert own is not None
    assert own.value == 0.5


def test_a_car_that_tells_no_knocking_has_no_row_for_it() -> None:
    assert worst_cylinder(snapshot({TIMING: 12.0})) is None


def test_a_car_whose_cylinders_are_silent_shows_dashes() -> None:
    silent = worst_cylinder(snapshot({CYLINDERS[0]: None, CYLINDERS[1]: None}))
    assert silent is not None
    assert silent.text == "--"


@pytest.mark.parametrize(
    ("degrees", "role"), [(0.0, Role.INK), (3.0, Role.CAUTION), (6.0, Role.WARNING), (None, Role.SOFT)]
)
def test_knocking_is_coloured(degrees: float | None, role: Role) -> None:
    assert knock_role(snapshot({KNOCK: degrees}).reading(KNOCK), Settings()) is role


def test_history_is_drawn_where_there_is_nothing_else_to_say() -> None:
    history = tuple((float(30 - n), 10.0 + n % 7) for n in range(30))
    alone = draw(page(), snapshot({TIMING: 12.0}, histories={TIMING: history}))
    without = draw(page(), snapshot({TIMING: 12.0}))
    beside = draw(page(), snapshot({TIMING: 12.0, LOAD: 50.0}, histories={TIMING: history}))
    assert alone.tobytes() != without.tobytes()
    assert beside.tobytes() == draw(page(), snapshot({TIMING: 12.0, LOAD: 50.0})).tobytes()


def test_alert_is_asked_for() -> None:
    assert brought(load_plugin("underdash_ignition_timing"), "alerts") == []
    (alert,) = brought(load_plugin("underdash_ignition_timing", {"alert": True, "knock_warning": 8.0}), "alerts")
    assert (alert.signal, alert.above, alert.role) == (KNOCK, 8.0, Role.WARNING)


@pytest.mark.parametrize(
    ("settings", "said"), [({"low": 5.0}, "`low` at or below 0"), ({"knock_caution": 7.0}, "below `knock_warning`")]
)
def test_settings_that_make_no_sense(settings: dict[str, object], said: str) -> None:
    with pytest.raises(UnderdashError, match=said):
        load_plugin("underdash_ignition_timing", settings)
