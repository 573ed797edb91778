from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from underdash.bus.frames import Frame
from underdash.config.cars import read_car
from underdash.contract.requests import Answer, ControlUnit, Part, SingleFrameFormat
from underdash.diagnostics import single_frame
from underdash.finding.reading import heard_from
from underdash.finding.requests.maker import Maker
from underdash.finding.requests.makers import makers
from underdash.finding.requests.search import find_requests
from underdash.simulator.faults import Fault
from underdash.simulator.hybrid_car import HybridDesign
from underdash.simulator.turbo_car import TurboDesign

from ..invented_formats import (
    ADDRESS,
    COMMAND,
    COUNT,
    DATA,
    IDENTIFIER,
    MODE,
    Invented,
    asks_alike,
    in_turn,
    invented,
    requests_of,
    units_of,
)
from ..tester_traces import Asked, Wire, driven, raw

SEEDS = range(16)
PLUGINS = Path(__file__).parents[3] / "plugins"
TWO_UNITS = Invented(
    SingleFrameFormat(
        "invented", 0xB4,
        (Part(COUNT, 1, 0x90), Part(ADDRESS), Part(COMMAND), Part(IDENTIFIER, 2), Part(MODE, 1, 0x05)),
        (Part(COUNT, 1, 0x90), Part(ADDRESS), Part(COMMAND), Part(IDENTIFIER, 2), Part(DATA)),
    ),
    (0x5C, 0x67),
    ((0x1A04, 2), (0x2B11, 2), (0x1A05, 2), (0x2B12, 1), (0x1A0C, 1), (0x2B13, 3)),
)  # fmt: skip


def heard_of(
    made: Invented, seed: int, seconds: float = 40.0, extra: Iterable[tuple[float, Asked]] = ()
) -> list[Maker]:
    rng, units = Random(f"trace {seed}"), units_of(made)
    wire = Wire(units, rng)
    wire.ask([*in_turn(requests_of(made, units), seconds, rng), *extra])
    wire.talk(0.0, seconds + 1.0)
    found = find_requests(wire.heard())
    assert found.dialogue.exchanges == [], "what may be read as ISO-TP too is the maker's"
    return found.makers


def same_words(found: SingleFrameFormat, made: SingleFrameFormat) -> bool:
    return replace(found, name="") == replace(made, name="")


def reads_alike(found: Maker, made: Invented) -> bool:
    """Whether every answer is read as whoever invented the format reads it."""
    for exchange in found.exchanges:
        address, identifier, answer = found.read(exchange)
        assert exchange.answer is not None
        # of one unit alone the address may be told from a byte that is always the same by nothing at all
        unit = ControlUnit("", "drive", 0, 0, address=address if len(made.addresses) > 1 else made.addresses[0])
        theirs = single_frame.decode(made.form, unit, exchange.answer.data)
        if theirs != answer or not isinstance(answer, Answer) or answer.identifier != identifier:
            return False
    return bool(found.exchanges)


def test_formats_of_many_kinds_are_worked_out_to_the_byte(capsys: pytest.CaptureFixture[str]) -> None:
    alike = words = 0
    for seed in SEEDS:
        made = invented(seed)
        found = heard_of(made, seed)
        assert len(found) == 1, f"seed {seed}"
        assert found[0].form is not None, f"seed {seed}"
        assert found[0].spelt == 1.0, f"seed {seed}"
        alike += asks_alike(found[0].form, made, units_of(made), found[0].padding) and reads_alike(found[0], made)
        words += same_words(found[0].form, made.form)
    with capsys.disabled():
        print(
            f"\n{len(SEEDS)} invented one-frame formats among other traffic, simulated only, no recording has one: "
            f"{alike} ask and read alike to the byte, {words} word for word"
        )
    assert alike == len(SEEDS)
    # where an answer does not repeat the address, nothing tells an address from a byte that is always the same
    assert words >= len(SEEDS) - 2


