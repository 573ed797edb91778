"""Faults on demand: what the daemon on the simulated car says of each."""

from __future__ import annotations

from math import inf
from pathlib import Path

import pytest

from underdash.pace import paced_loop
from underdash.simulator.driver import Phase
from underdash.simulator.faults import Fault
from underdash.simulator.trouble import BusFault
from underdash.wiring.chain import Cause
from underdash.wiring.demo import Demo, save_into

SCRIPT = (Phase("unlocked", 1, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 120, "ON"))
OIL = "gearbox.oil_temperature"
WELL = (
    *(Fault.SLOW, Fault.LATE, Fault.PENDING, Fault.BROKEN_SEQUENCE, Fault.MISSING_FRAME, Fault.IMPATIENT, Fault.HASTY),
    *(Fault.NO_FLOW_CONTROL, Fault.WAITS, Fault.OVERFLOW, Fault.RESERVED_STATUS),
)
"""Faults that cost no value on the pages: answers come all the same, or only longer ones break, which no page needs."""
CAUSES = {
    "gearbox.silent": Cause.UNIT_SILENT,
    "gearbox.endless": Cause.PENDING,
    "gearbox.busy": Cause.BUSY,
    "gearbox.conditions": Cause.CONDITIONS,
    "gearbox.refusing": Cause.CONDITIONS,
    "gearbox.foreign": Cause.UNIT_SILENT,
    "gearbox.wrong-length": Cause.ANSWER_SHORT,
    "drive.unplugged": Cause.BUS_ABSENT,
    "drive.dead": Cause.BLOCKED,  # the ignition is heard on the other bus, so we go on asking
    "all.dead": Cause.BUS_SILENT,
    "drive.blocked": Cause.BLOCKED,
    "drive.errors": Cause.BLOCKED,
    "all.errors": Cause.WRONG_RATE,
    "drive.off": Cause.BUS_OFF,
}


def driven(*faults: str, seconds: float = 36.0, pictures: Path | None = None) -> Demo:
    loop = paced_loop(inf)
    try:
        demo = Demo("tarn", loop, script=SCRIPT, faults=faults, pictures=save_into(pictures) if pictures else None)
        demo.run(seconds)
    finally:
        loop.close()
    return demo


def test_every_fault_is_tried_here() -> None:
    named = {f"gearbox.{one.replace(' ', '-')}" for one in Fault} | {f"drive.{one}" for one in BusFault}
    assert named - {"gearbox.none", "drive.none"} - set(CAUSES) == {f"gearbox.{one.replace(' ', '-')}" for one in WELL}


@pytest.mark.parametrize("fault", CAUSES)
def test_a_fault_is_told_with_its_cause(fault: str) -> None:
    ((trouble, chains),) = driven(f"{fault.removeprefix('all.')}@20").breaking.told
    assert str(trouble) == fault
    assert {chain.signal: chain.fault.cause for chain in chains}[OIL] is CAUSES[fault]


def test_faults_that_end_are_over(tmp_path: Path) -> None:
    faults = ("drive.unplugged@20", "drive.none@40", "gearbox.silent@20", "none@40")
    told = driven(*faults, seconds=80.0, pictures=tmp_path).breaking.told
    assert [(str(one), bool(chains)) for one, chains in told] == [
        ("drive.unplugged", True),
        ("gearbox.silent", True),
        ("drive.none", False),
        ("all.none", False),
    ]
    assert [path.name for path in sorted(tmp_path.glob("fault_*"))] == [
        "fault_1_drive.unplugged.png",
        "fault_2_gearbox.silent.png",
        "fault_3_drive.none.png",
        "fault_4_all.none.png",
    ]


def test_what_costs_no_value_is_told_as_such() -> None:
    told = driven(*(f"gearbox.{one.replace(' ', '-')}@20" for one in WELL[:1])).breaking.told
    assert [chains for _, chains in told] == [[]]
