"""The other end is can-isotp: as a sender to us, as a receiver of ours, and where both read the same broken traffic."""

from __future__ import annotations

import logging
from collections import deque
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underdash.diagnostics import addressing, pci
from underdash.diagnostics.addressing import Address
from underdash.diagnostics.isotp import Fault
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import Segmentation

isotp = pytest.importorskip("isotp", reason="can-isotp is not installed")

STEP_S = 0.000_05
"""How far the clock goes when nobody has anything to say."""

LONGEST_S = 200.0


def sample(length: int) -> bytes:
    return bytes((number * 31 + 7) % 256 for number in range(length))


class Clock:
    """The time both ends have; the peer reads it where it would read the system's."""

    def __init__(self) -> None:
        self.now = 0.0

    def as_module(self) -> Any:
        return SimpleNamespace(
            perf_counter=lambda: self.now, perf_counter_ns=lambda: round(self.now * 1e9), sleep=lambda _seconds: None
        )


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr("isotp.tools.time", made.as_module())
    monkeypatch.setattr("isotp.protocol.time", made.as_module())
    logging.getLogger("isotp").setLevel(logging.CRITICAL)
    return made


class Peer:
    """A control unit whose transport is can-isotp, driven by hand: frames in, frames out, no thread."""

    def __init__(self, address: Any, **params: Any) -> None:
        self.inbox: deque[Any] = deque()
        self.outbox: list[Any] = []
        self.errors: list[str] = []
        self.layer = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self.inbox.popleft() if self.inbox else None,
            txfn=self.outbox.append,
            address=address,
            error_handler=lambda error: self.errors.append(type(error).__name__),
            params={"tx_padding": 0xAA, "max_frame_size": 10_000, "wftmax": 5} | params,
        )

    def step(self) -> list[Any]:
        self.layer.process(rx_timeout=0.0)
        said, self.outbox[:] = list(self.outbox), []
        return said

    def hear(self, can_id: int, extended: bool, data: bytes) -> None:
        self.inbox.append(isotp.CanMessage(arbitration_id=can_id, data=data, extended_id=extended))


MODE = isotp.AddressingMode
FORMATS: dict[str, tuple[Address, dict[str, Any]]] = {
    "normal, 11 bit": (Address(0x7E0, 0x7E8), {"addressing_mode": MODE.Normal_11bits, "rxid": 0x7E0, "txid": 0x7E8}),
    "normal, 29 bit": (
        Address(0x1BC0_0012, 0x1BC0_0013, True),
        {"addressing_mode": MODE.Normal_29bits, "rxid": 0x1BC0_0012, "txid": 0x1BC0_0013},
    ),
    "normal fixed": (
        addressing.normal_fixed(0x10),
        {"addressing_mode": MODE.NormalFixed_29bits, "source_address": 0x10, "target_address": 0xF1},
    ),
    "extended, 11 bit": (
        Address(0x6F1, 0x612, False, 0x12, addressing.TESTER),
        {"addressing_mode": MODE.Extended_11bits, "rxid": 0x6F1, "txid": 0x612, "source_address": 0x12,
         "target_address": 0xF1},
    ),
    "extended, 29 bit": (
        Address(0x1800_0012, 0x1800_0013, True, 0x12, addressing.TESTER),
        {"addressing_mode": MODE.Extended_29bits, "rxid": 0x1800_0012, "txid": 0x1800_0013, "source_address": 0x12,
         "target_address": 0xF1},
    ),
    "mixed, 11 bit": (
        Address(0x6E0, 0x6E1, False, 0x5C, 0x5C),
        {"addressing_mode": MODE.Mixed_11bits, "rxid": 0x6E0, "txid": 0x6E1, "address_extension": 0x5C},
    ),
    "mixed, 29 bit": (
        addressing.mixed_fixed(0x10, 0x5C),
        {"addressing_mode": MODE.Mixed_29bits, "source_address": 0x10, "target_address": 0xF1,
         "address_extension": 0x5C},
    ),
}  # fmt: skip
NORMAL, _NORMAL_PEER = FORMATS["normal, 11 bit"]

addressed = pytest.mark.parametrize("addressing_format", FORMATS)


def peer_on(addressing_format: str, **params: Any) -> tuple[Address, Peer]:
    address, words = FORMATS[addressing_format]
    return address, Peer(isotp.Address(**words), **params)


