"""Layouts of broadcasts with frames, and traces, coverage-guided; run by `make fuzz`.

    pip install atheris
    python tests/fuzz/reading.py -max_total_time=60

A layout is compiled or refused with a sentence, and what is compiled takes any frame and gives numbers that are some.
A trace gives frames that are the same when they are written and read again, or says in which line it is none.
"""

from __future__ import annotations

import sys
from math import isfinite

if __name__ == "__main__":
    import atheris

    with atheris.instrument_imports(include=["underdash.broadcast", "underdash.bus.trace"]):
        import underdash.broadcast.dispatch
        import underdash.bus.trace  # noqa: F401  # loaded here, so that what follows is what is watched

from underdash.broadcast.dispatch import register
from underdash.bus.frames import Frame
from underdash.bus.table import Table
from underdash.bus.trace import Trace, TraceError, line_of
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Counter, Field, Select
from underdash.contract.signals import Kind, Signal
from underdash.signals.store import Store

SIGNALS = {
    "s.number": Signal("s.number", "degC", "made up"),
    "s.other": Signal("s.other", "degC", "made up", low=-40.0, high=200.0),
    "s.switch": Signal("s.switch", "", "made up", Kind.SWITCH),
    "s.choice": Signal("s.choice", "", "made up", Kind.CHOICE, choices=("OFF", "ON")),
    "s.text": Signal("s.text", "", "made up", Kind.TEXT),
}
SCALES = (1.0, 0.05, -1.0, 1e308, 0.0)
OFFSETS = (0.0, -40.0, 1e308)
LINES = (
    b"(1.000000) drive 7E8#0441\n", b"(1.000001) comfort 18DAF110#01020304\n", b"(2.0) drive 123#R\n",
    b"(2.5) drive 123##1AABB\n", b"(3.0) drive 20000040#0000000000000000\n", b"# mark (4.000000) here\n",
    b"# underdash trace 1\n", b"# boot: 0\n",
)  # fmt: skip


def check(condition: object, what: str) -> None:
    """Stop with what does not hold."""
    if not condition:
        raise AssertionError(what)


class Source:
    """Choices read from bytes; when these are used up, every choice is the first one."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def number(self, below: int) -> int:
        """Return a number from 0."""
        return int.from_bytes(self.raw(1 if below <= 256 else 2)) % below

    def raw(self, size: int) -> bytes:
        """Return so many bytes."""
        self.at += size
        return self.data[self.at - size : self.at]

    @property
    def left(self) -> bool:
        """Whether there are bytes left."""
        return self.at < len(self.data)


def some_bits(source: Source) -> Bits:
    """Return bits that may be anywhere, and impossible."""
    bit = (None, 0, 3, 7, 9)[source.number(5)]
    order = (ByteOrder.BIG, ByteOrder.LITTLE)[source.number(2)]
    return Bits(source.number(10) - 1, (8, 1, 4, 12, 16, 32, 64, 0, 65)[source.number(9)], bit, order)


def some_select(source: Source, depth: int = 0) -> Select:
    """Return a condition, nested twice at most."""
    values = tuple(source.raw(source.number(4)))
    inner = some_select(source, depth + 1) if depth < 2 and source.number(2) else None
    return Select(some_bits(source), values, inner)


def some_field(source: Source) -> Field:
    """Return a field that may contradict itself."""
    made = Field(
        [*SIGNALS, "s.unknown"][source.number(6)],
        some_bits(source),
        list(Coding)[source.number(5)],
        SCALES[source.number(5)],
        OFFSETS[source.number(3)],
        points=(((0.0, 1.0), (10.0, 2.0)), ((10.0, 2.0), (0.0, 1.0)), ())[source.number(3)],
        values=((), ((0, "OFF"), (1, "ON")), ((0, False), (1, True)), ((0, 1.0),))[source.number(4)],
        unit=(None, "degF", "bar", "nothing")[source.number(4)],
        unavailable=((), ((255, 255),), ((0, 3), (250, 255)), ((5, 1),))[source.number(4)],
        saturates_at=(None, 255, 10)[source.number(3)],
        present_if=some_bits(source) if source.number(3) == 1 else None,
        full_scale_from=(None, None, "s.other", "s.nobody")[source.number(4)],
        select=some_select(source) if source.number(3) == 1 else None,
    )
    return made if source.number(2) else Field(made.signal, made.bits, made.coding, scale=made.scale)


def some_listener(source: Source) -> BroadcastListener:
    """Return a listener with up to four fields."""
    fields = tuple(some_field(source) for _ in range(1 + source.number(4)))
    counter = Counter(some_bits(source)) if source.number(3) == 1 else None
    kind = ("crc8", "sum8", "xor8", "other")[source.number(4)]
    numbers = [source.number(10) - 1 for _ in range(3)]
    check_sum = Checksum(kind, numbers[0], first=numbers[1], last=numbers[2]) if source.number(3) == 1 else None
    shortest = (None, 0, 8, 9)[source.number(4)]
    return BroadcastListener("drive", 0x100, fields, shortest=shortest, counter=counter, checksum=check_sum)


def frames_into_layouts(source: Source) -> None:
    """Declare layouts, then hear frames."""
    store, table = Store(SIGNALS), Table()
    listeners = [some_listener(source) for _ in range(1 + source.number(3))]
    found = register(listeners, store, {"drive": table}, SIGNALS)
    check(all(problem.strip() for problem in found.problems), "a problem without words")
    now = 1.0
    for _ in range(4):
        now += 0.1
        data = source.raw(source.number(9))
        for decoder in found.decoders:
            decoder.handle(data, now)
        for name in SIGNALS:
            value = store.read(name, now).value
            check(not isinstance(value, float) or isfinite(value), f"{name} is {value} after {data.hex()}")
    found.remove(store, {"drive": table})
    check(not found.decoders, "a decoder stays after it was removed")


def lines_into_frames(source: Source) -> None:
    """Read a trace of whole, spoilt and made-up lines."""
    lines: list[bytes] = []
    while source.left and len(lines) < 30:
        line = LINES[source.number(len(LINES))]
        at = source.number(len(line))
        match source.number(4):
            case 1:
                line = line[:at] + source.raw(1) + line[at + 1 :]
            case 2:
                line = line[:at] + source.raw(source.number(6)) + line[at:]
            case 3:
                line = source.raw(source.number(40)) + b"\n"
        lines.append(line)
    read: list[tuple[str, Frame]] = []
    try:
        read.extend(Trace(lines, "made up"))
    except TraceError as exc:
        check("made up" in str(exc), f"a mistake without its file: {exc}")
        return
    for _, frame in read:
        check(isfinite(frame.at), f"{frame} at no time")
        check(
            0 <= frame.id <= (0x1FFF_FFFF if frame.extended or frame.error else 0x7FF), f"{frame}: an id that is none"
        )
        check(len(frame.data) <= (64 if frame.fd else 8), f"{frame} is longer than a frame can be")
    again = list(Trace([line_of(role, frame).encode() for role, frame in read], "again"))
    same = [(role, str(frame), frame.error, frame.fd, frame.remote) for role, frame in read]
    check(same == [(role, str(frame), frame.error, frame.fd, frame.remote) for role, frame in again], f"{read} {again}")
    check(all(abs(one.at - other.at) < 2e-6 or one.at > 1e8 for (_, one), (_, other) in zip(read, again, strict=True)),
          "another time")  # fmt: skip


def one_input(data: bytes) -> None:
    """Feed what the fuzzer made."""
    source = Source(data)
    (frames_into_layouts, lines_into_frames)[source.number(2)](source)


if __name__ == "__main__":
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()
