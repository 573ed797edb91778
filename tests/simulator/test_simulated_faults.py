"""Each fault on demand, as a tester sees it; longer answers are put together by the diagnostics' own receiver."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from underdash.contract.cars import CarDescription
from underdash.diagnostics import isotp
from underdash.diagnostics.isotp import Broken
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import Segmentation
from underdash.simulator.faults import ENDLESS_S, Fault, pending_at_s
from underdash.simulator.manners import Manners

PROMPT = Manners(pending_share=0.0)
COOLANT = "02 01 05 00 00 00 00 00"
Asked = Callable[[Fault, str], list[str]]


@pytest.fixture
def engine(description: CarDescription, unit: Any) -> Any:
    return unit(description, "engine", manners=PROMPT)


@pytest.fixture
def block(talkative: CarDescription, unit: Any) -> Callable[[Fault, int], bytes | Broken | None]:
    """Read the gearbox's long block with a fault, in blocks of so many frames: what the receiver makes of it."""

    def read(fault: Fault, block_size: int) -> bytes | Broken | None:
        gearbox = unit(talkative, "gearbox", manners=PROMPT).simulated
        gearbox.fault = fault
        receiver = Reassembly(block_size=block_size)
        values: dict[str, Any] = {"gearbox.oil_pressure": 460.0, "gearbox.oil_temperature": 91.0}
        queue = [(after_s, data) for after_s, data in gearbox.answer(bytes.fromhex("03221001"), values, 0.0)]
        now = 0.0
        while queue:
            now, data = queue.pop(0)
            heard = receiver.receive(data, now)
            if heard.payload is not None or heard.broken is not None:
                return heard.payload or heard.broken
            if heard.reply is not None:
                queue += [(now + after_s, more) for after_s, more in gearbox.answer(heard.reply, values, now)]
        return receiver.tick(now + 5.0)

    return read


WHOLE = bytes.fromhex("62 1001 11F8") + bytes(17) + b"\x5b"
BLOCKS = pytest.mark.parametrize("block_size", [0, 1, 2])


@BLOCKS
def test_without_a_fault_the_block_arrives(block: Any, block_size: int) -> None:
    assert block(Fault.NONE, block_size) == WHOLE


@BLOCKS
def test_broken_sequence(block: Any, block_size: int) -> None:
    assert block(Fault.BROKEN_SEQUENCE, block_size).fault is isotp.Fault.SEQUENCE


@BLOCKS
def test_missing_frame(block: Any, block_size: int) -> None:
    assert block(Fault.MISSING_FRAME, block_size).fault is isotp.Fault.NO_NEXT_FRAME


@BLOCKS
def test_impatient(block: Any, block_size: int) -> None:
    assert block(Fault.IMPATIENT, block_size).fault is isotp.Fault.NO_NEXT_FRAME


@BLOCKS
def test_hasty(block: Any, block_size: int) -> None:
    # the receiver has no need of its own flow control
    assert block(Fault.HASTY, block_size) == WHOLE


@pytest.mark.parametrize(
    ("fault", "said", "broken"),
    [
        (Fault.NO_FLOW_CONTROL, [], isotp.Fault.NO_FLOW_CONTROL),
        (Fault.WAITS, ["31 00 00"] * 40, isotp.Fault.TOO_MANY_WAITS),
        (Fault.OVERFLOW, ["32 00 00"], isotp.Fault.OVERFLOW),
        (Fault.RESERVED_STATUS, ["35 00 00"], isotp.Fault.RESERVED_STATUS),
    ],
    ids=str,
)
def test_a_request_in_several_frames_that_is_not_taken(
    engine: Any, fault: Fault, said: list[str], broken: isotp.Fault
) -> None:
    engine.simulated.fault = fault
    sending = Segmentation(bytes.fromhex("22 21C7 21C8 21C9 21CA"))
    came = engine.ask(sending.start(100.0).hex(), 100.0)
    assert [data.hex(" ") for _, data in came] == said
    ends = [sending.receive(data, 100.0 + at) for at, data in came] + [sending.tick(105.0)]
    assert [end.fault for end in ends if end is not None] == [broken]
    assert engine.said(COOLANT, 106.0) == ["03 41 05 7b"]


def test_wrong_length_of_a_long_answer(block: Any) -> None:
    assert block(Fault.WRONG_LENGTH, 0) == WHOLE[:-1]


def test_foreign_long_answer(block: Any) -> None:
    assert block(Fault.FOREIGN, 0) == WHOLE[:2] + b"\x00" + WHOLE[3:]


def test_a_pending_long_answer_comes_after_its_time(block: Any) -> None:
    assert block(Fault.PENDING, 0) == bytes.fromhex("7F 22 78")


