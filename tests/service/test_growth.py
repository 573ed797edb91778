"""A process that grows: whose it is is looked for once it is large, and it ends before the machine does."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from underdash.service.growth import ADDED_MB, LEAST_MB, TRACED_S, Grown, Growth, Tracemalloc, machine_mb, used_mb

SMALL_MB, LARGE_MB, TOO_LARGE_MB = 512.0, 128.0, 204.8


class Traced:
    """A tracer that finds what it was told."""

    def __init__(self, **held: float) -> None:
        self.held = held
        self.runs = False

    def begin(self) -> None:
        self.runs = True

    def end(self) -> Mapping[str, float]:
        self.runs = False
        return self.held


def test_nobody_is_traced_while_the_process_is_small() -> None:
    tracer = Traced()
    growth = Growth(tracer, SMALL_MB)
    assert growth.look(LARGE_MB - 1.0, 0.0) is None
    assert not tracer.runs
    assert growth.look(LARGE_MB, 2.0) == Grown(LARGE_MB, judged=False)
    assert tracer.runs


def test_on_a_tiny_machine_there_is_still_room_for_an_ordinary_daemon() -> None:
    tracer = Traced()
    growth = Growth(tracer, 200.0)
    growth.look(LEAST_MB - 1.0, 0.0)
    assert not tracer.runs
    growth.look(LEAST_MB, 2.0)
    assert tracer.runs


def test_on_a_larger_machine_more_is_allowed() -> None:
    tracer = Traced()
    growth = Growth(tracer, 2048.0)
    assert growth.look(511.0, 0.0) is None
    assert not tracer.runs
    found = growth.look(820.0, 2.0)
    assert found is not None
    assert found.too_large


def test_a_plug_in_that_holds_what_came_is_named() -> None:
    tracer = Traced(gauge=ADDED_MB * 0.7, other=1.0)
    growth = Growth(tracer, SMALL_MB)
    growth.look(LARGE_MB, 0.0)
    assert growth.look(LARGE_MB + ADDED_MB - 1.0, 2.0) is None
    found = growth.look(LARGE_MB + ADDED_MB, 4.0)
    assert found == Grown(LARGE_MB + ADDED_MB, ADDED_MB, 4.0, "gauge")
    assert found.sentence == "took 12 MB more within 4 s, 140 MB by now"
    assert not tracer.runs


@pytest.mark.parametrize("held", [{"": ADDED_MB}, {"gauge": ADDED_MB * 0.3}, {}])
def test_nobody_is_named_where_most_is_nobodys(held: dict[str, float]) -> None:
    growth = Growth(Traced(**held), SMALL_MB)
    growth.look(LARGE_MB, 0.0)
    found = growth.look(LARGE_MB + ADDED_MB, 4.0)
    assert found is not None
    assert found.plugin == ""


def test_a_process_that_is_large_and_stays_so_is_traced_for_a_while_only() -> None:
    tracer = Traced(gauge=1.0)
    growth = Growth(tracer, SMALL_MB)
    growth.look(LARGE_MB, 0.0)
    assert growth.look(LARGE_MB + 2.0, TRACED_S) is None
    assert not tracer.runs
    assert growth.look(LARGE_MB + 3.0, TRACED_S + 2.0) is None
    assert not tracer.runs
    assert growth.look(LARGE_MB + 2.0 + ADDED_MB, 1000.0) == Grown(LARGE_MB + 2.0 + ADDED_MB, judged=False)
    assert tracer.runs, "but again once more has come"


def test_what_plug_ins_bring_again_for_a_description_read_again_is_no_leak() -> None:
    tracer = Traced(gauge=ADDED_MB * 0.7)
    growth = Growth(tracer, SMALL_MB)
    growth.look(LARGE_MB, 0.0)
    tracer.runs = False
    growth.anew()
    assert growth.look(LARGE_MB + ADDED_MB, 2.0) is None
    assert tracer.runs, "what was traced so far does not count any more"
    assert growth.look(LARGE_MB + 2 * ADDED_MB - 1.0, 4.0) is None


def test_a_leak_from_before_is_found_after_a_description_was_read_again() -> None:
    growth = Growth(Traced(gauge=ADDED_MB * 0.7), SMALL_MB)
    growth.look(LARGE_MB, 0.0)
    growth.look(LARGE_MB + ADDED_MB - 1.0, 2.0)
    growth.anew()
    growth.look(LARGE_MB + ADDED_MB, 4.0)
    assert growth.look(LARGE_MB + 2 * ADDED_MB, 6.0) == Grown(LARGE_MB + 2 * ADDED_MB, ADDED_MB, 2.0, "gauge")


def test_descriptions_read_again_and_again_do_not_let_it_become_too_large() -> None:
    growth, used = Growth(Traced(gauge=ADDED_MB), SMALL_MB), LARGE_MB
    growth.look(used, 0.0)
    while used + ADDED_MB < TOO_LARGE_MB:
        used += ADDED_MB
        growth.anew()
        assert growth.look(used, 1.0) is None
    growth.anew()
    assert growth.look(TOO_LARGE_MB, 2.0) == Grown(TOO_LARGE_MB, 0.0, 0.0, "", too_large=True)


def test_while_nobody_is_traced_reading_again_changes_nothing() -> None:
    tracer = Traced(gauge=ADDED_MB)
    growth = Growth(tracer, SMALL_MB)
    growth.anew()
    assert growth.look(LARGE_MB - 1.0, 0.0) is None
    assert not tracer.runs
    growth.look(LARGE_MB, 2.0)
    assert growth.look(LARGE_MB + ADDED_MB, 4.0) == Grown(LARGE_MB + ADDED_MB, ADDED_MB, 2.0, "gauge")


def test_one_that_is_too_large_has_to_end_whoever_it_is() -> None:
    tracer = Traced(gauge=60.0)
    growth = Growth(tracer, SMALL_MB)
    found = growth.look(TOO_LARGE_MB, 0.0)
    assert found == Grown(TOO_LARGE_MB, too_large=True)
    growth.look(LARGE_MB, 2.0)
    found = growth.look(TOO_LARGE_MB, 4.0)
    assert found is not None
    assert (found.plugin, found.too_large, tracer.runs) == ("gauge", True, False)


def test_python_tells_whose_code_allocated(tmp_path: Path) -> None:
    leak = tmp_path / "underdash_leaks.py"
    leak.write_text("def draw(kept, make):\n    kept.append(make(1 << 20))\n")
    names: dict[str, object] = {}
    exec(compile(leak.read_text(), str(leak), "exec"), names)
    draw, kept = names["draw"], [bytearray(10)]
    assert callable(draw)
    tracer = Tracemalloc(lambda file: "leaks" if file == str(leak) else "")
    assert tracer.end() == {}
    tracer.begin()
    mine = bytearray(1 << 20)
    for _ in range(3):
        draw(kept, bytearray)  # what the plug-in has called allocates for it
    held = tracer.end()
    assert held["leaks"] == pytest.approx(3.0, abs=0.1)
    assert held[""] == pytest.approx(len(mine) / (1 << 20), abs=0.1)


def test_what_was_allocated_before_it_begins_anew_does_not_count() -> None:
    tracer = Tracemalloc(lambda file: "me" if file == __file__ else "")
    tracer.begin()
    before = bytearray(2 << 20)
    tracer.begin()
    after = bytearray(1 << 20)
    assert tracer.end()["me"] == pytest.approx(len(after) / (1 << 20), abs=0.1)
    assert len(before) > len(after)


def test_what_is_shared_with_others_is_not_counted(tmp_path: Path) -> None:
    statm = tmp_path / "statm"
    statm.write_text("60000 25600 2560 700 0 30000 0\n")
    assert used_mb(statm) == pytest.approx(90.0)
    assert 1.0 < used_mb() < machine_mb()