def receive_from(peer: Peer, payload: bytes, address: Address, clock: Clock, **terms: int) -> tuple[bytes, list[float]]:
    """Have the peer send a message to us; returns what arrived and when its frames came."""
    ours = Reassembly(address.response_prefix, reply_prefix=address.request_prefix, most_bytes=10_000, **terms)
    peer.layer.send(payload)
    came: list[float] = []
    while clock.now < LONGEST_S:
        for message in peer.step():
            assert (message.arbitration_id, message.is_extended_id) == (address.response_id, address.extended)
            came.append(clock.now)
            heard = ours.receive(bytes(message.data), clock.now)
            assert heard.broken is None
            if heard.payload is not None:
                return heard.payload, came
            if heard.reply is not None:
                peer.hear(address.request_id, address.extended, pci.padded(heard.reply, 0x00))
        clock.now += STEP_S
    raise AssertionError(f"nothing arrived; the peer says {peer.errors}")


def send_to(peer: Peer, ours: Segmentation, address: Address, clock: Clock) -> bytes:
    """Send a message of ours to the peer; returns what it got."""
    frames = [ours.start(clock.now)]
    while clock.now < LONGEST_S and ours.broken is None:
        for frame in frames:
            peer.hear(address.request_id, address.extended, pci.padded(frame, 0xCC))
        for message in peer.step():
            assert (message.arbitration_id, message.is_extended_id) == (address.response_id, address.extended)
            ours.receive(bytes(message.data), clock.now)
        if peer.layer.available():
            return bytes(peer.layer.recv())
        clock.now = max(clock.now, ours.deadline or 0.0) if ours.deadline is not None else clock.now + STEP_S
        frames = ours.due(clock.now)
    raise AssertionError(f"nothing arrived; we say {ours.broken}, the peer {peer.errors}")


# --- messages both ways -----------------------------------------------------------------------------------------------


@addressed
@pytest.mark.parametrize("length", [1, 5, 6, 7, 8, 12, 13, 20, 63, 110, 111, 112, 500, 4095, 4096, 6000])
def test_what_the_peer_sends_arrives(addressing_format: str, length: int, clock: Clock) -> None:
    address, peer = peer_on(addressing_format)
    assert receive_from(peer, sample(length), address, clock)[0] == sample(length)
    assert peer.errors == []


@addressed
@pytest.mark.parametrize("length", [1, 5, 6, 7, 8, 12, 13, 20, 63, 110, 111, 112, 500, 4095, 4096, 6000])
def test_what_we_send_arrives_at_the_peer(addressing_format: str, length: int, clock: Clock) -> None:
    address, peer = peer_on(addressing_format)
    ours = Segmentation(sample(length), address.request_prefix, reply_prefix=address.response_prefix)
    assert send_to(peer, ours, address, clock) == sample(length)
    assert peer.errors == []


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.integers(1, 300).map(sample),
    st.sampled_from(sorted(FORMATS)),
    st.tuples(st.integers(0, 255), st.sampled_from([0x00, 0x01, 0x05, 0xF1, 0xF5, 0xF9])),
    st.sampled_from([None, 0x00, 0x55, 0xAA, 0xFF]),
)
def test_any_message_goes_both_ways_on_any_terms(
    clock: Clock, payload: bytes, addressing_format: str, terms: tuple[int, int], padding: int | None
) -> None:
    clock.now = 0.0
    block_size, st_min = terms
    address, peer = peer_on(addressing_format, blocksize=block_size, stmin=st_min, tx_padding=padding)
    assert receive_from(peer, payload, address, clock, block_size=block_size, st_min=st_min)[0] == payload
    ours = Segmentation(payload, address.request_prefix, reply_prefix=address.response_prefix)
    assert send_to(peer, ours, address, clock) == payload
    assert peer.errors == []


@pytest.mark.parametrize("st_min", [0x01, 0x0A, 0xF1, 0xF9])
def test_the_peer_keeps_the_time_we_ask_for(st_min: int, clock: Clock) -> None:
    address, peer = peer_on("normal, 11 bit")
    _, came = receive_from(peer, sample(60), address, clock, st_min=st_min)
    gaps = [after - before for before, after in pairwise(came[1:])]
    assert len(gaps) == 7
    assert all(pci.st_min_s(st_min) <= gap + 1e-9 <= pci.st_min_s(st_min) + 3 * STEP_S for gap in gaps)


@pytest.mark.parametrize("block_size", [1, 2, 7, 8, 9])
def test_the_peer_waits_for_us_after_each_block(block_size: int, clock: Clock) -> None:
    address, peer = peer_on("normal, 11 bit")
    assert receive_from(peer, sample(200), address, clock, block_size=block_size)[0] == sample(200)
    assert peer.errors == []


