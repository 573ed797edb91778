"""Other people's testers: every request and answer paired, as an independent reader of the standards pairs them.

Held out: suv_highway, truck_idle, hatch_c_heater and hatch_b_start_button were never looked at while the search was
made. hatch_a_power_cycle was, once: pairs of its frames that only look alike led to the rules that refuse them.
"""

from __future__ import annotations

import logging
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.trace import read_trace
from underdash.finding.reading import read_heard
from underdash.finding.requests.asked import Exchange
from underdash.finding.requests.search import Requests, find_requests

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"
SCAN, TWO_ECUS, MULTIFRAME = "hatch_b_diagnostic_scan", "hatch_b_diagnostic_scan_two_ecus", "uds_multiframe"
SCANS = (SCAN, TWO_ECUS, MULTIFRAME)
NOBODY = ("hatch_a_power_cycle", "suv_highway", "truck_idle", "hatch_c_heater", "hatch_b_start_button")
DRIVE = "obd_drive"

pytestmark = pytest.mark.skipif(
    not all((RECORDINGS / f"{name}.log.gz").exists() for name in (*SCANS, *NOBODY, DRIVE)),
    reason=f"the recordings are not beside the project ({RECORDINGS})",
)

LATEST_S, PENDING_S = 1.0, 5.5
TO_ALL = 0x7DF
NEGATIVE, PENDING = 0x7F, 0x78

Said = tuple[float, int, bytes]
"""When a message was complete, on which id, and its bytes."""


def found_in(name: str) -> Requests:
    return find_requests(read_heard(RECORDINGS / f"{name}.log.gz"))


@pytest.fixture(scope="module")
def found() -> dict[str, Requests]:
    return {name: found_in(name) for name in SCANS}


# --- the independent reader: scapy puts the messages together and says which answers which ---------------------------


@pytest.fixture(scope="module")
def scapy() -> Any:
    """Importing it warns and logs about the machine it is on."""
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.config import conf
        from scapy.contrib import isotp
        from scapy.contrib.automotive.kwp import KWP
        from scapy.contrib.automotive.obd.obd import OBD
        from scapy.contrib.automotive.uds import UDS
        from scapy.layers.can import CAN

    for name in ("UDS", "KWP"):
        conf.contribs[name]["treat-response-pending-as-answer"] = True

    class Scapy:
        builder, can, layers = isotp.ISOTPMessageBuilder, CAN, (UDS, KWP, OBD)

    return Scapy


def messages(name: str, scapy: Any) -> list[Said]:
    """All messages of a recording, as scapy reads them, with the time of their last frame.

    Where a frame is missing scapy goes on with a later answer's; such messages are those whose frames come from two.
    """
    builders: dict[int, Any] = {}
    out: list[Said] = []
    for _, frame in read_trace(RECORDINGS / f"{name}.log.gz"):
        builder = builders.setdefault(frame.key, scapy.builder(use_ext_address=False))
        builder.feed(scapy.can(identifier=frame.key, data=frame.data))
        while builder.count:
            out.append((frame.at, frame.key, bytes(builder.pop().data)))
    return out


def answer_fits(scapy: Any, answer: bytes, request: bytes) -> bool:
    """Whether any of the standards, as scapy has them, takes this for an answer to that."""
    for layer in scapy.layers:
        try:
            if layer(answer).answers(layer(request)):
                return True
        except Exception:
            continue
    return False


def paired_by_scapy(said: list[Said], scapy: Any) -> dict[tuple[float, int], tuple[int, bytes]]:
    """Return for each answer (when, id) the request it belongs to (id, bytes).

    Ids: the answer's less eight, or the one that speaks to all. Of several the last that fits, or the one on which
    the unit said that it is still working.
    """
    found: dict[tuple[float, int], tuple[int, bytes]] = {}
    open_: dict[int, list[tuple[float, bytes]]] = {}
    waiting: dict[int, tuple[float, tuple[int, bytes]]] = {}
    for at, key, data in said:
        if not data[0] & 0x40:
            open_.setdefault(key, []).append((at, data))
            continue
        until, request = waiting.pop(key, (0.0, (0, b"")))
        if at > until or not answer_fits(scapy, data, request[1]):
            fitting = [
                (when, (to, asked))
                for to in (key - 8, TO_ALL)
                for when, asked in open_.get(to, [])
                if 0.0 <= at - when <= LATEST_S and answer_fits(scapy, data, asked)
            ]
            if not fitting:
                continue
            request = max(fitting)[1]
        found[at, key] = request
        if data[0] == NEGATIVE and data[2] == PENDING:
            waiting[key] = (at + PENDING_S, request)
    return found


