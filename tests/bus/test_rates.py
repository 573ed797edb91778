from __future__ import annotations

import pytest

from underdash.bus.rates import GOOD_FRAMES, WRONG_ERRORS, Sign, Try, judge


def test_what_a_try_shows() -> None:
    assert Try(500_000, 5).sign is Sign.RIGHT
    assert Try(500_000, 5, 1).sign is Sign.MIXED
    assert Try(500_000, 0, 1).sign is Sign.WRONG
    assert Try(500_000).sign is Sign.NOTHING


def test_a_try_is_over_once_it_would_tell_nothing_new() -> None:
    assert Try(500_000, GOOD_FRAMES).decided
    assert Try(500_000, 0, WRONG_ERRORS).decided
    assert not Try(500_000, 1, WRONG_ERRORS).decided
    assert not Try(500_000).decided


@pytest.mark.parametrize(
    ("tries", "bitrate", "said"),
    [
        ([Try(500_000, 0, 20), Try(125_000, 30)], 125_000, "125000 bit/s: 30 good frames"),
        ([Try(500_000, 40, 9), Try(125_000, 0, 10)], None, "come mixed with 9 errors"),
        ([Try(500_000, 40, 9), Try(125_000, 3)], 125_000, "125000 bit/s"),
        ([Try(500_000, 0, 20), Try(125_000, 0, 20)], None, "at none of these rates"),
        ([Try(500_000), Try(125_000)], None, "nothing was heard at any rate"),
        ([], None, "nothing was heard"),
    ],
)
def test_the_verdict(tries: list[Try], bitrate: int | None, said: str) -> None:
    verdict = judge(tries)
    assert verdict.bitrate == bitrate
    assert said in verdict.sentence
