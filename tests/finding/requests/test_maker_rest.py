"""Two ids on which more is said than one format: each frame is part of an exchange, or is told."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from random import Random

import pytest

from underdash.bus.frames import Frame
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
from underdash.finding.requests.maker import Maker
from underdash.finding.requests.makers import makers
from underdash.finding.requests.search import Requests, find_requests
from underdash.finding.requests.told import lines

TO, BY = 0x6A1, 0x6B2
Said = tuple[bytes, bytes | None]
Saying = Callable[[int, int], Said]
"""A request and its answer; gets its number and a value."""


def first(n: int, value: int) -> Said:
    identifier = (0x1A04, 0x1A05, 0x1A0C, 0x2B11)[n % 4].to_bytes(2)
    return b"\xcd\x7a\xb4" + identifier + b"\x01", b"\xce\x7a\xf4" + identifier + value.to_bytes(2)


def same_form(n: int, value: int) -> Said:
    return bytes((0xCD, 0x7A, 0xB8, 1, 0x10 + n % 5, 1)), bytes((0xCE, 0x7A, 0xF8, 1, 0x10 + n % 5)) + value.to_bytes(2)


def shorter(n: int, value: int) -> Said:
    return bytes((0xCB, 0x7A, 0xB8, 0x10 + n % 5)), bytes((0xCD, 0x7A, 0xF8, 0x10 + n % 5)) + value.to_bytes(2)


def repeats_nothing(n: int, value: int) -> Said:
    return bytes((0xCB, 0x7A, 0xB8, 0x10 + n % 5)), bytes((0xCC, 0x7A, 0xF8)) + value.to_bytes(2)


def always_the_same(n: int, value: int) -> Said:
    return bytes((0xCA, 0x7A, 0xB2)), bytes((0xCC, 0x7A, 0xF2)) + value.to_bytes(2)


def unanswered(n: int, value: int) -> Said:
    return bytes((0xCA, 0x7A, 0xB2)), None


def heard_of(second: Saying, share: float, seed: int = 1, number: int = 300) -> Heard:
    """One tester that says the second thing now and then."""
    rng, at, log = Random(f"{seed} {share}"), 1.0, []
    for n in range(number):
        at += rng.uniform(0.08, 0.13)
        value = int(30_000 + 20_000 * math.sin(at / 5 + n % 4))
        request, answer = (second if rng.random() < share else first)(n, value)
        log.append(("drive", Frame(TO, request.ljust(8, b"\0"), at=at)))
        if answer is not None:
            log.append(("drive", Frame(BY, answer.ljust(8, b"\0"), at=at + rng.uniform(0.004, 0.02))))
    return heard_from(log)


def accounted(found: list[Maker]) -> int:
    """Return how many frames are part of exchanges, or told."""
    frames = sum(1 + (one.answer is not None) for maker in found for one in maker.exchanges)
    for remark in (remark for maker in found for remark in maker.remarks):
        told = re.match(r"(\d+)( further answers?| of \d+ frames on its ids are not understood)", remark)
        frames += int(told[1]) if told else 0
    return frames


@pytest.mark.parametrize("share", [0.02, 0.2, 0.5, 0.8])
@pytest.mark.parametrize("second", [same_form, shorter, repeats_nothing, always_the_same, unanswered])
def test_every_frame_is_part_of_an_exchange_or_told(second: Saying, share: float) -> None:
    heard = heard_of(second, share)
    found = makers(heard)
    assert accounted(found) == heard.frames
    assert all(one.form is not None for one in found)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("second", [same_form, shorter, repeats_nothing])
def test_a_second_command_on_the_same_ids_has_its_own_format(second: Saying, share: float) -> None:
    found = makers(heard_of(second, share))
    assert {one.form.command for one in found if one.form is not None} == {0xB4, 0xB8}
    assert [one.spelt for one in found] == [1.0, 1.0]


def test_what_is_not_understood_is_told_with_how_many_and_an_example() -> None:
    (found,) = makers(heard_of(always_the_same, 0.2))
    (told,) = (remark for remark in found.remarks if "not understood" in remark)
    assert re.fullmatch(
        r"\d+ of 600 frames on its ids are not understood: (\d+) of 6A1 \(\1 like CA 7A B2 00 00 00 00 00\); "
        r"\1 of 6B2 \(\1 like CC 7A F2 .. .. 00 00 00\)",
        told,
    )


def test_answers_that_do_not_name_what_was_asked_are_told_and_in_no_description() -> None:
    found = find_requests(heard_of(repeats_nothing, 0.5))
    assert {one.service for one in found.asked} == {0xB4, 0xB8}
    assert "# maker_b8: its answers do not name what was asked" in found.description
    assert "[request_format.maker_b4]" in found.description
    assert "[request_format.maker_b8]" not in found.description


def searched(log: list[tuple[str, Frame]]) -> Requests:
    return find_requests(heard_from(sorted(log, key=lambda one: one[1].at)))


def frames(heard: Heard) -> list[tuple[str, Frame]]:
    return [
        ("drive", Frame(one.id, one.data[row].tobytes(), at=float(one.at[row])))
        for one in heard
        for row in range(len(one))
    ]


def test_requests_that_nobody_answers_are_counted_with_the_others() -> None:
    log = frames(heard_of(first, 0.0))
    later = max(frame.at for _, frame in log)
    request = first(1, 0)[0].ljust(8, b"\0")
    found = searched([*log, *(("drive", Frame(TO, request, at=later + 0.1 * n)) for n in range(1, 8))])
    asked = next(one for one in found.asked if one.identifier == 0x1A05)
    assert (asked.times, asked.silent) == (82, 7)
    assert "7 without an answer" in "\n".join(lines(found))


def test_answers_that_no_request_stands_before_are_told() -> None:
    log = frames(heard_of(first, 0.0))
    later = max(frame.at for _, frame in log)
    answer = (first(1, 4711)[1] or b"").ljust(8, b"\0")
    (found,) = searched([*log, *(("drive", Frame(BY, answer, at=later + 3 + n)) for n in range(9))]).makers
    assert found.remarks[-1] == (
        "9 further answers on 6B2 with no request before them that has none yet: a request was lost, or one asks for "
        "several; 9 like CE 7A F4 1A 05 12 67 00"
    )
