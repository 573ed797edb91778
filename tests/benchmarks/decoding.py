"""What decoding costs: a compiled listener with its slot against cantools decoding the same frame, in one run.

Times are processor time of this process, the best of several rounds. Run: python tests/benchmarks/decoding.py
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from underdash import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Counter, Field
from underdash.broadcast.encoder import encode
from underdash.wiring.measuring.decoding import LIMIT_US, SIGNAL, microseconds, ours

CASES: dict[str, tuple[Field, str]] = {
    "16 bits, big-endian, scaled": (Field("vehicle.speed", Bits(2, 16), scale=0.01), "23|16@0+ (0.01,0)"),
    "16 bits, little-endian, scaled": (
        Field("vehicle.speed", Bits(2, 16, order=ByteOrder.LITTLE), scale=0.01),
        "16|16@1+ (0.01,0)",
    ),
    "one byte": (Field("vehicle.speed", Bits(3)), "24|8@1+ (1,0)"),
    "12 bits over two bytes": (Field("vehicle.speed", Bits(2, 12, 3), scale=0.1), "19|12@0+ (0.1,0)"),
    "16 bits, signed": (Field("vehicle.speed", Bits(2, 16), Coding.SIGNED, 0.01), "23|16@0- (0.01,0)"),
    "16 bits, not available, saturating": (
        Field("vehicle.speed", Bits(2, 16), scale=0.01, unavailable=((0xFFFF, 0xFFFF),), saturates_at=0xFFFE),
        "23|16@0+ (0.01,0)",
    ),
    "piecewise": (Field("vehicle.speed", Bits(3), points=((0, 0.0), (50, 10.0), (255, 300.0))), "24|8@1+ (1,0)"),
}
"""Field, and the same place as a DBC file spells it."""


def theirs(place: str) -> Callable[[bytes], Any]:
    import cantools

    text = f'VERSION ""\nBU_: A\nBO_ 416 Moving: 8 A\n SG_ Speed : {place} [0|0] "km/h" A\n'
    database: Any = cantools.database.load_string(text, "dbc")
    return lambda data: database.decode_message(416, data)


def compare(name: str, field: Field, place: str, calls: int, rounds: int) -> float:
    data = bytes.fromhex("0011271055667788")
    listener = BroadcastListener("drive", 0x1A0, (field,))
    handle, store = ours(listener)
    reference = theirs(place)
    handle(data, 1.0)
    value = store.read(SIGNAL.name, 1.0).value
    if name != "piecewise" and value != reference(data)["Speed"]:
        raise SystemExit(f"{name}: {value} here, {reference(data)} there")
    here = microseconds(lambda: handle(data, 1.0), calls, rounds)
    there = microseconds(lambda: reference(data), calls // 4, rounds)
    print(f"{name:36} {here:6.2f} us {there:8.2f} us {there / here:6.1f}")
    return here


def checked(calls: int, rounds: int) -> None:
    """The same with a counter and a CRC-8, which cantools does not look at."""
    field = CASES["16 bits, big-endian, scaled"][0]
    listener = BroadcastListener("drive", 1, (field,), counter=Counter(Bits(6, 4, 3)), checksum=Checksum("crc8", 7))
    handle, _ = ours(listener)
    frames = [encode(listener, {"vehicle.speed": 100.0}, count) for count in range(16)]
    step = iter(range(10**9)).__next__
    here = microseconds(lambda: handle(frames[step() & 15], 1.0), calls, rounds)
    print(f"{'16 bits with counter and CRC-8':36} {here:6.2f} us")


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--calls", type=int, default=100_000)
    options.add_argument("--rounds", type=int, default=5)
    chosen = options.parse_args()
    print(f"{'decode one signal and store it':36} {'here':>9} {'cantools':>11} {'ratio':>6}")
    times = [compare(name, *case, chosen.calls, chosen.rounds) for name, case in CASES.items()]
    checked(chosen.calls, chosen.rounds)
    met = times[0] <= LIMIT_US
    print(f"a common field: {times[0]:.2f} us, at most {LIMIT_US} us allowed: {'met' if met else 'MISSED'}")
    return 0 if met else 1


if __name__ == "__main__":
    raise SystemExit(main())
