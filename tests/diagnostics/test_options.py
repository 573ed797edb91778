from __future__ import annotations

from underdash.diagnostics.options import WEIGHTS, Options
from underdash.signals.wants import WantKind


def test_pauses_double_up_to_the_longest() -> None:
    options = Options()
    assert [options.back_off(times) for times in range(1, 8)] == [1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0]
    assert options.back_off(10_000) == 30.0


def test_a_unit_that_refuses_everything_is_left_alone_longer_and_longer() -> None:
    options = Options()
    assert [options.left_alone_s(count, True) for count in range(3, 9)] == [0.0, 0.25, 0.5, 1.0, 2.0, 2.0]
    assert [options.left_alone_s(count, False) for count in range(3, 10)] == [0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 5.0]
    assert options.left_alone_s(10_000, False) == options.slowly_s


def test_the_page_that_is_shown_outweighs_all_and_each_kind_has_a_weight() -> None:
    assert set(WEIGHTS) == set(WantKind)
    assert WEIGHTS[WantKind.PAGE] > WEIGHTS[WantKind.ALERT] > WEIGHTS[WantKind.RECORDER] > WEIGHTS[WantKind.HIDDEN] > 0
