"""Several buttons marked in one recording: those that share a field, and those that do not."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from underdash.bus.frames import Frame
from underdash.contract.errors import GivenError
from underdash.contract.layout import Bits
from underdash.contract.signals import Kind, Signal
from underdash.finding.describing import described
from underdash.finding.found import Answer, meaning_text
from underdash.finding.marks import Mark
from underdash.finding.pressed.search import pressed
from underdash.finding.reading import heard_from

from .buttons import BEGIN, late, times, traffic

FIVE = times(5)
AT = {"menu": FIVE, "up": [at + 1.1 for at in FIVE], "down": [at + 2.2 for at in FIVE]}
WORDS = tuple(AT)


def answers(read: Callable[[str, int], int], words: tuple[str, ...] = WORDS) -> Mapping[str, Answer]:
    """Ask about some words, where a byte reads so while one is held, "" for none, in its n-th frame."""
    frames = []
    for n in range(1200):
        at = BEGIN + 0.05 * n
        word = next((one for one, some in AT.items() if any(press <= at < press + 0.4 for press in some)), "")
        frames.append(Frame(0x511, bytes([0x55, read(word, n)]), at=at + 0.001))
    log = [*traffic([]), *(("comfort", frame) for frame in frames)]
    heard = heard_from(sorted(log, key=lambda pair: pair[1].at))
    marks = {word: [Mark(one.begin, word) for one in late(AT[word])] for word in words}
    return {answer.question: answer for answer in pressed(heard, marks)}


def noisy(level: Mapping[str, int]) -> Callable[[str, int], int]:
    random = np.random.default_rng(1)
    return lambda word, _: level[word] + int(random.integers(-2, 3) if word else random.integers(-1, 2))


def test_a_ladder_with_noise_is_one_field_of_three_buttons() -> None:
    found = answers(noisy({"": 249, "menu": 18, "up": 57, "down": 101}))
    said = {"menu": "16 to 20 menu", "up": "55 to 59 up", "down": "99 to 103 down"}
    for word, answer in found.items():
        assert answer.best is not None
        assert answer.best.where.bits == Bits(1, 8)
        assert answer.best.confidence > 0.9
        text = meaning_text(answer.best.meaning)
        assert text.startswith(f"248 to 250 released, {said[word]}, ")
        assert all(one in text for one in said.values())
        assert answer.best.because[-1].startswith("one field of several buttons, each with numbers of its own: ")


def test_a_button_on_a_ladder_is_on_in_its_own_range_only() -> None:
    best = answers(noisy({"": 249, "menu": 18, "up": 57, "down": 101}))["up"].best
    assert best is not None
    field = described(best, Signal("button.up", "", "up", Kind.SWITCH))
    values = dict(field.values)
    assert [raw for raw, on in values.items() if on] == [*range(51, 64)], "and as far beside as the noise is wide"
    assert [raw for raw, on in values.items() if not on] == [*range(12, 25), *range(95, 108), *range(244, 255)]
    with pytest.raises(GivenError, match="name the marks so"):
        described(best, Signal("car.gear", "", "gear", Kind.CHOICE, choices=("one", "two")))


def test_a_code_whose_bits_several_share_is_one_field() -> None:
    code = {"": 0, "menu": 1, "up": 3, "down": 2}
    for word, answer in answers(lambda word, _: code[word] << 4).items():
        assert answer.best is not None
        assert answer.best.where.bits == Bits(1, 2, 5)
        assert answer.best.meaning == {0: "released"} | {raw: one for one, raw in code.items() if one}
        assert answer.best.word == word


def test_a_still_bit_between_those_of_a_code_does_no_harm() -> None:
    code = {"": 0, "menu": 5, "up": 1, "down": 0}
    for answer in answers(lambda word, _: code[word] << 4, ("menu", "up")).values():
        assert answer.best is not None
        assert answer.best.where.bits == Bits(1, 3, 6)
        assert answer.best.meaning == {0: "released", 1: "up", 5: "menu"}


def test_a_bit_for_each_button_stays_a_bit() -> None:
    bit = {"": 0, "menu": 1, "up": 2, "down": 4}
    for word, answer in answers(lambda word, _: bit[word]).items():
        assert answer.best is not None
        assert answer.best.where.bits == Bits(1, 1, bit[word].bit_length() - 1)
        assert answer.best.meaning == {0: "released", 1: word}


def test_two_words_for_one_button_are_told_to_read_alike() -> None:
    found = answers(lambda word, _: int(word in ("menu", "up")), ("menu", "up"))
    for word, other in (("menu", "up"), ("up", "menu")):
        assert found[word].ranks[0][0].where.bits == Bits(1, 1, 0)
        assert found[word].remarks[0].startswith(f"the first reads '{word}' and '{other}' alike: one button pressed in")


def test_what_moves_with_another_word_too_is_not_taken_for_one_of_them() -> None:
    reads = {"": 0, "menu": 0x81, "up": 0x80, "down": 0}
    best = answers(lambda word, _: reads[word], ("menu", "up"))["menu"].best
    assert best is not None
    assert best.meaning == {0: "released", 0x80: "up", 0x81: "menu"}


def test_marks_of_one_button_with_two_words_do_not_cancel_each_other() -> None:
    random = np.random.default_rng(2)
    presses = np.sort(BEGIN + 5.0 + np.cumsum(random.uniform(0.8, 1.6, 30)))
    frames = [Frame(0x511, bytes([bool(((at >= presses) & (at < presses + 0.3)).any())]), at=at)
              for at in BEGIN + 0.05 * np.arange(1200)]  # fmt: skip
    log = [*traffic([]), *(("comfort", frame) for frame in frames)]
    heard = heard_from(sorted(log, key=lambda pair: pair[1].at))
    marks = {word: [Mark(at + 0.2, word) for at in presses[first::2]] for first, word in enumerate(("short", "long"))}
    assert pressed(heard, {"short": marks["short"][:3]})[0].ranks == ()
    few = {"short": marks["short"][:3], "long": marks["long"]}
    for answer in pressed(heard, few):
        assert answer.ranks[0][0].where.bits == Bits(0, 1, 0), answer.question
        assert any("alike" in one for one in answer.remarks)


def test_only_the_words_that_are_wanted_are_answered_and_the_others_count() -> None:
    heard = heard_from(traffic([]))
    marks = {"menu": late(FIVE), "up": late(AT["up"])}
    assert [one.question for one in pressed(heard, marks, ["up"])] == ["up"]
