"""Which value is which: what was asked for while the tester had one parameter on show, and not while it had others.

A mark with an interval says what was on show ("boost only"); people switch the display a little before or after they
say so, so the ends of an interval do not count.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..found import Plain
from ..heard import Floats
from ..lacks import counted
from ..marks import Mark
from .asked_for import Asked
from .readings import Fit, Reading, fits, told_apart

EDGE_S = 2.0
"""What is left out at the beginning of an interval, and half that at its end: a display takes a second (a choice)."""
EDGE_SHARE = 0.2
"""Of a short interval so much is left out instead."""
LEAST_SHARE = 0.5
"""In so much of its intervals' time, by seconds that have a request, a value has to be asked for."""
ELSEWHERE = 0.25
"""And in the time of other intervals at most this share as often; a tester may end what it had begun (a choice)."""
SURE, FAIRLY = 0.95, 0.85
"""How sure one candidate alone is: of several intervals, of one (judged by simulated testers)."""
_READING = re.compile(r"^(?P<word>.*\S)\s+(?P<number>[-+]?\d+(?:\.(?P<decimals>\d+))?)(?:\s*(?P<unit>[^\d\s]\S*))?$")


@dataclass(slots=True)
class Candidate:
    """A value that may be the one on show.

    Attributes:
        asked: which.
        confidence: 0 to 1; of values that cannot be told apart each has its share.
        because: sentences.
        fit: how its numbers become what was typed, where anything was.
    """

    asked: Asked
    confidence: float
    because: list[str] = field(default_factory=list)
    fit: Fit | None = None


@dataclass(slots=True)
class Shown:
    """What was found for one word: candidates, best first, and what a person should read."""

    word: str
    candidates: list[Candidate] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    @property
    def best(self) -> Candidate | None:
        """The one that it is; None where there is none, or several are as good."""
        first = self.candidates[:1]
        return first[0] if first and first[0].confidence > 0.5 else None

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        return {
            "word": self.word,
            "candidates": [
                {
                    "unit": str(one.asked.whom),
                    "request": one.asked.name,
                    "confidence": round(one.confidence, 4),
                    "because": [*one.because],
                    "fit": None if one.fit is None else one.fit.plain(),
                }
                for one in self.candidates
            ],
            "remarks": [*self.remarks],
        }


def split(marks: Iterable[Mark]) -> tuple[dict[str, list[Mark]], dict[str, list[Reading]]]:
    """Split marks into intervals of what was on show, and numbers read off it, by the word of the parameter.

    ``boost only`` is boost; ``boost 1.2 bar`` is a number. Other marks without a length say nothing here.
    """
    windows: dict[str, list[Mark]] = {}
    readings: dict[str, list[Reading]] = {}
    for mark in marks:
        number = _READING.match(mark.word)
        if number is not None and mark.end is None:
            reading = Reading(
                mark.begin, float(number["number"]), 10.0 ** -len(number["decimals"] or ""), number["unit"] or ""
            )
            readings.setdefault(_bare(number["word"]), []).append(reading)
        elif mark.end is not None:
            windows.setdefault(_bare(mark.word), []).append(mark)
    return windows, readings


def _bare(word: str) -> str:
    return word.removesuffix(" only").strip()


def on_show(
    asked: Sequence[Asked], windows: Mapping[str, Sequence[Mark]], readings: Mapping[str, Sequence[Reading]]
) -> list[Shown]:
    """Say for each word which values it is, and how their numbers are scaled where numbers were read."""
    result = []
    for word in dict.fromkeys((*windows, *readings)):
        shown = _by_windows(word, asked, windows) if word in windows else Shown(word)
        if word in readings:
            _by_readings(shown, asked, readings[word])
        result.append(shown)
    return result


