from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from underdash.bus.frames import Frame
from underdash.bus.vetting import MakerEvidence, vet
from underdash.config.cars import make_car, read_car
from underdash.config.toml import parse_toml
from underdash.contract.cars import CarDescription
from underdash.contract.errors import GivenError
from underdash.contract.requests import Answer, ControlUnit
from underdash.diagnostics import single_frame
from underdash.diagnostics.requests import compile_polls
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark
from underdash.finding.reading import heard_from
from underdash.finding.requests.picture import draw
from underdash.finding.requests.readings import Reading
from underdash.finding.requests.search import SIMULATED_ONLY, Requests, find_requests
from underdash.finding.requests.told import lines
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.simulator.hybrid_car import HybridDesign
from underdash.simulator.tester import Question

from ..invented_formats import in_turn, requests_of, units_of
from ..tester_traces import Log, Wire, driven, raw
from .test_makers import TWO_UNITS
from .test_testers import ADDRESSINGS, simulated, single

PLUGINS = Path(__file__).parents[3] / "plugins"
HASH = "ab" * 32
HEAD = """
format = 1
name = "found"
title = "Found"
counting = "from 0"

[bus.drive]
bitrate = 500_000

[bus.comfort]
bitrate = 125_000
"""
SHOWN = {"boost": ("charge_air", 0x1A05), "charge air": ("charge_air", 0x1A0C), "exhaust": ("exhaust", 0x2B11)}


def described(found: Requests) -> CarDescription:
    """The lines as the daemon reads them, after a head and two buses."""
    table, source = parse_toml(HEAD + found.description, "found.toml")
    return make_car(table, source, PLUGINS)


def questions(car: CarDescription, rounds: int = 2) -> tuple[list[Question], list[Mark]]:
    """A tester that shows one of three values at a time, and reads the gearbox all the while."""
    units, form = {unit.name: unit for unit in car.units}, car.formats[0]
    asked = [
        Question(units["gearbox"], bytes.fromhex("22 21 D0"), 2.0, 3.0),
        Question(units["engine"], bytes.fromhex("3E 00"), 1.7, 2.0),
        Question(units["engine"], bytes.fromhex("09 02"), 1.2),
    ]
    marks, at = [], 1.0
    for word, (unit, identifier) in list(SHOWN.items()) * rounds:
        marks.append(Mark(5.0 + at, f"{word} only", 25.0 + at))
        asked += [
            Question(units[unit], raw(form, units[unit], identifier)[1], at + 0.1 * n + 0.01 * (n % 3), raw=True)
            for n in range(200)
        ]
        at += 21.0
    return asked, marks


def typed(car: CarDescription, log: Log, marks: list[Mark]) -> list[Reading]:
    """What somebody reads off the tester while boost is on show, in bar, a second late."""
    unit, form = next(unit for unit in car.units if unit.name == "charge_air"), car.formats[0]
    seen = [
        (frame.at, int.from_bytes(answer.data) * 0.05 / 100.0)
        for _, frame in log
        if frame.id == unit.response_id
        and (answer := single_frame.decode(form, unit, frame.data))
        and isinstance(answer, Answer)
        and answer.identifier == 0x1A05
    ]
    times = [mark.begin + 3.0 + 2.5 * n for mark in marks if mark.word == "boost only" for n in range(6)]
    return [Reading(at + 1.0, round([value for when, value in seen if when <= at][-1], 2), 0.01, "bar") for at in times]


@pytest.fixture(scope="module")
def tarn() -> tuple[CarDescription, Heard, list[Mark], list[Reading]]:
    car = read_car(PLUGINS / "tarn" / "underdash_tarn" / "tarn.toml")
    asked, marks = questions(car)
    log = driven(car, asked, 138.0)
    return car, replace(heard_from(log), sha256=HASH, trace="drive.log"), marks, typed(car, log, marks)


@pytest.fixture(scope="module")
def found(tarn: tuple[CarDescription, Heard, list[Mark], list[Reading]]) -> Requests:
    _, heard, marks, readings = tarn
    return find_requests(heard, marks, {"boost": readings}, {"boost": "engine.charge_pressure"})


