"""A daemon that grows: its plug-in is suspended and suspected, and where that is no remedy it begins anew."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from underdash.service.growth import ADDED_MB, Grown, Growth
from underdash.service.ledger import LEDGER, Ledger
from underdash.wiring.growing import Growing

from ..service.test_growth import LARGE_MB, SMALL_MB, TOO_LARGE_MB, Traced


class Daemon:
    def __init__(self, folder: Path) -> None:
        self.loop = asyncio.new_event_loop()
        self.ledger = Ledger(folder, lambda file: "")
        self.suspended: list[tuple[str, str]] = []
        self.used_mb = TOO_LARGE_MB
        self.growing = Growing(
            self.loop,
            Growth(Traced(), SMALL_MB),
            lambda plugin, reason: self.suspended.append((plugin, reason)),
            self.ledger,
            lambda: self.used_mb,
        )


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    made = Daemon(tmp_path / "run")
    yield made
    made.growing.stop()
    made.ledger.close(forget=True)
    made.loop.close()


def test_a_plug_in_that_holds_what_came_is_suspended(daemon: Daemon) -> None:
    with capture_logs() as logs:
        daemon.growing.take(Grown(140.0, 12.0, 4.0, "gauge"))
    assert daemon.suspended == [
        ("gauge", "it holds more and more memory: the daemon took 12 MB more within 4 s, 140 MB by now")
    ]
    assert daemon.growing.suspected == "gauge"
    assert daemon.growing.too_large == ""
    assert [one["event"] for one in logs] == ["memory_grows"]
    assert logs[0]["text"] == "took 12 MB more within 4 s, 140 MB by now; plug-in gauge holds it"


def test_where_it_is_nobodys_that_is_said_and_nobody_is_suspended(daemon: Daemon) -> None:
    with capture_logs() as logs:
        daemon.growing.take(Grown(140.0, 12.0, 4.0))
    assert (daemon.suspended, daemon.growing.suspected) == ([], "")
    assert [one["text"].partition("; ")[2] for one in logs] == ["whose code holds it cannot be told"]


def test_one_that_only_became_large_is_noted_for_the_next_life(daemon: Daemon, tmp_path: Path) -> None:
    with capture_logs() as logs:
        daemon.growing.take(Grown(128.0, judged=False))
    assert (logs, daemon.suspended) == ([], [])
    assert "its memory had grown to 128 MB" in (tmp_path / "run" / LEDGER).read_text()


def test_one_that_is_too_large_ends_and_names_who_was_suspected_before(daemon: Daemon) -> None:
    daemon.growing.take(Grown(140.0, 12.0, 4.0, "gauge"))
    daemon.loop.call_later(20.0, lambda: pytest.fail("it went on"))
    daemon.growing.start()
    daemon.loop.run_forever()
    assert daemon.growing.too_large == f"took too much memory ({TOO_LARGE_MB:.0f} MB)"
    assert daemon.growing.suspected == "gauge"


def test_a_description_that_is_read_again_has_it_count_anew(daemon: Daemon) -> None:
    growth = daemon.growing._growth
    growth.look(LARGE_MB, 0.0)
    daemon.growing.reloaded()
    assert growth.look(LARGE_MB + ADDED_MB, 2.0) is None


def test_nothing_is_done_while_it_is_small(daemon: Daemon) -> None:
    daemon.used_mb = LARGE_MB / 2
    daemon.growing.start()
    daemon.loop.call_later(0.2, daemon.loop.stop)
    daemon.loop.run_forever()
    assert (daemon.growing.too_large, daemon.suspended) == ("", [])