def _by_windows(word: str, asked: Sequence[Asked], windows: Mapping[str, Sequence[Mark]]) -> Shown:
    mine = [_core(mark) for mark in windows[word]]
    others = [_core(mark) for other, marks in windows.items() if other != word for mark in marks]
    shown = Shown(word)
    fitting: list[Asked] = []
    always: list[Asked] = []
    for one in asked:
        at = np.array(one.asked_at)
        inside, outside = _busy(at, mine), _busy(at, others)
        in_each = all(_busy(at, [window]) > 0 for window in mine)
        if inside < LEAST_SHARE * min(1.0, _often(one)) or not in_each:
            continue
        (fitting if outside <= ELSEWHERE * inside else always).append(one)
    sure = SURE if len(mine) > 1 else FAIRLY
    seconds = sum(end - begin for begin, end in mine)
    for one in fitting:
        begun = f"asked for in {counted(len(mine), 'interval')} of {word}, {seconds:.0f} s"
        because = f"{begun}, and hardly while others were on show"
        shown.candidates.append(Candidate(one, sure / len(fitting), [because]))
    _remark(shown, len(fitting), len(always), bool(others))
    return shown


def _remark(shown: Shown, fitting: int, always: int, others: bool) -> None:
    word = shown.word
    if not others:
        shown.remarks.append(f"nothing but {word} was on show; show other parameters too, each by itself for 20 s")
        for one in shown.candidates:
            one.confidence = 1.0 / (2.0 * fitting)
    elif fitting > 1:
        shown.remarks.append(
            f"{fitting} values were asked for while {word} was on show: the tester may compute it from several. Type "
            f'what it shows now and then ("{word} 1.2 bar"), which tells them apart'
        )
    elif not fitting and always:
        shown.remarks.append(
            f"what was asked for while {word} was on show was asked for all the time ({always} values): choose a page "
            "of the tester with nothing else on it"
        )
    elif not fitting:
        shown.remarks.append(f"nothing was asked for while {word} was on show: the value may not be on this bus")


def _core(mark: Mark) -> tuple[float, float]:
    length = mark.last - mark.begin
    edge = min(EDGE_S, EDGE_SHARE * length)
    return mark.begin + edge, mark.last - edge / 2


def _often(one: Asked) -> float:
    return 1.0 / one.period_s if one.period_s else 1.0


def _busy(at: Floats, windows: Sequence[tuple[float, float]]) -> float:
    """Return the share of the windows' seconds in which something was asked."""
    seconds = busy = 0
    for begin, end in windows:
        number = max(1, round(end - begin))
        edges = np.linspace(begin, end, number + 1)
        seconds += number
        busy += int((np.histogram(at, edges)[0] > 0).sum())
    return busy / seconds if seconds else 0.0


def _by_readings(shown: Shown, asked: Sequence[Asked], readings: Sequence[Reading]) -> None:
    """Let typed numbers choose among the candidates, or among all values where no interval named any."""
    why_not = told_apart(readings)
    if why_not:
        shown.remarks.append(f"{shown.word}: {why_not}")
        return
    candidates = shown.candidates or [Candidate(one, 0.0) for one in asked if len(one.values) > len(readings) // 2]
    ranked = sorted(
        ((fit, one) for one in candidates if (fit := fits(one.asked.values, readings)) is not None),
        key=lambda pair: pair[0].line.left,
    )
    good = [(fit, one) for fit, one in ranked if fit.follows]
    if not good:
        shown.remarks.append(
            f"none of its values follows the {len(readings)} numbers typed for {shown.word}: were they typed while it "
            "was on show, within two seconds?"
        )
        return
    best = good[0][0]
    equal = [(fit, one) for fit, one in good if fit.line.left <= 1.5 * best.line.left]
    for fit, one in good:
        one.fit = fit
        one.because.append(fit.sentence())
    for _, one in equal:
        one.confidence = SURE / len(equal)
    shown.candidates = [one for _, one in equal]
    if len(equal) > 1:
        shown.remarks.append(f"{len(equal)} values follow the numbers typed for {shown.word} equally well")
    else:
        shown.remarks = [remark for remark in shown.remarks if "values were asked for" not in remark]
