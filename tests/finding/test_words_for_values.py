"""Which value a word means and how it is scaled, over many testers: simulated only, since no recording has one."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import pytest

from underdash.contract.layout import Bits, Field
from underdash.contract.signals import Value
from underdash.finding.marks import Mark
from underdash.finding.requests.on_show import Candidate, Shown
from underdash.finding.requests.search import find_requests

from .invented_formats import SCALES, Invented, invented, requests_of, units_of
from .tester_traces import SIGNALS, Asked, Wire, values_at

SEEDS = range(8)
WORDS = SIGNALS[:4]
LATE_S = (0.0, 0.7)
TYPED_LATE_S = (0.4, 1.3)


@dataclass
class Score:
    """Sums over words."""

    words: int = 0
    right: int = 0
    sure: float = 0.0
    scaled: int = 0
    exact: int = 0
    offset: int = 0


def session(made: Invented, seed: int) -> tuple[list[tuple[float, Asked]], list[Mark]]:
    """Each word on show for 20 s, twice; something else is asked for all the time; people are late and round."""
    rng = Random(f"session {seed}")
    requests = requests_of(made, units_of(made))
    asked: list[tuple[float, Asked]] = []
    marks: list[Mark] = []
    at = 1.0
    for word in WORDS * 2:
        begin, place = at, WORDS.index(word)
        while at < begin + 20.0:
            asked.append((at, requests[place]))
            asked += [(at + 0.05, requests[5])] if rng.random() < 0.2 else []
            at += rng.uniform(0.09, 0.14)
        marks.append(Mark(begin + rng.uniform(*LATE_S), f"{word} only", at + rng.uniform(*LATE_S)))
        for seen_at in steady(word, begin + 3.0, begin + 18.0):
            marks.append(Mark(seen_at + rng.uniform(*TYPED_LATE_S), f"{word} {shown(values_at(seen_at)[word])}"))
        at += 1.0
    return asked, marks


def steady(word: str, begin: float, end: float) -> list[float]:
    """When somebody reads the screen: in each third of an interval twice, where the value hardly moves."""

    def slope(at: float) -> float:
        after, before = values_at(at + 0.3)[word], values_at(at - 0.3)[word]
        assert isinstance(after, float)
        assert isinstance(before, float)
        return abs(after - before)

    step = (end - begin) / 6.0
    return [min((begin + step * (n + k / 8.0) for k in range(6)), key=slope) for n in range(6)]


def shown(value: Value) -> str:
    """As a tester's screen has it: four figures."""
    assert isinstance(value, float)
    return f"{value:.1f}" if abs(value) >= 100 else f"{value:.2f}"


def add(score: Score, found: Shown, wanted: int, truth: Field) -> None:
    score.words += 1
    best = found.best
    right = best is not None and best.asked.identifier == wanted
    score.right += right
    score.sure += max((one.confidence for one in found.candidates), default=0.0)
    if right and best is not None and best.fit is not None:
        add_scale(score, best, truth)


def add_scale(score: Score, best: Candidate, truth: Field) -> None:
    assert best.fit is not None
    line, bits = best.fit.line, best.fit.bits
    # a lower byte that is left out makes the scale as much larger
    scale = truth.scale * 256 ** ((truth.bits.length - bits.length) // 8)
    score.scaled += bits.byte == 0 and abs(line.scale / scale - 1.0) <= 0.05
    score.exact += bits.length == truth.bits.length and line.scale == pytest.approx(truth.scale, rel=1e-9)
    score.offset += abs(line.offset - truth.offset) <= 3.0 * line.offset_error + 1e-9


def test_words_find_their_values_and_numbers_their_scale(capsys: pytest.CaptureFixture[str]) -> None:
    score = Score()
    for seed in SEEDS:
        made = invented(seed)
        asked, marks = session(made, seed)
        wire = Wire(units_of(made), Random(seed))
        wire.ask(asked)
        wire.talk(0.0, asked[-1][0] + 1.0, how_many=4)
        result = find_requests(wire.heard(), marks)
        found = {one.word: one for one in result.shown}
        for place, word in enumerate(WORDS):
            identifier, size = made.identifiers[place]
            field = Field(word, Bits(0, 8 * size), scale=SCALES[size])
            add(score, found[word], identifier, field)
    sure = 100 * score.sure / score.words
    with capsys.disabled():
        print(
            f"\nsimulated only: {score.words} words on show, {score.right} right at {sure:.0f} % mean confidence; scale"
            f" within 5 % {score.scaled}, exact {score.exact}, offset in its error {score.offset}"
        )
    assert score.right == score.words
    assert score.scaled >= 0.9 * score.words