def conditions(name: str, made: Invented, rng: Random) -> list[tuple[float, Asked]]:
    """How a tester may ask, beside all values in turn at its leisure."""
    units = units_of(made)
    requests = requests_of(made, units)
    match name:
        case "one value on show at a time":
            return [(1.0 + 10.0 * n + 0.1 * k, request) for n, request in enumerate(requests * 2) for k in range(95)]
        case "an even beat":
            return [(1.0 + 0.1 * n, requests[n % len(requests)]) for n in range(400)]
        case "the next request before the answer":
            return in_turn(requests, 12.0, rng, every_s=0.012)
        case "three values only":
            return in_turn(requests[:3], 30.0, rng)
    return in_turn(requests, 40.0, rng)


@pytest.mark.parametrize(
    "name",
    ["one value on show at a time", "an even beat", "the next request before the answer", "three values only",
     "one frame in twenty lost"],
)  # fmt: skip
def test_it_does_not_matter_how_a_tester_asks(name: str) -> None:
    found = 0
    seeds = (0, 2, 6, 7, 13)  # three of them with an address, formats with and without a count
    for seed in seeds:
        made, rng = invented(seed), Random(f"{name} {seed}")
        units = units_of(made)
        wire = Wire(units, rng)
        wire.ask(conditions(name, made, rng))
        wire.talk(0.0, 40.0, how_many=5)
        log = sorted(wire.log, key=lambda one: one[1].at)
        kept = [one for one in log if "lost" not in name or rng.random() > 0.05]
        makers_found = find_requests(heard_from(kept)).makers
        shown = replace(made, identifiers=made.identifiers[:3] if name.startswith("three") else made.identifiers)
        form = makers_found[0].form if len(makers_found) == 1 else None
        found += form is not None and asks_alike(form, shown, units, makers_found[0].padding)
    assert found == len(seeds)


def test_what_could_be_read_otherwise_is_said() -> None:
    one_unit = replace(TWO_UNITS, addresses=(0x5C,), identifiers=((0x1A04, 2), (0x1A05, 2), (0x1A0C, 2)))
    (found,) = heard_of(one_unit, 3)
    assert found.form is not None
    assert "all its identifiers begin with 1A, which may be a byte of its own" in found.remarks
    assert any("is taken for a count, though all were of one length" in remark for remark in found.remarks)


def test_two_units_on_one_pair_of_ids_are_told_apart_by_their_address() -> None:
    (found,) = heard_of(TWO_UNITS, 1)
    assert found.form is not None
    assert same_words(found.form, TWO_UNITS.form)
    assert found.units == (0x5C, 0x67)
    assert found.padding == 0


def test_refusals_are_paired_and_name_their_code() -> None:
    units = units_of(TWO_UNITS)
    unknown = [(2.0 + 3.3 * n, raw(TWO_UNITS.form, units[0].unit, 0x1AFF)) for n in range(12)]
    (found,) = heard_of(TWO_UNITS, 2, extra=unknown)
    refused = [found.read(one) for one in found.exchanges]
    assert [(identifier, answer.refused) for _, identifier, answer in refused if answer and answer.refused] == [
        (0x1AFF, 0x31)
    ] * 12


def test_a_mode_that_brings_many_answers_is_not_the_one_that_is_pinned() -> None:
    units, rng = units_of(TWO_UNITS), Random(7)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units), 60.0, rng))
    again: list[tuple[float, ControlUnit, bytes]] = []
    at = 62.0
    while at < 90.0:  # the same requests, with the mode that has the unit go on by itself
        unit, data = requests_of(TWO_UNITS, units)[len(again) % 2]
        again.append((at, unit, data[:5] + b"\x02" + data[6:]))
        at += 1.0
    wire.ask((at, (unit, data)) for at, unit, data in again)
    for at, unit, data in again:
        said = units[0 if unit.address == 0x5C else 1].answer(data[:5] + b"\x05" + data[6:], {**_values(at)}, at)
        for n in range(8):
            wire.log.append(("drive", Frame(unit.response_id, said[0][1].ljust(8, b"\0"), False, at + 0.02 + 0.1 * n)))
    (found,) = makers(wire.heard())
    assert found.form is not None
    assert same_words(found.form, TWO_UNITS.form)
    assert "pinned to 05, which brings one answer; others seen: 02" in found.remarks[0]


