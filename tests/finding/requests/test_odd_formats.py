"""Simulated only, since no recording has a one-frame format: how many kinds of them are worked out, and what is said
of those that are not."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields

import pytest

from underdash.finding.requests.maker import Maker
from underdash.finding.requests.search import find_requests

from ..odd_formats import CHECKSUMS, Kind, Odd

SEEDS = range(30)
RIGHT, TOLD, NOTHING, WRONG = "right", "told", "nothing", "WRONG"


def judged(odd: Odd) -> str:
    """Say whether all that was asked is spelt and read to the byte."""
    found = find_requests(odd.heard())
    if any({one.to.id, one.by.id} != set(odd.ids) for one in found.makers):
        return WRONG
    formed = [one for one in found.makers if one.form is not None]
    if not formed:
        return TOLD if found.anything else NOTHING
    if found.dialogue.exchanges or not all(_right(one, odd) for one in formed):
        return WRONG
    read = {one.request.at for maker in formed for one in maker.answered if one.request is not None}
    if any("not understood" in remark for one in formed for remark in one.remarks):
        return TOLD
    return RIGHT if len(read) >= (1 - 3 * odd.kind.lost - 0.01) * len(odd.truth) else WRONG


def _right(maker: Maker, odd: Odd) -> bool:
    """Say whether one of its requests in fifty at most is read as something else; lost frames make wrong pairs."""
    wrong = 0
    names: dict[tuple[int | None, int | None], bytes] = {}
    for one in maker.answered:
        assert one.request is not None
        assert one.answer is not None
        request, answer, value = odd.truth[one.request.at]
        address, identifier, said = maker.read(one)
        alone = names.setdefault((address, identifier), request) == request and maker.spells(request)
        end = b"" if odd.kind.padding is None else bytes((odd.kind.padding,))
        good = said is not None and said.data[: len(value)] == value and not said.data[len(value) :].strip(end)
        wrong += not (alone and good and one.answer.data == answer)
    return wrong <= (0.02 + odd.kind.lost) * len(maker.answered)


def test_formats_of_odd_kinds_are_worked_out_or_told_and_never_read_wrongly(
    capsys: pytest.CaptureFixture[str],
) -> None:
    total: Counter[str] = Counter()
    by_kind: Counter[tuple[str, object, str]] = Counter()
    for seed in SEEDS:
        odd = Odd(seed)
        came = judged(odd)
        total[came] += 1
        for one in fields(Kind):
            by_kind[one.name, getattr(odd.kind, one.name), came] += 1
        assert came != WRONG, f"seed {seed}: {odd.kind}"
        if odd.kind.checksum in CHECKSUMS:
            assert came in (TOLD, NOTHING), f"seed {seed}: no format has a checksum"
    with capsys.disabled():
        print(f"\n{len(SEEDS)} one-frame formats of odd kinds, simulated only: {dict(total)}; of each kind " + RIGHT)
        for name in (one.name for one in fields(Kind)):
            values = dict.fromkeys(value for kind, value, _ in by_kind if kind == name)
            text = (f"{v} {by_kind[name, v, RIGHT]} of {sum(by_kind[name, v, c] for c in total)}" for v in values)
            print(f"  {name}: {', '.join(text)}")
    describable = sum(Odd(seed).kind.checksum == "none" for seed in SEEDS)
    assert total[RIGHT] >= 0.85 * describable
