"""Real buses through definitions made by finding out: every signal of every frame against another reading of it.

Three readings are compared. Ours: the DBC file imported, compiled, fed frame by frame. `Definition`: the signal lines
split by a regular expression of this file, their bits cut out of the frame written as a string of 0 and 1. cantools,
where it takes the file (for the highway, which it takes only when it may overlook overlapping signals).

Frames that are too short for what a message holds are dropped by ours; the others drop them by the same rule, worked
out from their own layouts, and the number is printed. A frame longer than its message is decoded by all three.
A label that a number does not have gives nothing with us; there the others must say that there is no label.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from math import isclose
from pathlib import Path
from typing import Any

import cantools
import numpy as np
import pytest

from underdash.broadcast.checks import checksum, counter_check
from underdash.broadcast.counts import Counts
from underdash.broadcast.dbc import Imported, import_dbc
from underdash.broadcast.dispatch import register
from underdash.bus.table import Table
from underdash.bus.trace import read_trace
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Counter, Field
from underdash.contract.signals import Kind, Signal, Value
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Slot, Store

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"

pytestmark = pytest.mark.skipif(
    not RECORDINGS.is_dir(), reason=f"the recordings are not beside the project ({RECORDINGS})"
)

Place = tuple[int, int, str]
"""Where a signal is: start bit as DBC counts, length, "1" for little-endian and "0" for big-endian."""


@cache
def frames(trace: str, channel: str) -> tuple[tuple[float, int, bytes], ...]:
    """(seconds, key, data) of one bus of a recording."""
    path = RECORDINGS / f"{trace}.log.gz"
    return tuple((frame.at, frame.key, frame.data) for name, frame in read_trace(path) if name == channel)


def truck_frames() -> tuple[tuple[float, int, bytes], ...]:
    """The truck's frames under the ids of its file.

    What a frame of SAE J1939 is, 18 bits of its id say; priority and sender's address differ from car to car.
    """
    by_group = {key >> 8 & 0x3FFFF: key for key in definitions(dbc("truck"))}
    return tuple((at, by_group.get(key >> 8 & 0x3FFFF, key), data) for at, key, data in frames("truck_idle", "can1"))


def frames_of(trace: str, channel: str) -> tuple[tuple[float, int, bytes], ...]:
    return truck_frames() if trace == "truck_idle" else frames(trace, channel)


@cache
def dbc(name: str) -> str:
    return (RECORDINGS / "dbc" / f"{name}.dbc").read_text(encoding="utf-8")


# --- the independent reading ------------------------------------------------------------------------------------

SIGNAL_LINE = re.compile(
    r"^ *SG_ (?P<name>\w+) *(?P<mux>M|m\d+)? *: *(?P<start>\d+)\|(?P<length>\d+)@(?P<order>[01])(?P<sign>[+-]) *"
    r"\((?P<scale>[^,]+),(?P<offset>[^)]+)\) *\[[^]]*\] *\"(?P<unit>[^\"]*)\""
)


@dataclass
class Definition:
    """A signal's line, read with nothing of the product's."""

    name: str
    start: int
    length: int
    little: bool
    signed: bool
    scale: float
    offset: float
    unit: str
    mux: str
    labels: dict[int, str] = field(default_factory=dict)

    @property
    def place(self) -> Place:
        return self.start, self.length, "1" if self.little else "0"

    def last_byte(self) -> int:
        if self.little:
            return (self.start + self.length - 1) // 8
        from_left = 8 * (self.start // 8) + 7 - self.start % 8
        return (from_left + self.length - 1) // 8

    def raw(self, data: bytes) -> int:
        if self.little:
            written = "".join(f"{byte:08b}" for byte in reversed(data))
            written = written[len(written) - self.start - self.length : len(written) - self.start]
        else:
            from_left = 8 * (self.start // 8) + 7 - self.start % 8
            written = "".join(f"{byte:08b}" for byte in data)[from_left : from_left + self.length]
        if self.signed and written[0] == "1":
            return -int(written.translate(str.maketrans("01", "10")), 2) - 1
        return int(written, 2)

    @property
    def labelled(self) -> bool:
        return bool(self.labels) and (self.scale, self.offset, self.unit) == (1.0, 0.0, "")

    def expected(self, data: bytes) -> Value | None:
        raw = self.raw(data)
        return self.labels.get(raw) if self.labelled else raw * self.scale + self.offset


def definitions(text: str) -> dict[int, list[Definition]]:
    """The signals of a file by the key of their message."""
    found: dict[int, list[Definition]] = {}
    message = -1
    for line in text.splitlines():
        if line.startswith("BO_ "):
            message = int(line.split()[1])
            found.setdefault(message, [])
        match = SIGNAL_LINE.match(line)
        if match:
            part = match.groupdict()
            found[message].append(
                Definition(
                    part["name"],
                    int(part["start"]),
                    int(part["length"]),
                    part["order"] == "1",
                    part["sign"] == "-",
                    float(part["scale"]),
                    float(part["offset"]),
                    part["unit"],
                    part["mux"] or "",
                )
            )
        if line.startswith("VAL_ "):
            _, owner, name, rest = line.split(None, 3)
            labels = {int(number): label for number, label in re.findall(r'(-?\d+) "([^"]*)"', rest)}
            for one in found.get(int(owner), []):
                if one.name == name:
                    one.labels = labels
    return found


def readable(message: list[Definition], data: bytes) -> dict[Place, Value | None]:
    """What a frame says; None for a signal without the label its number would need."""
    switch = next((one.raw(data) for one in message if one.mux == "M"), None)
    return {one.place: one.expected(data) for one in message if one.mux in ("", "M", f"m{switch}")}


# --- ours -------------------------------------------------------------------------------------------------------


class Ours:
    """An imported file, compiled, with each signal's slot at hand by its place."""

    def __init__(self, text: str) -> None:
        self.imported: Imported = import_dbc(text, bus="drive", prefix="car")
        signals = {signal.name: signal for signal in self.imported.signals}
        self.store = Store(signals)
        self.table = Table()
        self.made = register(self.imported.listeners, self.store, {"drive": self.table}, signals)
        self.slots: dict[int, list[tuple[Place, Slot]]] = defaultdict(list)
        self.counts: dict[int, Counts] = {}
        for decoder in self.made.decoders:
            self.counts[decoder.key] = decoder.counts
            for one in decoder.listener.fields:
                (slot,) = self.store.slots(one.signal)
                self.slots[decoder.key].append((place(one.bits), slot))

    def read(self, key: int, data: bytes) -> dict[Place, Value]:
        found = self.slots[key]
        for _, slot in found:
            slot.clear()
        self.table[key](data, 1.0)
        return {where: slot.value for where, slot in found if slot.value is not None}


