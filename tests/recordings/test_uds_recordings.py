"""Conversations of real testers with real control units: every frame explained, every message as others read it."""

from __future__ import annotations

import logging
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.legislated import FUNCTIONAL_11
from underdash.bus.trace import read_trace
from underdash.diagnostics import pci
from underdash.diagnostics.isotp import Broken, Fault
from underdash.diagnostics.reassembly import Reassembly

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"
SCAN, TWO_ECUS, MULTIFRAME = "hatch_b_diagnostic_scan", "hatch_b_diagnostic_scan_two_ecus", "uds_multiframe"
NAMES = (SCAN, TWO_ECUS, MULTIFRAME)

pytestmark = pytest.mark.skipif(
    not all((RECORDINGS / f"{name}.log.gz").exists() for name in NAMES),
    reason=f"the recordings are not beside the project ({RECORDINGS})",
)

NEGATIVE, PENDING, ANSWERS = 0x7F, 0x78, 0x40


def frames_of(name: str) -> list[Frame]:
    return [frame for _, frame in read_trace(RECORDINGS / f"{name}.log.gz")]


@dataclass
class Explained:
    """A recording, frame by frame."""

    frames: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    messages: dict[int, list[bytes]] = field(default_factory=dict)
    broken: list[tuple[int, Broken]] = field(default_factory=list)
    unexplained: list[Frame] = field(default_factory=list)

    def of(self, service: int) -> list[bytes]:
        return [message for messages in self.messages.values() for message in messages if message[0] == service]


class Listener:
    """Knows what was asked and what has begun, and says of each frame why it is there."""

    def __init__(self) -> None:
        self.found = Explained()
        self.receivers: dict[int, Reassembly] = {}
        self.asked: dict[int, set[int]] = {}
        self.not_released: set[int] = set()

    def hear(self, frame: Frame) -> None:
        self.found.frames += 1
        kind = self._control(frame) or self._message(frame)
        self.found.kinds[kind] += 1
        if kind == "unexplained":
            self.found.unexplained.append(frame)

    def _control(self, frame: Frame) -> str | None:
        if not isinstance(pci.parse(frame.data), pci.FlowControl):
            return None
        answering = frame.key + 8
        if answering in self.not_released:
            self.not_released.discard(answering)
            return "flow control"
        if self.found.frames == 1:
            return "flow control for a first frame from before the recording"
        # the recorder missed first frames of a unit: it was asked, and the tester has seen one
        return "flow control for a first frame that was not recorded" if frame.key in self.asked else "unexplained"

    def _message(self, frame: Frame) -> str:
        receiver = self.receivers.setdefault(frame.key, Reassembly())
        heard = receiver.receive(frame.data, frame.at)
        if heard.broken is not None:
            self.found.broken.append((frame.key, heard.broken))
        if heard.reply is not None:
            self.not_released.add(frame.key)
            return "first frame" if self._is_answer(frame.key, receiver.start) else "unexplained"
        if heard.payload is not None:
            self.found.messages.setdefault(frame.key, []).append(heard.payload)
            whole = self._whole(frame.key, heard.payload)
            return whole if isinstance(pci.parse(frame.data), pci.Single) else f"last frame of an {whole}"
        if receiver.receiving:
            return "later frame"
        named = isinstance(pci.parse(frame.data), pci.Consecutive)
        return "later frame of a broken message" if named else "unexplained"

    def _whole(self, key: int, message: bytes) -> str:
        if message[0] < ANSWERS:
            self.asked.setdefault(key, set()).add(message[0])
            return "request to all" if key == FUNCTIONAL_11 else "request"
        if not self._is_answer(key, message):
            return "unexplained"
        if message[0] != NEGATIVE:
            return "answer"
        return "pending answer" if message[2] == PENDING else "negative answer"

    def _is_answer(self, key: int, message: bytes) -> bool:
        asked = self.asked.get(key - 8, set()) | self.asked.get(FUNCTIONAL_11, set())
        return (message[1] if message[0] == NEGATIVE else message[0] - ANSWERS) in asked


def explain(name: str) -> Explained:
    listener = Listener()
    for frame in frames_of(name):
        listener.hear(frame)
    for key, receiver in listener.receivers.items():
        late = receiver.tick(float("inf"))
        if late is not None:
            listener.found.broken.append((key, late))
    return listener.found