# --- refusals --------------------------------------------------------------------------------------------------------


def test_the_peer_gives_up_when_we_decline_a_message(clock: Clock) -> None:
    peer = Peer(isotp.Address(**_NORMAL_PEER))
    ours = Reassembly(most_bytes=50)
    peer.layer.send(sample(51))
    (first,) = peer.step()
    heard = ours.receive(bytes(first.data), clock.now)
    assert heard.broken is not None
    assert heard.broken.fault is Fault.TOO_LONG
    assert heard.reply is not None
    peer.hear(0x7E0, False, heard.reply)
    assert peer.step() == []
    assert peer.errors == ["OverflowError"]
    assert not peer.layer.transmitting()


def test_we_give_up_when_the_peer_declines_a_message(clock: Clock) -> None:
    address, peer = peer_on("normal, 11 bit", max_frame_size=50)
    ours = Segmentation(sample(51))
    peer.hear(address.request_id, False, ours.start(clock.now))
    (flow,) = peer.step()
    found = ours.receive(bytes(flow.data), clock.now)
    assert found is not None
    assert found.fault is Fault.OVERFLOW
    assert peer.errors == ["FrameTooLongError"]


def test_a_silent_peer_and_a_silent_we_end_after_a_second_at_both_ends(clock: Clock) -> None:
    peer = Peer(isotp.Address(**_NORMAL_PEER))
    peer.layer.send(sample(20))
    (first,) = peer.step()
    ours = Reassembly()
    ours.receive(bytes(first.data), clock.now)
    sender = Segmentation(sample(20))
    sender.start(clock.now)
    clock.now = 0.999
    peer.step()
    assert (peer.errors, ours.tick(clock.now), sender.tick(clock.now)) == ([], None, None)
    clock.now = 1.001  # its own timers run out a nanosecond after ours
    peer.step()
    assert peer.errors == ["FlowControlTimeoutError"]
    late, mute = ours.tick(clock.now), sender.tick(clock.now)
    assert late is not None
    assert mute is not None
    assert (late.fault, mute.fault) == (Fault.NO_NEXT_FRAME, Fault.NO_FLOW_CONTROL)


def test_the_peer_waits_as_long_as_we_ask_it_to(clock: Clock) -> None:
    peer = Peer(isotp.Address(**_NORMAL_PEER))
    peer.layer.send(sample(20))
    peer.step()
    for _ in range(3):
        clock.now += 0.9
        peer.hear(0x7E0, False, pci.flow_control(pci.FlowStatus.WAIT))
        assert peer.step() == []
    peer.hear(0x7E0, False, pci.flow_control(pci.FlowStatus.CONTINUE))
    assert len(peer.step()) == 2
    assert peer.errors == []


# --- the same traffic, read by both -----------------------------------------------------------------------------------

FRAMES = ("101462F190414243", "214445464748494A", "224B4C4D4E4F5051")
SINGLE = "03410D32AAAAAAAA"


def read_by_both(clock: Clock, *texts: str) -> tuple[list[bytes], list[Fault], list[bytes], list[str]]:
    """What we made of it and which faults we named, then the same of the peer."""
    peer, ours = Peer(isotp.Address(**_NORMAL_PEER)), Reassembly(most_bytes=10_000)
    heard = [ours.receive(bytes.fromhex(text), clock.now) for text in texts]
    theirs = []
    for text in texts:
        peer.hear(0x7E0, False, bytes.fromhex(text))
        peer.step()
        while peer.layer.available():
            theirs.append(bytes(peer.layer.recv()))
    return (
        [one.payload for one in heard if one.payload is not None],
        [one.broken.fault for one in heard if one.broken is not None],
        theirs,
        peer.errors,
    )


