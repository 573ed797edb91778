"""A plug-in's protocol whose `decode` fails: dropped frames at first, then the plug-in is suspended and named."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any

import pytest

from underdash.bus.vetting import MakerEvidence
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.requests import ControlUnit
from underdash.loading import load
from underdash.signals.wants import Want, WantKind
from underdash.wiring.assembly import Assembly, assemble
from underdash.wiring.gathering import Gatherer
from underdash.wiring.sending import make_guard

SIGNAL = "gearbox.oil_temperature"
CAR = CarDescription(
    "odd", "Odd", (BusDescription("drive", 500_000),), units=(ControlUnit("seat", "drive", 0x6E2, 0x6EA),)
)
SOURCE = """
@hookimpl
def request_protocols():
    return [Protocol("code", lambda unit, number: bytes((2, 0xB4, number)), decode, (2,), 1)]

@hookimpl
def poll_requests(car):
    field = Field("gearbox.oil_temperature", Bits(0), offset=-40)
    return [PollRequest("seat", "code", 7, (field,), 1.0)]

def decode(unit, data):
"""
GOOD, BAD, ALIEN = b"\x01\x07\x50", b"\x02\x07\x50", b"\x03\x07\x50"
MIXED = """
    if data[0] == 2:
        raise KeyError("my table lacks it")
    return Answer(7, data[2:]) if data[0] == 1 else None
"""


@pytest.fixture
def made(tiny_plugin: Callable[..., Any]) -> Callable[[str], Assembly]:
    def make(body: str) -> Assembly:
        assembly = assemble(CAR, load({"tiny": {}}, [tiny_plugin(SOURCE + body)]))
        assert assembly.problems == []
        assembly.asking.demand({SIGNAL: Want(WantKind.PAGE, 1.0)}, 0.0)
        return assembly

    return make


def feed(assembly: Assembly, *datas: bytes) -> None:
    for number, data in enumerate(datas):
        assembly.asking.handle("drive", 0x6EA, data, float(number))


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (MIXED, "decode of protocol 'code' raised KeyError: 'my table lacks it' (3 times)"),
        ("    raise SystemExit(2)\n", "raised SystemExit: 2 (3 times)"),
        ("    return 5\n", "gave int, it has to give an Answer or None (3 times)"),
    ],
)
def test_a_decode_that_always_fails_suspends_its_plug_in_which_why_names(
    made: Callable[[str], Assembly], body: str, says: str
) -> None:
    assembly = made(body)
    feed(assembly, BAD, BAD)
    assert assembly.suspended == {}
    assert assembly.asking.due(2.0)
    feed(assembly, BAD)
    assert says in assembly.suspended["tiny"]
    assert assembly.asking.due(60.0) == []
    gatherer = Gatherer(assembly, make_guard(assembly, evidence=MakerEvidence({}, ())), ("drive",), ("drive",), tuple)
    (fact,) = gatherer.facts(SIGNAL, 60.0).signals[SIGNAL].sources
    assert (fact.owner, fact.suspended) == ("tiny", assembly.suspended["tiny"])  # type: ignore[union-attr]


def test_nothing_of_a_suspended_protocol_is_read_or_asked_on_the_next_journey_either(
    made: Callable[[str], Assembly],
) -> None:
    assembly = made(MIXED)
    feed(assembly, BAD, BAD, BAD, GOOD)
    assert assembly.store.read(SIGNAL, 4.0).value is None
    assembly.asking.new_journey(100.0)
    assembly.asking.demand({SIGNAL: Want(WantKind.PAGE, 1.0)}, 100.0)
    assert assembly.asking.due(200.0) == []
    (status,) = assembly.asking.status(200.0)
    assert status.parked
    assert "plug-in tiny" in status.sentence
    assert assembly.asking.deadline(200.0) in (None, inf)


def test_frames_that_a_decode_stumbles_over_now_and_then_suspend_nobody(made: Callable[[str], Assembly]) -> None:
    assembly = made(MIXED)
    feed(assembly, *([BAD, BAD, GOOD] * 5))
    assert assembly.suspended == {}
    assert assembly.store.read(SIGNAL, 14.0).value == 40.0


def test_frames_that_are_none_of_its_do_not_excuse_it(made: Callable[[str], Assembly]) -> None:
    assembly = made(MIXED)
    feed(assembly, BAD, ALIEN, BAD, ALIEN, BAD)
    assert "tiny" in assembly.suspended


def test_a_plug_in_that_is_suspended_for_another_reason_is_asked_for_nothing_any_more(
    made: Callable[[str], Assembly],
) -> None:
    assembly = made(MIXED)
    assembly.suspensions.add("tiny", "its page fell")
    feed(assembly, GOOD)
    assert assembly.store.read(SIGNAL, 1.0).value is None
    assert assembly.asking.due(60.0) == []


@pytest.mark.parametrize("raises", ["KeyError('oil')", "SystemExit(3)", "Unspeakable"])
def test_an_encode_that_raises_costs_its_own_request_and_is_named(tiny_plugin: Callable[..., Any], raises: str) -> None:
    source = f"""
class Unspeakable(Exception):
    def __str__(self):
        raise ValueError

def encode(unit, number):
    raise {raises}
""" + SOURCE.replace("lambda unit, number: bytes((2, 0xB4, number))", "encode")
    assembly = assemble(CAR, load({"tiny": {}}, [tiny_plugin(source + "    return None\n")]))

    assert not assembly.compiled.polls
    assert any(
        f"encode of protocol 'code' raised {raises.partition('(')[0]}" in problem for problem in assembly.problems
    )