def by_us(found: Requests) -> Iterator[tuple[tuple[float, int], tuple[int, bytes], Exchange]]:
    for one in found.dialogue.exchanges:
        if one.answer is not None and one.request is not None:
            assert one.by is not None
            assert one.to is not None
            yield (one.answer.end, one.by.id), (one.to.id, one.request.data), one


@pytest.mark.parametrize("name", SCANS)
def test_every_answer_belongs_to_the_request_that_scapy_gives_it(
    name: str, found: dict[str, Requests], scapy: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    theirs = paired_by_scapy(messages(name, scapy), scapy)
    ours = {key: request for key, request, _ in by_us(found[name])}
    in_time = {key: request for key, request in theirs.items() if key in ours}
    different = {key: (ours[key], request) for key, request in in_time.items() if ours[key] != request}
    with capsys.disabled():
        print(f"\n{name}: {len(ours)} answers paired, {len(in_time)} by scapy too, {len(different)} of them otherwise")
    assert different == {}
    assert len(in_time) == len(ours)
    # what only scapy pairs: words on the way to an answer, and what it puts together of two broken ones
    more = {key: data for key, data in answers_of(name, scapy).items() if key in set(theirs) - set(ours)}
    assert all(data[0] == NEGATIVE and data[2] == PENDING for (_, key), data in more.items() if key != 0x7BB)


def answers_of(name: str, scapy: Any) -> dict[tuple[float, int], bytes]:
    return {(at, key): data for at, key, data in messages(name, scapy) if data[0] & 0x40}


def plain_pairs(name: str) -> tuple[int, int]:
    """The simple baseline: of single frames alone, an answer belongs to whichever request was last on the bus."""
    last: bytes = b""
    right = answers = 0
    for _, frame in read_trace(RECORDINGS / f"{name}.log.gz"):
        if frame.data[0] >> 4 or not 0 < frame.data[0] < 8:
            continue
        data = frame.data[1 : 1 + frame.data[0]]
        if not data[0] & 0x40:
            last = data
            continue
        answers += 1
        right += bool(last) and (data[1] if data[0] == NEGATIVE else data[0] & ~0x40) == last[0]
    return right, answers


def test_the_score_of_pairing(found: dict[str, Requests], capsys: pytest.CaptureFixture[str]) -> None:
    rows = []
    for name in SCANS:
        exchanges = found[name].dialogue.exchanges
        whole = [one for one in exchanges if one.answer is not None]
        pending = sum(one.pending for one in exchanges)
        right, answers = plain_pairs(name)
        rows.append(
            f"{name}: {len(whole) + pending} of {len(whole) + pending} answers paired; by the last request on the bus "
            f"{right} of the {answers} in one frame"
        )
        assert all(one.request is not None for one in whole)
    with capsys.disabled():
        print("\n" + "\n".join(rows))


def test_refusals_and_pending_are_as_many_as_is_written_with_the_recording(found: dict[str, Requests]) -> None:
    exchanges = found[SCAN].dialogue.exchanges
    pending = sum(one.pending for one in exchanges)
    assert pending == 14
    assert sum(one.refused is not None for one in exchanges) + pending == 113
    broken = sorted(str(one.by) for one in exchanges if one.broken is not None)
    assert broken == ["778", "7CC"]


def test_long_answers_and_broken_ones_are_as_many_as_is_written_with_the_recording(found: dict[str, Requests]) -> None:
    exchanges = found[MULTIFRAME].dialogue.exchanges
    assert len(exchanges) == 123
    assert sum(one.answer is not None and one.answer.frames > 1 for one in exchanges) == 100
    faults = Counter(one.broken.broken.fault.value for one in exchanges if one.broken and one.broken.broken)
    assert faults == {"sequence": 14}
    # of nine the first frame was not recorded; the tester told the unit to go on all the same
    assert sum(one.answer is None and one.broken is None for one in exchanges) == 9


def test_what_does_not_read_is_named_and_never_offered(found: dict[str, Requests]) -> None:
    for name in (SCAN, TWO_ECUS):
        never = {one.service for one in found[name].asked if not one.reads}
        assert never == {0x10, 0x20}
        assert 'protocol = "' in found[name].description
        assert "10 03" not in found[name].description


def test_of_the_drive_answers_without_requests_are_told() -> None:
    found = found_in(DRIVE)
    told = "4610 answers without requests: those were not recorded, or sent on a bus that was not"
    assert found.remarks[0] == told
    times = {one.identifier: len(one.values) for one in found.asked}
    assert times[0x0B] == 762
    assert sum(times.values()) == 4610


@pytest.mark.parametrize("name", NOBODY)
def test_where_nobody_asks_nobody_is_found(name: str) -> None:
    found = found_in(name)
    assert not found.anything
    assert found.description == ""
    assert "nobody asks anything here" in found.remarks[0]
