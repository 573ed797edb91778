"""What counts as progress, and whether the service manager watches at all."""

from __future__ import annotations

import pytest

from underdash.service.watchdog import Progress, watchdog_s


def test_a_part_that_moves_is_fine_and_one_that_does_not_is_named() -> None:
    progress = Progress()
    assert progress.look({"loop": 5, "panel": 1}) == ()
    assert progress.look({"loop": 6, "panel": 1}) == ("panel",)
    assert progress.look({"loop": 6, "panel": 1}) == ("loop", "panel")
    assert progress.look({"loop": 7, "panel": 2}) == ()


def test_a_part_with_nothing_to_do_may_stand_still() -> None:
    progress = Progress()
    progress.look({"sending": 3})
    assert progress.look({"sending": 3}, idle={"sending"}) == ()
    assert progress.look({"sending": 3}) == ("sending",)


def test_a_part_that_is_new_or_begins_anew_makes_progress() -> None:
    progress = Progress()
    progress.look({"panel": 9})
    assert progress.look({"panel": 0, "other": 0}) == ()


@pytest.mark.parametrize(
    ("environment", "seconds"),
    [
        ({"WATCHDOG_USEC": "10000000", "WATCHDOG_PID": "7"}, 10.0),
        ({"WATCHDOG_USEC": "2500000"}, 2.5),
        ({"WATCHDOG_USEC": "10000000", "WATCHDOG_PID": "8"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_only_a_process_that_is_watched_feeds(environment: dict[str, str], seconds: float | None) -> None:
    assert watchdog_s(environment, process=7) == seconds
