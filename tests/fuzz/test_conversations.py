from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from underdash.diagnostics.negative import NEGATIVE


def load(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(f"fuzz_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


fuzz = load("asking")
bytes_ = st.integers(0, 255)
codes = st.sampled_from([0x10, 0x11, 0x13, 0x14, 0x21, 0x22, 0x31, 0x33, 0x78, 0x7F]) | bytes_


class Conversations(RuleBasedStateMachine):
    """Units that say anything, at any time; `World` stops on its own when a frame is not explained."""

    world: Any

    @initialize(most=st.sampled_from([1, 2, 6, 12]))
    def begin(self, most: int) -> None:
        self.world = fuzz.World(most)

    @rule(key=st.sampled_from(fuzz.KEYS), data=st.binary(max_size=8))
    def anything_is_heard(self, key: tuple[str, int], data: bytes) -> None:
        self.world.hear(key, data)

    @rule(key=st.sampled_from(fuzz.KEYS), kind=st.integers(1, 3), low=st.integers(0, 15), rest=st.binary(max_size=7))
    def a_part_of_a_message_is_heard(self, key: tuple[str, int], kind: int, low: int, rest: bytes) -> None:
        self.world.hear(key, bytes((kind << 4 | low,)) + rest)

    @precondition(lambda self: self.world.last)
    @rule(
        which=st.integers(0, 7),
        most=st.integers(1, 40),
        wrong=st.integers(0, 40),
        mistake=st.tuples(st.integers(0, 4), bytes_, bytes_),
    )
    def an_answer_with_a_mistake_is_heard(
        self, which: int, most: int, wrong: int, mistake: tuple[int, int, int]
    ) -> None:
        request = self.world.last[which % len(self.world.last)]
        for number, frame in enumerate(self.world.frames(request, self.world.answer(request))[:most]):
            self.world.hear(
                (request.bus, request.polls[0].response_key),
                fuzz.spoilt(frame, *mistake) if number == wrong else frame,
            )

    @precondition(lambda self: self.world.last)
    @rule(which=st.integers(0, 7), code=codes)
    def a_refusal_is_heard(self, which: int, code: int) -> None:
        request = self.world.last[which % len(self.world.last)]
        message = bytes((NEGATIVE, request.speech.service, code))
        for frame in self.world.frames(request, message):
            self.world.hear((request.bus, request.polls[0].response_key), frame)

    @rule(seconds=st.sampled_from(fuzz.PAUSES_S))
    def time_passes(self, seconds: float) -> None:
        self.world.wait(seconds)

    @rule(obeys=st.booleans())
    def the_guard_opens_or_shuts(self, obeys: bool) -> None:
        self.world.obeys = obeys

    @rule(everything=st.booleans())
    def something_else_is_wanted(self, everything: bool) -> None:
        self.world.want(everything)

    @invariant()
    def nothing_grows(self) -> None:
        if hasattr(self, "world"):
            self.world.bounded()

    def teardown(self) -> None:
        self.world.nobody_is_forgotten()
        self.world.usable()


TestConversations = Conversations.TestCase
TestConversations.settings = settings(max_examples=25, stateful_step_count=25, deadline=None)


def test_units_that_behave_are_all_heard_at_once() -> None:
    world = fuzz.World()
    world.usable()
    counts = world.asking.counts
    assert (counts.missed, counts.negative, counts.held) == (0, 0, 0)


@pytest.mark.parametrize("seed", range(6))
def test_a_long_storm_leaves_nothing_behind(seed: int) -> None:
    random = Random(seed)
    world = fuzz.World(random.choice((1, 2, 6, 12)))
    below: Callable[[int], int] = random.randrange
    doing = fuzz.steps(world, below, random.randbytes)
    for _ in range(400):
        next(doing)
    halfway = world.size()
    for _ in range(400):
        next(doing)
    assert world.size() <= halfway + 2 * len(fuzz.UNITS) * fuzz.MESSAGE_BYTES
    world.nobody_is_forgotten()
    world.usable()


def test_the_watch_is_awake_a_second_request_and_one_that_nobody_declared_are_noticed() -> None:
    world = fuzz.World()
    world.turn()
    request = world.last[-1]
    with pytest.raises(AssertionError, match="a second request is open"):
        world._one_at_a_time(request)
    frame = type(request.frame)(0x7E0, bytes.fromhex("0322999900000000"))
    with pytest.raises(AssertionError, match="no declared request says this"):
        world._see("drive", frame)