def _values(at: float) -> dict[str, float]:
    from ..tester_traces import values_at

    return {name: float(value) for name, value in values_at(at).items() if isinstance(value, float)}


def test_each_command_has_a_format_of_its_own() -> None:
    units = units_of(TWO_UNITS)
    other = replace(TWO_UNITS, form=replace(TWO_UNITS.form, command=0xB1))
    rng = Random(9)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units), 60.0, rng))
    second = units_of(other)
    later = Wire(second, rng, log=wire.log)
    later.ask((60.0 + at, asked) for at, asked in in_turn(requests_of(other, second), 40.0, rng))
    found = makers(later.heard())
    assert [one.form.command for one in found if one.form is not None] == [0xB1, 0xB4]


def test_a_silent_unit_is_only_a_request_without_an_answer() -> None:
    units = units_of(TWO_UNITS)
    units[1].fault = Fault.SILENT
    rng = Random(3)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units), 60.0, rng))
    (found,) = makers(wire.heard())
    assert found.form is not None
    assert [address for address in found.units if address == 0x5C] == [0x5C]
    assert {len(one.answer.data) for one in found.exchanges if one.answer is not None} == {8}


def test_one_request_alone_tells_nothing_and_is_no_format() -> None:
    units, rng = units_of(TWO_UNITS), Random(4)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units)[:1], 60.0, rng))
    wire.talk(0.0, 60.0)
    assert makers(wire.heard()) == []


@pytest.mark.parametrize("seed", range(6))
def test_frames_that_are_sent_by_themselves_are_nobodys_answers(seed: int) -> None:
    wire = Wire([], Random(f"talk {seed}"))
    wire.talk(0.0, 60.0, how_many=40)
    assert makers(wire.heard()) == []


def test_a_unit_whose_address_is_that_of_a_refusal_is_read() -> None:
    made = invented(39)
    assert {0x7F} & {one.unit.address for one in units_of(made)}
    (found,) = heard_of(made, 39)
    assert reads_alike(found, made)


def test_simulated_cars_that_nobody_asks_have_no_tester() -> None:
    for name, design in (("tarn", TurboDesign()), ("loris", HybridDesign())):
        car = read_car(PLUGINS / name / f"underdash_{name}" / f"{name}.toml")
        found = find_requests(heard_from(driven(car, (), 40.0, design)))
        assert not found.anything, name


def test_a_quantity_that_two_frames_carry_is_no_request() -> None:
    """Both come from one control unit at once, and the one holds nothing else; that is as like a request as can be."""
    rng, log, gear = Random(11), [], 0
    for n in range(3000):
        gear = rng.randrange(6) if rng.random() < 0.02 else gear
        at = 0.02 * n + 0.0005 * rng.random()
        log.append(("drive", Frame(0x1F0, bytes((0x21, 0, gear, 0, 0, 0, 0, 0)), at=at)))
        data = bytes((0x61, 7, gear, rng.randrange(256), rng.randrange(256), 0, 0, n & 0x0F))
        log.append(("drive", Frame(0x1F4, data, at=at + 0.001)))
    found = [one for one in makers(heard_from(log)) if one.form is not None]
    assert found == [], "told from a tester by nothing but its regular beat"


def test_an_empty_or_tiny_trace_is_no_error() -> None:
    assert makers(heard_from([])) == []
    assert makers(heard_from([("drive", Frame(0x100, b"\x01", at=0.0))])) == []
    same = [("drive", Frame(0x100 + n % 2, b"\x01\x02\x03", at=1.0)) for n in range(50)]
    assert makers(heard_from(same)) == []