@pytest.fixture(scope="module")
def explained() -> dict[str, Explained]:
    return {name: explain(name) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_every_frame_has_a_reason_to_be_there(
    name: str, explained: dict[str, Explained], capsys: pytest.CaptureFixture[str]
) -> None:
    found = explained[name]
    with capsys.disabled():
        print(f"\n{name}, {found.frames} frames:")
        for kind, count in found.kinds.most_common():
            print(f"  {count:5d} {kind}")
        for (fault, key), count in Counter((one.fault.value, key) for key, one in found.broken).items():
            print(f"  {count:5d} messages of {key:03X} broken: {fault}")
    assert found.unexplained == []
    assert found.kinds.total() == found.frames == len(frames_of(name))


def test_the_scan_has_as_many_negative_answers_as_is_written_with_it(explained: dict[str, Explained]) -> None:
    found = explained[SCAN]
    assert len(found.of(NEGATIVE)) == found.kinds["negative answer"] + found.kinds["pending answer"] == 113
    assert found.kinds["pending answer"] == 14
    assert found.kinds["first frame"] == 10
    # two units began an answer that nobody asked to go on with
    broken = sorted((key, one.fault) for key, one in found.broken)
    assert broken == [(0x778, Fault.NO_NEXT_FRAME), (0x7CC, Fault.NO_NEXT_FRAME)]


def test_several_units_answer_one_request_at_once_and_all_arrive(explained: dict[str, Explained]) -> None:
    # 09 04 and 09 0A, answered by 7EC and 7ED with their frames in between each other
    messages = explained[SCAN].messages
    for response_id in (0x7EC, 0x7ED):
        long = [message for message in messages[response_id] if len(message) > 7]
        assert {message[:2] for message in long} >= {b"\x49\x04", b"\x49\x0a"}
        assert all(message[0] == 0x49 for message in long)


def test_the_long_answers_and_the_broken_ones_are_as_many_as_is_written_with_them(
    explained: dict[str, Explained],
) -> None:
    found = explained[MULTIFRAME]
    assert len(found.of(0x22)) == 123
    assert len(found.of(0x62)) == 100
    assert all(len(message) > 7 for message in found.of(0x62))
    assert Counter((key, one.fault) for key, one in found.broken) == {(0x7BB, Fault.SEQUENCE): 14}
    assert found.kinds["first frame"] == 100 + 14
    # each answer is to an identifier that was asked for
    asked = {message[1:3] for message in found.of(0x22)}
    assert {message[1:3] for message in found.of(0x62)} <= asked


# --- the same frames, read by others ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def scapy_isotp() -> Any:
    """The independent reader; importing it warns and logs about the machine it is on."""
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.contrib import isotp
        from scapy.layers.can import CAN

        return isotp.ISOTPMessageBuilder, CAN


@pytest.mark.parametrize("name", NAMES)
def test_every_message_is_as_scapy_reads_it(
    name: str, explained: dict[str, Explained], scapy_isotp: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    builder_class, can = scapy_isotp
    builders: dict[int, Any] = {}
    for frame in frames_of(name):
        builder = builders.setdefault(frame.key, builder_class(use_ext_address=False))
        builder.feed(can(identifier=frame.key, data=frame.data))
    theirs = {key: [bytes(message.data) for message in builder] for key, builder in builders.items() if builder.count}
    ours = explained[name].messages
    # where a number is missing scapy goes on when a later answer has a frame with that number
    patched = {
        key: theirs.pop(key) for key in {key for key, one in explained[name].broken if one.fault is Fault.SEQUENCE}
    }
    whole = {key: messages for key, messages in ours.items() if key not in patched}
    with capsys.disabled():
        print(f"\n{name}: {sum(map(len, whole.values()))} messages of {len(whole)} ids equal scapy's")
        for key, messages in patched.items():
            made_up = [message for message in messages if message not in ours[key]]
            print(
                f"  {key:03X}: {len(ours[key])} whole, and {len(made_up)} that scapy puts together of several answers"
            )
    assert whole == theirs
    assert set(patched) == ({0x7BB} if name == MULTIFRAME else set())
    assert all(message in patched[key] for key in patched for message in ours[key])


@pytest.mark.parametrize("name", NAMES)
def test_every_message_is_as_can_isotp_reads_it(
    name: str, explained: dict[str, Explained], capsys: pytest.CaptureFixture[str]
) -> None:
    isotp = pytest.importorskip("isotp", reason="can-isotp is not installed")
    logging.getLogger("isotp").setLevel(logging.CRITICAL)
    theirs: dict[int, list[bytes]] = {}
    errors: Counter[str] = Counter()
    by_id: dict[int, list[Frame]] = {}
    for frame in frames_of(name):
        by_id.setdefault(frame.key, []).append(frame)
    for key, frames in by_id.items():
        inbox = iter(frames)

        def receive(_timeout: float, inbox: Any = inbox, key: int = key) -> Any:
            frame = next(inbox, None)
            return None if frame is None else isotp.CanMessage(arbitration_id=key, data=frame.data)

        layer = isotp.TransportLayerLogic(
            rxfn=receive, txfn=lambda _message: None, address=isotp.Address(txid=0x7FF, rxid=key),
            error_handler=lambda error: errors.update([type(error).__name__]), params={"listen_mode": True},
        )  # fmt: skip
        while layer.process().received:
            pass
        while layer.available():
            theirs.setdefault(key, []).append(bytes(layer.recv()))
    with capsys.disabled():
        print(
            f"\n{name}: {sum(map(len, theirs.values()))} messages of can-isotp equal ours; its errors: {dict(errors)}"
        )
    assert explained[name].messages == theirs
    assert errors["WrongSequenceNumberError"] == (14 if name == MULTIFRAME else 0)
