"""A maker's format on ids that speak ISO-TP as well."""

from __future__ import annotations

import math
from random import Random

import pytest

from underdash.bus.frames import Frame
from underdash.finding.reading import heard_from
from underdash.finding.requests.search import Requests, find_requests


def searched(share: float, answering: bool = True) -> Requests:
    """Service 22 on 7E0, and a maker's command now and then."""
    rng, at, log = Random(3), 1.0, []
    for n in range(300):
        at += rng.uniform(0.08, 0.13)
        value = int(120 + 100 * math.sin(at / 3 + n % 4))
        request, answer = bytes((3, 0x22, 0x11, n % 4)), bytes((5, 0x62, 0x11, n % 4, value, 7))
        if rng.random() < share:
            request, answer = bytes((0xCA, 0x7A, 0xB2, 0x10 + n % 4)), bytes((0xCB, 0x7A, 0xF2, 0x10 + n % 4, value))
            answer = answer if answering else b""
        log.append(("drive", Frame(0x7E0, request.ljust(8, b"\0"), at=at)))
        if answer:
            log.append(("drive", Frame(0x7E8, answer.ljust(8, b"\0"), at=at + rng.uniform(0.004, 0.02))))
    return find_requests(heard_from(log))


def test_a_few_frames_beside_iso_tp_are_told_with_an_example() -> None:
    found = searched(0.03, answering=False)
    assert sum(one.protocol == "identifier_22" for one in found.asked) == 4
    assert found.remarks[-1].startswith("10 frames of drive 7E0 beside ISO-TP, not understood: ")
    assert "like CA 7A B2 1" in found.remarks[-1]


@pytest.mark.parametrize("share", [0.08, 0.5, 0.9])
def test_a_makers_format_beside_iso_tp_is_found(share: float) -> None:
    found = searched(share)
    assert {0x1100, 0x1101, 0x1102, 0x1103, 0x10, 0x11, 0x12, 0x13} == {one.identifier for one in found.asked}
    assert sum(one.times for one in found.asked) == 300
    assert "[request_format.maker_b2]" in found.description
    assert 'request_format = "maker_22"' not in found.description, "only what standards leave to makers is one"