def test_silent(engine: Any) -> None:
    engine.simulated.fault = Fault.SILENT
    assert engine.ask(COOLANT) == []


def test_slow_is_in_time_and_late_is_not(engine: Any) -> None:
    within_s = engine.simulated.unit.answer_within_s
    engine.simulated.fault = Fault.SLOW
    assert 0.5 * within_s < engine.ask(COOLANT)[0][0] < within_s
    engine.simulated.fault = Fault.LATE
    assert engine.ask(COOLANT)[0][0] > within_s
    assert engine.said(COOLANT) == ["03 41 05 7b"]


def test_pending_for_5_s_with_the_unit_deaf_meanwhile(engine: Any) -> None:
    engine.simulated.fault = Fault.PENDING
    assert [(at, data.hex(" ")) for at, data in engine.ask(COOLANT, 100.0)] == [
        (0.02, "03 7f 01 78"),
        (2.0, "03 7f 01 78"),
        (4.0, "03 7f 01 78"),
        (5.0, "03 41 05 7b"),
    ]
    assert engine.said(COOLANT, 104.9) == []
    assert len(engine.said(COOLANT, 105.1)) == 4


def test_endless_pending_never_answers(engine: Any) -> None:
    engine.simulated.fault = Fault.ENDLESS
    said = engine.ask(COOLANT, 100.0)
    assert {data.hex(" ") for _, data in said} == {"03 7f 01 78"}
    assert said[-1][0] > ENDLESS_S - 3.0
    assert engine.said(COOLANT, 130.0) == []


def test_each_word_of_pending_comes_before_the_time_of_the_last_one_is_over() -> None:
    for fault in (Fault.PENDING, Fault.ENDLESS):
        at_s, _ = pending_at_s(fault)
        assert all(later - earlier < 5.0 for earlier, later in pairwise(at_s))


@pytest.mark.parametrize(
    ("fault", "code"), [(Fault.BUSY, "21"), (Fault.CONDITIONS, "22"), (Fault.REFUSING, "10")], ids=str
)
def test_refusals_are_of_everything(engine: Any, fault: Fault, code: str) -> None:
    engine.simulated.fault = fault
    assert engine.said(COOLANT) == [f"03 7f 01 {code}"]
    assert engine.said("03 22 21 C7") == [f"03 7f 22 {code}"]
    assert engine.said("02 09 02") == [f"03 7f 09 {code}"]
    assert engine.said("02 3E 00") == [f"03 7f 3e {code}"]


def test_foreign(engine: Any) -> None:
    engine.simulated.fault = Fault.FOREIGN
    assert engine.said(COOLANT) == ["03 41 04 7b"]
    assert engine.said("03 22 21 C7") == ["05 62 21 c6 11 30"]


def test_wrong_length(engine: Any) -> None:
    engine.simulated.fault = Fault.WRONG_LENGTH
    assert engine.said("02 01 0C") == ["03 41 0c 1a"]
    assert engine.said("03 22 21 C7") == ["04 62 21 c7 11"]


@pytest.mark.parametrize("fault", [fault for fault in Fault if fault is not Fault.NONE], ids=str)
def test_a_fault_that_is_taken_away_leaves_nothing_behind(engine: Any, fault: Fault) -> None:
    engine.simulated.fault = fault
    engine.ask(COOLANT, 100.0)
    engine.simulated.fault = Fault.NONE
    assert engine.said(COOLANT, 100.5) == ["03 41 05 7b"]
    assert engine.told("09 02") == b"\x49\x02\x01UNDERDASHTARN0001"


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (Fault.BUSY, ["44 5c 7f a2 21"]),
        (Fault.CONDITIONS, ["44 5c 7f a2 22"]),
        (Fault.REFUSING, ["44 5c 7f a2 10"]),
        (Fault.FOREIGN, ["46 5c e2 1a 05 11 12"]),
        (Fault.WRONG_LENGTH, ["45 5c e2 1a 04 11"]),
        (Fault.PENDING, [*["44 5c 7f a2 78"] * 3, "46 5c e2 1a 04 11 12"]),
        (Fault.ENDLESS, ["44 5c 7f a2 78"] * 30),
        (Fault.SILENT, []),
        (Fault.SLOW, ["46 5c e2 1a 04 11 12"]),
        (Fault.LATE, ["46 5c e2 1a 04 11 12"]),
    ],
    ids=str,
)
def test_faults_in_a_makers_format(description: CarDescription, unit: Any, fault: Fault, said: list[str]) -> None:
    turbo = unit(description, "turbo")
    turbo.simulated.fault = fault
    assert turbo.said("45 5C A2 1A 04 01 00 00") == said