def place(bits: Bits) -> Place:
    default = 0 if bits.order is ByteOrder.LITTLE else 7
    bit = default if bits.bit is None else bits.bit
    return 8 * bits.byte + bit, bits.length, "1" if bits.order is ByteOrder.LITTLE else "0"


def same(ours: Value | None, theirs: Value | None) -> bool:
    if isinstance(ours, bool):
        return theirs is not None and ours == bool(theirs)
    if isinstance(ours, str) or isinstance(theirs, str) or ours is None or theirs is None:
        return ours == theirs
    return isclose(ours, theirs, rel_tol=1e-12, abs_tol=1e-12)


BUSES = [
    ("suv_highway", "can0", "suv_can0"),
    ("hatch_a_power_cycle", "can0", "hatch_can0"),
    ("hatch_a_power_cycle", "can1", "hatch_can1"),
    ("truck_idle", "can1", "truck"),
    ("hatch_c_heater", "can0", "hatch_heater"),
]


@pytest.mark.parametrize(("trace", "channel", "name"), BUSES)
def test_every_signal_of_every_frame_equals_an_independent_reading(
    trace: str, channel: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    ours = Ours(dbc(name))
    theirs = definitions(dbc(name))
    assert sum(map(len, ours.slots.values())) == sum(map(len, theirs.values()))
    compared = decoded = short = 0
    for _, key, data in frames_of(trace, channel):
        message = theirs.get(key)
        if not message:
            assert key not in ours.table
            continue
        found = ours.read(key, data)
        if len(data) <= max(one.last_byte() for one in message):
            short += 1
            assert found == {}
            continue
        expected = readable(message, data)
        decoded += 1
        for where, value in expected.items():
            assert same(found.pop(where, None), value), (f"{key:X}", data.hex(), where, value)
            compared += 1
        assert found == {}, (f"{key:X}", data.hex())
    assert short == sum(counts.short for counts in ours.counts.values())
    with capsys.disabled():
        print(
            f"\n{trace} {channel}: {compared} signal values of {decoded} frames equal the independent reading of "
            f"{name}.dbc; {short} frames too short, dropped by both"
        )
    assert compared > 10_000


def cantools_messages(text: str) -> Iterator[tuple[int, Any]]:
    database: Any = cantools.database.load_string(text, "dbc", strict=False)
    for message in database.messages:
        if message.signals:
            yield message.frame_id | (0x8000_0000 if message.is_extended_frame else 0), message


@pytest.mark.parametrize(
    ("trace", "channel", "name"), [bus for bus in BUSES if bus[2] not in ("hatch_can0", "hatch_can1")]
)
def test_every_signal_of_every_frame_equals_cantools(
    trace: str, channel: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    ours = Ours(dbc(name))
    messages = dict(cantools_messages(dbc(name)))
    places = {
        key: {one.name: (one.start, one.length, "1" if one.byte_order == "little_endian" else "0") for one in m.signals}
        for key, m in messages.items()
    }
    compared = decoded = short = shorter = 0
    for _, key, data in frames_of(trace, channel):
        message = messages.get(key)
        if message is None:
            continue
        found = ours.read(key, data)
        shorter += len(data) < message.length
        # allow_truncated: cantools would refuse frames that are shorter than declared but hold all signals
        theirs = message.decode(data, decode_choices=False, allow_truncated=True)
        if set(theirs) < set(places[key]):
            short += 1
            assert found == {}
            continue
        decoded += 1
        for signal in message.signals:
            value = theirs[signal.name]
            if signal.choices and (signal.scale, signal.offset, signal.unit) == (1, 0, None):
                value = str(signal.choices[value]) if value in signal.choices else None
            assert same(found.pop(places[key][signal.name], None), value), (f"{key:X}", data.hex(), signal.name, value)
            compared += 1
        assert found == {}
    with capsys.disabled():
        print(
            f"\n{trace} {channel}: {compared} signal values of {decoded} frames equal cantools with {name}.dbc; "
            f"{short} frames too short, dropped by both; {shorter} shorter than declared"
        )
    assert compared > 10_000


def test_cut_and_lengthened_frames_are_taken_and_dropped_as_cantools_has_their_signals(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Ours drops a frame that lacks a bit of any of its signals; cantools, told to take what is there, lacks it too."""
    ours = Ours(dbc("suv_can0"))
    messages = dict(cantools_messages(dbc("suv_can0")))
    last = {key: data for _, key, data in frames("suv_highway", "can0") if key in messages}
    taken = dropped = 0
    for key, data in last.items():
        for length in range(9):
            cut = data.ljust(8, b"\x5a")[:length]
            theirs = messages[key].decode(cut, decode_choices=False, allow_truncated=True)
            before = ours.counts[key].short
            found = ours.read(key, cut)
            whole = len(theirs) == len(messages[key].signals)
            assert ours.counts[key].short == before + (not whole)
            assert whole or found == {}
            taken, dropped = taken + whole, dropped + (not whole)
    with capsys.disabled():
        print(
            f"\nsuv_highway, frames cut to every length: {taken} taken, {dropped} dropped, as cantools has all signals"
        )
    assert taken > 50
    assert dropped > 50


@pytest.mark.parametrize("name", ["hatch_body", "hatch_can0", "hatch_can1", "hatch_heater", "suv_can0", "truck"])
def test_no_line_of_a_public_file_is_lost_silently(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = dbc(name)
    found = import_dbc(text, bus="drive", prefix="car")
    told = {problem.line for problem in found.problems if problem.lost}
    lines = [n for n, line in enumerate(text.splitlines(), 1) if line.lstrip().startswith("SG_ ")]
    taken = sum(len(listener.fields) for listener in found.listeners)
    assert taken + len(told & set(lines)) == len(lines)
    with capsys.disabled():
        print(f"\n{name}.dbc: {taken} of {len(lines)} signals taken over; {len(told)} lines left out and told")
        for problem in found.problems:
            if problem.lost or "refused" in problem.what:
                print(f"    {problem}")


# --- speed against the satellite --------------------------------------------------------------------------------

SPEED = BroadcastListener("drive", 0x0B4, (Field("vehicle.speed", Bits(5, 16, 7), scale=0.01),))


def test_the_decoded_speed_is_the_satellites(capsys: pytest.CaptureFixture[str]) -> None:
    store = Store(CATALOGUE)
    table = Table()
    assert register([SPEED], store, {"drive": table}, CATALOGUE).problems == []
    samples: list[tuple[float, Value | None]] = []
    store.watch("vehicle.speed", lambda slot: samples.append((slot.at, slot.value)))
    for at, key, data in frames("suv_highway", "can0"):
        if key in table:
            table[key](data, at)
    ours = np.array(samples, dtype=float)
    satellite = np.loadtxt(RECORDINGS / "suv_highway.speed_reference.csv", delimiter=",", skiprows=1)
    times, kmh = satellite[:, 0], satellite[:, 1] * 3.6

    def fit(lag_s: float) -> tuple[float, float]:
        """(scale, R2) of the satellite's speed over ours, `lag_s` earlier, through the origin."""
        inside = (times - lag_s >= ours[0, 0]) & (times - lag_s <= ours[-1, 0])
        x, y = np.interp(times[inside] - lag_s, ours[:, 0], ours[:, 1]), kmh[inside]
        scale = float(x @ y / (x @ x))
        return scale, 1.0 - float(((y - scale * x) ** 2).sum() / ((y - y.mean()) ** 2).sum())

    lags = np.arange(-1.0, 1.5, 0.02)
    best = float(max(lags, key=lambda lag: fit(lag)[1]))
    scale, r2 = fit(0.18)
    with capsys.disabled():
        print(
            f"\nsuv_highway speed: {len(ours)} samples, scale {scale:.4f}, R2 {r2:.5f} at 0.18 s; best lag {best:.2f} s"
        )
    assert r2 >= 0.99
    assert abs(scale - 1.0) <= 0.03
    assert abs(best - 0.18) <= 0.1


# --- counters and checksums -------------------------------------------------------------------------------------

ALGORITHMS = {
    # the recordings' sum and xor run over all other bytes; their CRC-8 starts from 0 and its constant is xored
    "sum8": lambda byte, constant: Checksum("sum8", byte, final=constant),
    "xor8": lambda byte, constant: Checksum("xor8", byte, final=constant),
    "crc8_1D": lambda byte, constant: Checksum("crc8", byte, 0x1D, initial=0, final=constant),
}


def declared_checks() -> list[tuple[str, str, int, dict[str, Any]]]:
    path = RECORDINGS / "checks.json"
    found: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}
    return [
        (*bus.split("/"), int(can_id, 16), checks)
        for bus, ids in found.items()
        if bus != "note"
        for can_id, checks in ids.items()
    ]


def test_checksums_of_the_recordings_verify(capsys: pytest.CaptureFixture[str]) -> None:
    verified: dict[str, list[float]] = defaultdict(list)
    inexpressible = 0
    for trace, channel, can_id, checks in declared_checks():
        for algorithm, byte, constant, fraction in checks["checksum"]:
            if algorithm not in ALGORITHMS:
                inexpressible += 1
                continue
            declared = ALGORITHMS[algorithm](byte, constant)
            expected = checksum(declared)
            right = [data[byte] == expected(data) for _, key, data in frames(trace, channel) if key == can_id]
            assert len(right) > 10
            assert sum(right) / len(right) == pytest.approx(fraction, abs=0.001), (trace, f"{can_id:X}", algorithm)
            verified[algorithm].append(len(right))
    with capsys.disabled():
        print(f"\nchecksums: { ({name: (len(n), sum(n)) for name, n in verified.items()}) } (ids, frames); ", end="")
        print(f"{inexpressible} of half bytes cannot be declared")
    assert set(verified) == set(ALGORITHMS)


def test_the_crc_of_the_recordings_is_the_declared_default() -> None:
    """From 0 with constant 10 is, over seven bytes, the same as SAE J1850's from FF with FF: no options are needed."""
    expected = checksum(Checksum("crc8", 7))
    for can_id in (0x130, 0x140):
        found = [data for _, key, data in frames("hatch_a_power_cycle", "can1") if key == can_id]
        assert found
        assert all(data[7] == expected(data) for data in found)


def test_counters_of_the_recordings_count_as_stated(capsys: pytest.CaptureFixture[str]) -> None:
    total = 0
    for trace, channel, can_id, checks in declared_checks():
        for byte, shift, width, fraction in checks["counter"]:
            counts = Counts()
            check = counter_check(Counter(Bits(byte, width, shift, ByteOrder.LITTLE)), counts)
            data = [one for _, key, one in frames(trace, channel) if key == can_id]
            taken = sum(map(check, data))
            assert taken == len(data) - counts.repeated
            share = 1 - (counts.repeated + counts.jumped) / (len(data) - 1)
            assert share == pytest.approx(fraction, abs=0.002), (trace, f"{can_id:X}", byte, counts)
            total += len(data)
    with capsys.disabled():
        print(f"\ncounters: {total} frames count as stated")
    assert total > 5000


def test_a_checked_frame_of_a_recording_passes_whole_and_not_with_a_bit_turned() -> None:
    listener = BroadcastListener(
        "comfort",
        0x130,
        (Field("x.byte", Bits(0)),),
        counter=Counter(Bits(6, 4, 3)),
        checksum=Checksum("crc8", 7),
    )
    signals = {"x.byte": Signal("x.byte", "", "a byte", Kind.NUMBER)}
    table = Table()
    made = register([listener], Store(signals), {"comfort": table}, signals)
    data = [one for _, key, one in frames("hatch_a_power_cycle", "can1") if key == 0x130]
    for one in data:
        table[0x130](one, 1.0)
    (decoder,) = made.decoders
    assert (decoder.counts.dropped, made.slots[0].count) == (0, len(data))
    for bit in range(64):
        turned = (int.from_bytes(data[-1], "big") ^ 1 << bit).to_bytes(8, "big")
        table[0x130](turned, 1.0)
    assert decoder.counts.checksum == 64
