from __future__ import annotations

from underdash.finding.hearing import SILENT_S, Hearing


def told(one: Hearing, *times: float) -> list[str]:
    return [said for now in times if (said := one.tick(now))]


def test_buses_that_were_never_heard_are_asked_about_once() -> None:
    one = Hearing(100.0)
    assert told(one, 100.0 + SILENT_S) == []
    assert told(one, 105.1, 105.2, 900.0) == ["nothing is heard yet: is the ignition on, and the adapter plugged in?"]
    one.heard(901.0)
    assert told(one, 901.1) == ["the buses are heard again"]


def test_a_bus_that_goes_away_is_told_and_that_it_is_back() -> None:
    one = Hearing(100.0)
    one.heard(101.0)
    assert told(one, 106.0) == []
    (said,) = told(one, 106.1, 107.0)
    assert said.startswith("nothing is heard any more: the car fell asleep, or the adapter is gone")
    one.heard(110.0)
    assert told(one, 110.0, 111.0) == ["the buses are heard again"]


def test_buses_that_may_sleep_are_not_asked_about() -> None:
    one = Hearing(100.0)
    for now in range(101, 200):
        one.asleep(float(now))
        assert told(one, now + 0.5) == []
    assert len(told(one, 205.0)) == 1
