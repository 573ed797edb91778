"""A scan over identifiers of one control unit: what is left to ask, what came of it, what answered as poll entries.

Results are lines that are only ever added, so that whatever ends a scan, a lost supply too, leaves everything before
it, and the next scan goes on from there. What answered is asked a second time at the end: a value that moved meanwhile
is worth more than one that did not.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from ..contract.errors import GivenError
from .inquiry import Kind

HEAD = "# underdash ask, results 1"
WITH_BYTES = (Kind.ANSWERED, Kind.LATE)
MOST_DIGITS = 4
LEFT_OUT = "left_out"
"""Kind of a line about a request that is never sent, because it does not only read or could be taken for another."""
_HEX = re.compile(r"[0-9A-Fa-f]+")


@dataclass(frozen=True, slots=True)
class Target:
    """What is scanned; results of one target are kept in one file."""

    car: str
    unit: str
    protocol: str

    def line(self) -> str:
        """Return the line of the results that names it."""
        return f"# car {self.car}, unit {self.unit}, protocol {self.protocol}"


@dataclass(frozen=True, slots=True)
class Result:
    """A line of the results: in which pass, what was asked, what came of it, and the bytes, code or sentence."""

    number: int
    identifier: int
    kind: str
    said: str = ""

    def line(self, digits: int) -> str:
        """Return it as it is kept."""
        return f"{self.number} {self.identifier:0{digits}X} {self.kind} {self.said}".rstrip()


def identifiers(text: str) -> range:
    """Read ``21C7``, or a range ``2100-21FF``, both ends included.

    Raises:
        GivenError: it is none.
    """
    first, dash, last = text.partition("-")
    for part in (first, last) if dash else (first,):
        if not _HEX.fullmatch(part) or len(part) > MOST_DIGITS:
            raise GivenError(
                f"an identifier is one to {MOST_DIGITS} hex digits such as 21C7, a range is 2100-21FF; found {text!r}"
            )
    low, high = int(first, 16), int(last if dash else first, 16)
    if high < low:
        raise GivenError(f"range {text} ends before it begins; write the smaller identifier first")
    return range(low, high + 1)


@dataclass(slots=True)
class Results:
    """What is known so far.

    Attributes:
        passes: results of the first and of the second pass, by identifier.
    """

    target: Target
    passes: tuple[dict[int, Result], dict[int, Result]] = field(default_factory=lambda: ({}, {}))

    def add(self, result: Result) -> None:
        """Take a result."""
        self.passes[result.number - 1][result.identifier] = result

    def left(self, wanted: range) -> list[tuple[int, int]]:
        """Return (pass, identifier) of what is still to be asked now; the second pass grows with the first."""
        first, second = self.passes
        once = [(1, number) for number in wanted if number not in first]
        again = [(2, number) for number in wanted if number in first and _has_bytes(first[number])]
        return once + [one for one in again if one[1] not in second]

    def changed(self, identifier: int) -> bool:
        """Say whether an answer was another one the second time."""
        first, second = (one.get(identifier) for one in self.passes)
        return first is not None and second is not None and _has_bytes(second) and first.said != second.said

    def answered(self, wanted: range) -> list[int]:
        """Return what gave bytes."""
        return [number for number in wanted if number in self.passes[0] and _has_bytes(self.passes[0][number])]

    def counts(self, wanted: range) -> dict[str, int]:
        """Return how many of the first pass came to what."""
        counts: dict[str, int] = {}
        for number in wanted:
            if number in self.passes[0]:
                kind = self.passes[0][number].kind
                counts[kind] = counts.get(kind, 0) + 1
        return counts


def _has_bytes(result: Result) -> bool:
    return result.kind in WITH_BYTES


def read_results(lines: Iterable[str], target: Target, where: str) -> Results:
    """Read kept results; a line that was cut off when the supply was lost is left out.

    Raises:
        GivenError: the file is none of ours, or of another unit.
    """
    found = Results(target)
    kept = [line.rstrip("\n") for line in lines if line.endswith("\n")]
    if kept[:1] and kept[0] != HEAD:
        raise GivenError(f"{where} holds no results of underdash ask; name another file with --results")
    if kept[1:2] and kept[1] != target.line():
        was = kept[1].removeprefix("# ")
        raise GivenError(f"{where} holds results of {was}; name another file with --results")
    for line in kept[2:]:
        result = _result(line)
        if result is not None:
            found.add(result)
    return found


def _result(line: str) -> Result | None:
    number, identifier, kind, *said = [*line.split(" ", 3), "", ""][:4] if line.count(" ") >= 2 else ("", "", "", "")
    if number not in ("1", "2") or not _HEX.fullmatch(identifier) or kind not in (*Kind, LEFT_OUT):
        return None
    return Result(int(number), int(identifier, 16), kind, said[0] if said else "")


def head(target: Target) -> list[str]:
    """Return the first lines of new results."""
    return [HEAD, target.line()]


def as_polls(results: Results, wanted: range, digits: int, described: Mapping[int, str]) -> Iterator[str]:
    """Yield lines of a car description: an entry for each identifier that answered, all as comments.

    Args:
        results: of the scan.
        wanted: which identifiers.
        digits: hex digits of an identifier.
        described: what is in the description already, as (identifier, signals).

    What the bytes mean is not guessed: whoever takes the comment signs away writes the fields.
    """
    target = results.target
    for number in results.answered(wanted):
        first, second = (one.get(number) for one in results.passes)
        seen = first.said if first else ""
        count = len(seen) // 2
        yield f"# {count} byte{'s' if count != 1 else ''}: {seen or 'none'}" + _second(results, number, second)
        if number in described:
            yield f"# described already: {described[number]}"
        yield "# [[poll]]"
        yield f'# unit = "{target.unit}"'
        yield f'# protocol = "{target.protocol}"'
        yield f'# identifier = "{number:0{digits}X}"'
        yield "# period_s = 1.0"
        yield "# fields = []"
        yield ""


def _second(results: Results, number: int, second: Result | None) -> str:
    if second is None:
        return ""
    if results.changed(number):
        return f", and later {second.said}: it changed"
    return ", and the same later" if _has_bytes(second) else f", and later {second.kind}"


def how_long(seconds: float) -> str:
    """Return a time that is left the way a person says it."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
