from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Alert, Page, Role
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.contract.words import Words
from underdash.display.alerts import Alerts
from underdash.display.recorder import record

HOT = Alert("hot", "gearbox.oil_temperature", "gearbox hot", above=125.0, clears_by=5.0, delay_s=2.0, role=Role.WARNING)
COLD = Alert("cold", "ambient.temperature", "ice", below=3.0, clears_by=1.0)


def snapshot(now: float, oil: float | None = 90.0, air: float = 20.0, running: bool | str = True) -> Snapshot:
    def reading(name: str, value: float | bool | str | None) -> Reading:
        age = Age.GONE if value is None else Age.FRESH
        return Reading(name, value, None, "", 0, age, 0.1, Quality.GOOD, "")

    values = {"gearbox.oil_temperature": oil, "ambient.temperature": air, "engine.running": running}
    return Snapshot(now, {name: reading(name, value) for name, value in values.items()})


def test_an_alert_is_raised_once_after_its_delay() -> None:
    alerts = Alerts([HOT])
    raised = [alerts.step(snapshot(now, oil=126.0)) for now in (0.0, 1.0, 1.9, 2.0, 3.0, 60.0)]
    assert raised == [[], [], [], [HOT], [], []]
    assert alerts.banner() == Words("gearbox hot", Role.WARNING)


def test_a_peak_shorter_than_the_delay_raises_nothing() -> None:
    alerts = Alerts([HOT])
    for now, oil in ((0.0, 126.0), (1.0, 124.0), (1.5, 126.0), (3.0, 126.0)):
        assert alerts.step(snapshot(now, oil=oil)) == []


def test_it_clears_by_its_hysteresis_only_and_can_be_raised_again() -> None:
    alerts = Alerts([COLD])
    assert alerts.step(snapshot(0.0, air=2.9)) == [COLD]
    alerts.step(snapshot(1.0, air=3.5))
    assert alerts.banner() is not None
    alerts.step(snapshot(2.0, air=4.0))
    assert alerts.banner() is None
    assert alerts.step(snapshot(3.0, air=2.0)) == [COLD]


def test_one_that_looks_for_too_much_clears_by_its_hysteresis_too() -> None:
    alerts = Alerts([replace(HOT, delay_s=0.0)])
    assert len(alerts.step(snapshot(0.0, oil=126.0))) == 1
    alerts.step(snapshot(1.0, oil=120.1))
    assert alerts.banner() is not None
    alerts.step(snapshot(2.0, oil=120.0))
    assert alerts.banner() is None


def test_a_thousand_alerts_one_after_the_other_are_each_raised_and_acknowledged_once() -> None:
    alerts = Alerts([COLD])
    for time in range(1000):
        assert alerts.step(snapshot(2.0 * time, air=2.0)) == [COLD]
        assert alerts.acknowledge() == [COLD]
        assert alerts.acknowledge() == []
        assert alerts.step(snapshot(2.0 * time + 1.0, air=9.0)) == []
        assert alerts.banner() is None


def test_an_acknowledged_alert_leaves_the_panel_and_stays_away_until_it_cleared() -> None:
    alerts = Alerts([COLD])
    alerts.step(snapshot(0.0, air=2.0))
    assert alerts.acknowledge() == [COLD]
    assert alerts.banner() is None
    assert alerts.step(snapshot(1.0, air=1.0)) == []
    assert alerts.banner() is None
    assert alerts.acknowledge() == []


def test_warnings_come_before_cautions_and_are_acknowledged_one_by_one() -> None:
    alerts = Alerts([COLD, HOT])
    alerts.step(snapshot(0.0, oil=130.0, air=0.0))
    alerts.step(snapshot(5.0, oil=130.0, air=0.0))
    assert alerts.shown == (HOT, COLD)
    assert alerts.banner() == Words("gearbox hot +1", Role.WARNING)
    alerts.acknowledge()
    assert alerts.banner() == Words("ice", Role.CAUTION)


def test_a_value_that_is_gone_neither_raises_nor_clears() -> None:
    alerts = Alerts([HOT])
    alerts.step(snapshot(0.0, oil=126.0))
    alerts.step(snapshot(1.0, oil=None))
    assert alerts.step(snapshot(2.5, oil=126.0)) == []
    assert alerts.step(snapshot(4.5, oil=126.0)) == [HOT]
    alerts.step(snapshot(5.0, oil=None))
    assert alerts.banner() is not None


