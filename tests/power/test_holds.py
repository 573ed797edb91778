"""What puts a power-off off, and until when."""

from __future__ import annotations

from underdash.power.holds import Hold, Holding, sentence

BOTH = list(Hold)
CAPS = {Hold.LOGGED_IN: 600.0, Hold.UPDATING: 1800.0}


def test_each_hold_counts_until_its_own_cap() -> None:
    holding = Holding(CAPS)
    assert [holding.holds(BOTH, at) for at in (100.0, 700.0, 1899.0, 1900.0)] == [True, True, True, False]
    holding = Holding(CAPS)
    assert [holding.holds([Hold.LOGGED_IN], at) for at in (100.0, 699.0, 700.0)] == [True, True, False]
    assert not Holding({}).holds(BOTH, 0.0)


def test_it_says_who_holds_and_how_long_that_can_last() -> None:
    holding = Holding(CAPS)
    assert sentence(holding.by, holding.left_s(0.0)) == ""
    holding.holds(BOTH, 100.0)
    assert (
        sentence(holding.by, holding.left_s(160.0))
        == "power-off waits, 29 min at most: somebody is logged in and an update is running"
    )
    holding.holds([Hold.LOGGED_IN], 690.0)
    assert sentence(holding.by, holding.left_s(690.0)) == "power-off waits, 1 min at most: somebody is logged in"


def test_the_time_begins_anew_once_no_halt_is_due() -> None:
    holding = Holding(CAPS)
    holding.holds(BOTH, 0.0)
    holding.over()
    assert holding.by == ()
    assert holding.left_s(5000.0) == 0.0
    assert holding.holds([Hold.LOGGED_IN], 5000.0)