def test_of_a_simulated_car_everything_a_tester_asked_is_found(
    tarn: tuple[CarDescription, Heard, list[Mark], list[Reading]], found: Requests
) -> None:
    car = tarn[0]
    (maker,) = found.makers
    assert maker.form == replace(car.formats[0], name="maker_b4")
    assert maker.units == (0x5C, 0x67)
    asked = {(one.whom.address, one.name): one for one in found.asked}
    assert {(0x5C, "B4 1A05"), (0x5C, "B4 1A0C"), (0x67, "B4 2B11"), (None, "22 21D0"), (None, "09 02")} <= set(asked)
    assert asked[None, "3E 00"].reads is False
    assert len(asked[None, "22 21D0"].values[0][1]) == 20


def test_words_are_put_to_the_values_that_were_on_show_and_the_scale_is_right(found: Requests) -> None:
    best = {one.word: one.best.asked.identifier for one in found.shown if one.best is not None}
    assert best == {word: identifier for word, (_, identifier) in SHOWN.items()}
    boost = next(one.best for one in found.shown if one.word == "boost")
    assert boost is not None
    assert boost.fit is not None
    assert (boost.fit.line.scale, boost.fit.line.offset, boost.fit.line.plain) == (0.0005, 0.0, True)


def test_what_is_printed_is_a_description_that_the_daemon_takes(found: Requests) -> None:
    car = described(found)
    polls = {(poll.unit, poll.identifier): poll for poll in car.polls}
    field = polls["unit_0b20c0a2_5c", 0x1A05].fields[0]
    assert (field.signal, field.scale, field.unit) == ("engine.charge_pressure", 0.0005, "bar")
    assert {one.name for one in car.signals} == {"car.charge_air", "car.exhaust"}
    assert [(one.unit, one.trace) for one in car.exchanges] == [
        ("unit_0b20c0a2_5c", HASH), ("unit_0b20c0a2_67", HASH)
    ]  # fmt: skip


def test_the_guard_takes_the_evidence_but_only_with_the_owners_word(found: Requests) -> None:
    car = described(found)
    signals = {**CATALOGUE, **{signal.name: signal for signal in car.signals}}
    compiled = compile_polls(car, car.polls, (), Store(signals), signals)
    assert compiled.problems == []
    templates = compiled.templates
    assert sum(template.maker is not None for template in templates) == 2
    for template in templates:
        if template.maker is None:
            continue
        refused = vet(template, MakerEvidence({}, car.exchanges))
        assert refused is not None
        assert f'{template.unit} = ["B4"]' in str(refused)
        assert f'{template.unit} = ["B4"]' in found.description
        assert vet(template, MakerEvidence({template.unit: (0xB4,)}, car.exchanges)) is None


def test_it_is_told_in_sentences_and_as_json(found: Requests) -> None:
    text = "\n".join(lines(found))
    assert "request: count from 90 | address | command | identifier 2 | mode 05" in text
    assert "3E 00 (UDS and KWP tester present)" in text
    assert "not reading; underdash never sends this" in text
    assert SIMULATED_ONLY in text
    table = json.loads(json.dumps(found.plain()))
    assert table["formats"][0]["format"]["reply"][-1] == "data"
    assert {one["word"] for one in table["shown"]} == set(SHOWN)


def test_it_is_drawn(tarn: tuple[CarDescription, Heard, list[Mark], list[Reading]], found: Requests) -> None:
    picture = draw(tarn[1], found, tarn[2])
    assert picture.width == 1200
    assert len(set(picture.convert("L").tobytes())) > 20


def test_of_the_hybrid_local_identifiers_are_found() -> None:
    car = read_car(PLUGINS / "loris" / "underdash_loris" / "loris.toml")
    battery = next(unit for unit in car.units if unit.name == "battery")
    log = driven(car, [Question(battery, b"\x21\x61", 1.0, 0.5)], 40.0, HybridDesign())
    found = find_requests(heard_from(log))
    (one,) = found.asked
    assert (one.protocol, one.identifier, {len(data) for _, data in one.values}) == ("identifier_21", 0x61, {10})
    assert one.whom.to is not None
    assert one.whom.to.id == battery.request_id


