from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.bus.controller import Controller
from underdash.bus.proof import ANSWER_S, CLEAN_S, FRAMES, Proof

LISTENS = Controller("can0", 7, "can", up=True, bitrate=500_000, listen_only=True)
TAKES_PART = replace(LISTENS, listen_only=False)
ONE_SHOT = replace(TAKES_PART, one_shot=True)


def opened(setup: Controller | None = LISTENS, *, asked_only: bool = False) -> Proof:
    proof = Proof(asked_only)
    proof.opened(setup, 0.0)
    return proof


def heard(setup: Controller | None = LISTENS) -> Proof:
    proof = opened(setup)
    proof.good(FRAMES, 0)
    assert proof.proven(CLEAN_S)
    return proof


def test_many_good_frames_and_a_second_without_errors_are_proof() -> None:
    proof = opened()
    proof.good(FRAMES - 1, 0)
    assert not proof.proven(5.0)
    proof.good(1, 0)
    assert proof.proven(5.0)
    assert not proof.proven(CLEAN_S - 0.01)


def test_an_error_takes_the_proof_away_until_as_much_is_heard_again() -> None:
    proof = heard()
    proof.bad(10.0)
    assert not proof.proven(20.0)
    assert not proof.never(20.0)
    proof.good(FRAMES, 0)
    assert proof.proven(11.0)


def test_an_interface_that_we_have_switched_over_keeps_its_proof() -> None:
    proof = heard()
    proof.carry(2.0)
    assert proof.switching(2.5)
    proof.opened(TAKES_PART, 2.5)
    assert proof.proven(2.5)
    assert not proof.switching(2.6)


@pytest.mark.parametrize(
    ("setup", "at"),
    [
        (replace(TAKES_PART, index=8), 2.5),
        (replace(TAKES_PART, bitrate=250_000), 2.5),
        (TAKES_PART, 60.0),
        (None, 2.5),
    ],
    ids=["another adapter", "another rate", "long after", "nothing known"],
)
def test_what_comes_back_as_another_has_to_be_proven_anew(setup: Controller | None, at: float) -> None:
    proof = heard()
    proof.carry(2.0)
    proof.opened(setup, at)
    assert not proof.proven(at + 5.0)


def test_what_was_not_proven_is_not_proven_by_switching() -> None:
    proof = opened()
    proof.carry(2.0)
    proof.opened(TAKES_PART, 2.5)
    assert not proof.proven(9.0)


def test_one_request_may_prove_a_bus_that_is_silent_until_asked() -> None:
    proof = opened(ONE_SHOT, asked_only=True)
    assert proof.trial(1.0)
    proof.sent(1.0)
    assert not proof.trial(1.01)
    proof.good(1, own=1)
    assert not proof.proven(1.02)
    proof.good(1, own=0)
    assert proof.proven(1.03)


def test_a_request_that_nobody_answers_closes_the_bus_until_it_is_opened_anew() -> None:
    proof = opened(ONE_SHOT, asked_only=True)
    proof.sent(1.0)
    assert not proof.unanswered(1.0 + ANSWER_S)
    assert proof.unanswered(1.1 + ANSWER_S)
    assert not proof.trial(1000.0)
    proof.opened(ONE_SHOT, 1001.0)
    assert proof.trial(1002.0)


@pytest.mark.parametrize("setup", [LISTENS, TAKES_PART, replace(ONE_SHOT, listen_only=True), None])
def test_nothing_is_asked_without_one_shot(setup: Controller | None) -> None:
    assert not opened(setup, asked_only=True).trial(1.0)


def test_a_bus_that_talks_by_itself_is_not_asked() -> None:
    assert not opened(ONE_SHOT).trial(1.0)


def test_a_single_error_leaves_the_proof_of_a_bus_that_was_asked() -> None:
    proof = opened(ONE_SHOT, asked_only=True)
    proof.sent(1.0)
    proof.good(2, own=1)
    proof.bad(2.0)
    proof.bad(2.1)
    assert proof.proven(2.2)
    proof.good(1, own=0)
    for at in (3.0, 3.1, 3.2):
        proof.bad(at)
    assert not proof.proven(3.3)
