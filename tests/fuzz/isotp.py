"""Coverage-guided frames into both ISO-TP machines; run by `make fuzz` or by hand.

    pip install atheris
    python tests/fuzz/isotp.py -max_total_time=60

The input is read as settings and a list of frames with pauses. Whatever comes, there must be no exception, no more
memory than a message takes, one fault for each message that breaks, and the next whole message must arrive.
"""

from __future__ import annotations

import sys

import atheris

with atheris.instrument_imports(include=["underdash.diagnostics"]):
    from underdash.diagnostics.reassembly import Reassembly
    from underdash.diagnostics.segmentation import Segmentation

MOST_BYTES = 30
PAUSES_S = (0.0, 0.001, 0.127, 0.5, 0.999, 1.0)


def joined(sender: Segmentation, receiver: Reassembly, now: float) -> bytes | None:
    """Send a message of one machine to the other, from the beginning."""
    frames, arrived = [sender.start(now)], None
    while frames:
        for frame in frames:
            heard = receiver.receive(frame, now)
            arrived = heard.payload
            if heard.reply is not None:
                sender.receive(heard.reply, now)
        now = max(now, sender.deadline or now)
        frames = sender.due(now)
    return arrived


def check(condition: object, what: str) -> None:
    """Stop with what does not hold."""
    if not condition:
        raise RuntimeError(what)


def some_frame(source: atheris.FuzzedDataProvider, next_number: int) -> bytes:
    """Any bytes, or such as lead further into the machines: a whole first frame, the next frame, flow control."""
    match source.ConsumeIntInRange(0, 3):
        case 0:
            return bytes(source.ConsumeBytes(source.ConsumeIntInRange(0, 9)))
        case 1:
            head, size = bytes((0x10, source.ConsumeIntInRange(0, MOST_BYTES + 2))), 8
        case 2:
            late = source.ConsumeIntInRange(0, 9) == 9
            head, size = bytes((0x20 | (next_number + late) & 0x0F,)), source.ConsumeIntInRange(1, 8)
        case _:
            head, size = bytes((0x30 | source.ConsumeIntInRange(0, 3), source.ConsumeIntInRange(0, 3))), 3
    return (head + bytes(source.ConsumeBytes(size))).ljust(size, bytes(1))[:size]


def one_input(data: bytes) -> None:
    """Feed what the fuzzer made."""
    source = atheris.FuzzedDataProvider(data)
    prefix = source.ConsumeIntInRange(0, 255) if source.ConsumeBool() else None
    receiver = Reassembly(prefix, block_size=source.ConsumeIntInRange(0, 255), most_bytes=MOST_BYTES)
    payload = source.ConsumeBytes(source.ConsumeIntInRange(1, MOST_BYTES)) or b"\x01"
    sender = Segmentation(payload, prefix)
    now, faults = 0.0, 0
    sender.start(now)
    while source.remaining_bytes():
        now += PAUSES_S[source.ConsumeIntInRange(0, len(PAUSES_S) - 1)]
        frame = some_frame(source, receiver._next)
        if prefix is not None and source.ConsumeBool():
            frame = bytes((prefix,)) + frame[:7]
        heard = receiver.receive(frame, now)
        check(heard.payload is None or 1 <= len(heard.payload) <= MOST_BYTES, "a message of an impossible length")
        check(len(receiver._buffer) <= MOST_BYTES, "more bytes are kept than a message may have")
        check(receiver.receiving == (receiver.deadline is not None), "receiving without a deadline")
        faults += sender.receive(frame, now) is not None
        check(len(sender.due(now)) <= len(payload), "more frames than bytes")
        check(faults == (sender.broken is not None), "not one fault for a message that broke")
    again = Segmentation(payload, prefix)
    check(joined(again, receiver, now) == payload, "the receiver does not take the next message")
    check(joined(sender, Reassembly(prefix), now) == payload, "the sender does not send again")


if __name__ == "__main__":
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()