@pytest.mark.parametrize("unit", ADDRESSINGS.values(), ids=ADDRESSINGS.keys())
def test_a_unit_is_described_as_it_is_addressed(unit: ControlUnit) -> None:
    wire = Wire([simulated(unit)], Random(3))
    wire.ask((1.0 + 0.5 * n, single(unit, text)) for n, text in enumerate(["22 21C7", "22 21D0", "21 61"] * 5))
    (one,) = described(find_requests(wire.heard())).units
    assert (one.request_id, one.response_id, one.extended) == (unit.request_id, unit.response_id, unit.extended)
    assert (one.address, one.reply_prefix, one.padding) == (unit.address, unit.reply_prefix, unit.padding)


def test_a_command_that_was_not_asked_ten_times_is_offered_as_a_remark_only() -> None:
    units, rng = units_of(TWO_UNITS), Random(5)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units), 5.5, rng))
    found = find_requests(replace(wire.heard(), sha256=HASH))
    assert found.makers[0].form is not None
    assert "no proof that B4 reads" in found.description
    assert described(found).exchanges == ()
    assert "[reads]" not in found.description


def test_a_command_that_a_standard_uses_for_writing_is_never_offered() -> None:
    made = replace(TWO_UNITS, form=replace(TWO_UNITS.form, command=0x2E))
    units, rng = units_of(made), Random(5)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(made, units), 40.0, rng))
    found = find_requests(replace(wire.heard(), sha256=HASH))
    assert "underdash never sends it" in found.description
    assert described(found).exchanges == ()
    assert described(found).polls == ()


# --- bad input --------------------------------------------------------------------------------------------------------


def bad_traces() -> Iterator[tuple[str, Heard]]:
    units, rng = units_of(TWO_UNITS), Random(6)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units), 40.0, rng))
    log = sorted(wire.log, key=lambda one: one[1].at)
    yield "one frame", heard_from(log[:1])
    yield "only error frames", heard_from([("drive", Frame(0x1, b"\0" * 8, at=1.0, error=True))])
    yield "all stamps the same", heard_from([(bus, replace(frame, at=3.0)) for bus, frame in log])
    yield (
        "lengths that change",
        heard_from([(bus, replace(frame, data=frame.data[: 2 + n % 7])) for n, (bus, frame) in enumerate(log)]),
    )
    shuffled = [frame.data for _, frame in log]
    rng.shuffle(shuffled)
    yield (
        "payloads in no order",
        heard_from([(bus, replace(frame, data=data)) for (bus, frame), data in zip(log, shuffled, strict=True)]),
    )


@pytest.mark.parametrize(("what", "heard"), [*bad_traces()], ids=[name for name, _ in bad_traces()])
def test_of_bad_traces_nothing_is_made_up(what: str, heard: Heard) -> None:
    found = find_requests(heard)
    assert [one for one in found.makers if one.form is not None] == [], what
    assert found.remarks
    assert "[[poll]]" not in found.description


def test_gaps_and_a_clock_that_starts_anew_do_no_harm() -> None:
    units, rng = units_of(TWO_UNITS), Random(8)
    wire = Wire(units, rng)
    wire.ask(in_turn(requests_of(TWO_UNITS, units), 40.0, rng))
    log = sorted(wire.log, key=lambda one: one[1].at)
    late = [(bus, replace(frame, at=frame.at + (3600.0 if frame.at > 20.0 else 0.0))) for bus, frame in log]
    lost = [one for one in late if rng.random() > 0.03]
    (maker,) = find_requests(heard_from(lost)).makers
    assert maker.form is not None
    assert replace(maker.form, name="invented") == TWO_UNITS.form


def test_marks_and_numbers_outside_the_trace_are_refused(
    tarn: tuple[CarDescription, Heard, list[Mark], list[Reading]],
) -> None:
    heard = tarn[1]
    with pytest.raises(GivenError, match="lies outside the trace"):
        find_requests(heard, [Mark(5000.0, "boost only", 5020.0)])
    with pytest.raises(GivenError, match=r"number typed for boost at 1700000000\.0 s lies outside"):
        find_requests(heard, typed={"boost": [Reading(1.7e9, 1.0)] * 5})


def test_it_tells_how_far_it_is(tarn: tuple[CarDescription, Heard, list[Mark], list[Reading]]) -> None:
    told: list[float] = []
    find_requests(tarn[1], progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) > 10