@pytest.mark.parametrize(
    ("texts", "fault", "error"),
    [
        ((FRAMES[0], FRAMES[2], *FRAMES), Fault.SEQUENCE, "WrongSequenceNumberError"),
        ((FRAMES[0], FRAMES[1], FRAMES[1], *FRAMES), Fault.SEQUENCE, "WrongSequenceNumberError"),
        ((FRAMES[1], *FRAMES), Fault.UNEXPECTED, "UnexpectedConsecutiveFrameError"),
        ((FRAMES[0], *FRAMES), Fault.INTERRUPTED, "ReceptionInterruptedWithFirstFrameError"),
        ((FRAMES[0], FRAMES[1], SINGLE, *FRAMES), Fault.INTERRUPTED, "ReceptionInterruptedWithSingleFrameError"),
        (("0841424344454647", *FRAMES), Fault.LENGTH, "InvalidCanDataError"),
        (("0000000000000000", *FRAMES), Fault.LENGTH, "InvalidCanDataError"),
        (("1000000080000102", *FRAMES), Fault.TOO_LONG, "FrameTooLongError"),
    ],
)
def test_both_name_what_is_broken_and_read_what_is_whole(
    clock: Clock, texts: tuple[str, ...], fault: Fault, error: str
) -> None:
    ours, faults, theirs, errors = read_by_both(clock, *texts)
    assert faults == [fault]
    assert errors == [error]
    assert ours == theirs
    assert ours[-1].startswith(b"\x62\xf1\x90")


# --- where the peer does otherwise ----------------------------------------------------------------------------------


@pytest.mark.parametrize("st_min", [0x80, 0xF0, 0xFA, 0xFF])
def test_flow_control_with_a_reserved_time_is_thrown_away_by_the_peer_and_read_as_127_ms_by_us(
    st_min: int, clock: Clock
) -> None:
    peer = Peer(isotp.Address(**_NORMAL_PEER))
    peer.layer.send(sample(30))
    ours = Segmentation(sample(30))
    assert bytes(peer.step()[0].data) == ours.start(clock.now)
    flow = bytes([0x30, 0x00, st_min])
    peer.hear(0x7E0, False, flow)
    assert ours.receive(flow, clock.now) is None
    assert peer.step() == []
    assert peer.errors == ["InvalidCanDataError"]
    assert len(ours.due(clock.now)) == 1
    assert ours.deadline == pytest.approx(0.127)


def test_a_broken_frame_inside_a_message_ends_it_for_the_peer_and_not_for_us(clock: Clock) -> None:
    ours, faults, theirs, errors = read_by_both(clock, FRAMES[0], "0F", FRAMES[1], FRAMES[2])
    assert (len(ours), faults) == (1, [])
    assert theirs == []
    assert errors == ["InvalidCanDataError", "UnexpectedConsecutiveFrameError", "UnexpectedConsecutiveFrameError"]


def test_the_escape_of_longer_frames_is_read_by_the_peer_on_classic_can_too_and_refused_by_us(clock: Clock) -> None:
    ours, faults, theirs, errors = read_by_both(clock, "0003410D32000000")
    assert (ours, faults) == ([], [Fault.LENGTH])
    assert (theirs, errors) == ([bytes.fromhex("410D32")], [])


@pytest.mark.parametrize("text", ["1007010203040506", "1000000000140102"])
def test_a_first_frame_for_too_few_bytes_is_begun_by_the_peer_and_refused_by_us(text: str, clock: Clock) -> None:
    _, faults, _, errors = read_by_both(clock, text)
    assert faults == [Fault.LENGTH]
    assert errors == []


def test_a_first_frame_that_is_cut_short_is_taken_by_the_peer_and_refused_by_us(clock: Clock) -> None:
    ours, faults, theirs, errors = read_by_both(clock, "100962F1904142", "2143444546")
    assert (ours, faults) == ([], [Fault.LENGTH])
    assert (theirs, errors) == ([bytes.fromhex("62F190414243444546")], [])


def test_a_later_frame_that_is_cut_short_shifts_the_bytes_at_the_peer_and_ends_the_message_for_us(clock: Clock) -> None:
    ours, faults, theirs, _ = read_by_both(clock, FRAMES[0], "214445", "22464748494A4B4C", "234D4E4F5051")
    assert (ours, faults) == ([], [Fault.LENGTH])
    assert len(theirs) == 1


def test_new_terms_in_later_flow_control_are_taken_up_by_the_peer_and_not_by_us(clock: Clock) -> None:
    peer = Peer(isotp.Address(**_NORMAL_PEER))
    peer.layer.send(sample(100))
    ours = Segmentation(sample(100))
    ours.start(clock.now)
    peer.step()
    sent = []
    for flow in (b"\x30\x02\x00", b"\x30\x04\x00"):
        peer.hear(0x7E0, False, flow)
        ours.receive(flow, clock.now)
        clock.now += STEP_S  # its timers need more than no time
        sent.append((len(peer.step()), len(ours.due(clock.now))))
    assert sent == [(2, 2), (4, 2)]