@pytest.mark.parametrize(("wanted", "value", "raised"), [("true", True, 1), ("on", False, 0), ("ON", "ON", 1)])
def test_a_condition_must_hold(wanted: str, value: bool | str, raised: int) -> None:
    alerts = Alerts([Alert("a", "ambient.temperature", "ice", below=3.0, only_while=("engine.running", wanted))])
    assert len(alerts.step(snapshot(0.0, air=0.0, running=value))) == raised
    assert alerts.signals == ("ambient.temperature", "engine.running")


@pytest.mark.parametrize(
    "alerts",
    [
        [Alert("a", "x", "x")],
        [Alert("a", "x", "x", above=1.0, below=0.0)],
        [Alert("a", "x", "x", above=1.0), Alert("a", "y", "y", above=1.0)],
        [Alert("a", "x", "x", above=1.0, role=Role.ACCENT)],
        [Alert("a", "x", "x", above=1.0, role=Role.INK)],
    ],
)
def test_alerts_that_make_no_sense_are_refused(alerts: list[Alert]) -> None:
    with pytest.raises(UnderdashError, match="alert 'a'"):
        Alerts(alerts)


HOT_PAGE = replace(HOT, page="gearbox")
COLD_PAGE = replace(COLD, page="air")


def presented(alerts: Alerts, now: float, oil: float = 90.0, air: float = 20.0) -> str | None:
    alerts.step(snapshot(now, oil=oil, air=air))
    alert = alerts.presenting()
    return None if alert is None else alert.page


def test_the_page_of_an_alert_has_its_turn_from_coming_to_acknowledgement_and_no_other_before_it_cleared() -> None:
    alerts = Alerts([COLD_PAGE])
    assert [presented(alerts, now, air=air) for now, air in ((0.0, 20.0), (1.0, 2.0), (2.0, 2.0))] == [
        None,
        "air",
        "air",
    ]
    alerts.acknowledge()
    assert [presented(alerts, now, air=2.0) for now in (3.0, 4.0)] == [None, None]
    assert [presented(alerts, now, air=air) for now, air in ((5.0, 20.0), (6.0, 1.0))] == [None, "air"]


def test_an_alert_that_is_over_by_itself_ends_the_turn_of_its_page() -> None:
    alerts = Alerts([COLD_PAGE])
    assert [presented(alerts, now, air=air) for now, air in ((0.0, 2.0), (1.0, 9.0))] == ["air", None]


def test_a_warning_takes_over_and_the_caution_gets_no_second_turn() -> None:
    alerts = Alerts([COLD_PAGE, HOT_PAGE])
    seen = [presented(alerts, now, air=2.0, oil=oil) for now, oil in ((0.0, 90.0), (1.0, 130.0), (3.5, 130.0))]
    assert seen == ["air", "air", "gearbox"]
    assert alerts.acknowledge() == [HOT_PAGE]
    assert presented(alerts, 4.0, air=2.0, oil=130.0) is None
    assert alerts.banner() == Words("ice", Role.CAUTION)


def test_a_caution_that_comes_under_a_warning_gets_its_turn_after_it() -> None:
    alerts = Alerts([COLD_PAGE, HOT_PAGE])
    seen = [presented(alerts, now, oil=130.0, air=air) for now, air in ((0.0, 20.0), (2.0, 20.0), (3.0, 2.0))]
    assert seen == [None, "gearbox", "gearbox"]
    alerts.acknowledge()
    assert presented(alerts, 4.0, oil=130.0, air=2.0) == "air"


def test_an_alert_stands_still_on_the_panel() -> None:
    """Nothing blinks, however long it stands: so it never blinks faster than 2 Hz."""
    page = Page("p", "P", lambda canvas, seen: canvas.title("p"), ())
    banner = Words("gearbox hot", Role.WARNING)
    pictures = {record(page, snapshot(tick * 0.04), (240, 240), banner) for tick in range(500)}
    assert len(pictures) == 1


def test_what_was_acknowledged_stays_so_for_the_same_alerts_only() -> None:
    before, same, moved = Alerts([HOT]), Alerts([HOT]), Alerts([replace(HOT, above=120.0)])
    for now in (0.0, 2.0):
        before.step(snapshot(now, oil=130.0))
    before.acknowledge()
    for alerts in (same, moved):
        alerts.take_over(before)
        for now in (3.0, 5.0):
            alerts.step(snapshot(now, oil=130.0))
    assert same.shown == ()
    assert [alert.above for alert in moved.shown] == [120.0]
