from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.contract.requests import Answer
from underdash.diagnostics.identified import begins, read, request
from underdash.diagnostics.isotp import Dropped

SIZES = {0x1234: 2, 0x1235: 1, 0x1236: 3}


def test_several_identifiers_are_asked_for_in_one_message() -> None:
    assert request(0x22, (0x1234, 0xF190), 2) == bytes.fromhex("221234F190")


def test_what_a_unit_leaves_out_is_missing_and_the_rest_is_read() -> None:
    found = read(bytes.fromhex("62 1234 AABB 1236 010203"), 0x22, 2, SIZES, (0x1234, 0x1235, 0x1236))
    assert found == (Answer(0x1234, b"\xaa\xbb"), Answer(0x1236, b"\x01\x02\x03"))


def test_lengths_that_do_not_fit_are_dropped_and_never_guessed() -> None:
    found = read(bytes.fromhex("62 1234 AABBCC 1235 01"), 0x22, 2, SIZES, (0x1234, 0x1235))
    assert isinstance(found, Dropped)


def test_one_that_was_asked_for_alone_has_all_that_follows() -> None:
    found = read(bytes.fromhex("62 1234 AABB 1235 01"), 0x22, 2, SIZES, (0x1234,))
    assert found == (Answer(0x1234, bytes.fromhex("AABB123501")),)


def test_another_testers_answer_to_several_is_cut_where_all_lengths_are_known() -> None:
    found = read(bytes.fromhex("62 1234 AABB 1235 01"), 0x22, 2, SIZES)
    assert found == (Answer(0x1234, b"\xaa\xbb"), Answer(0x1235, b"\x01"))


@given(st.lists(st.sampled_from(sorted(SIZES)), unique=True, min_size=2))
def test_every_answer_that_keeps_the_lengths_comes_out_as_it_went_in(asked: list[int]) -> None:
    answers = tuple(Answer(one, bytes(range(SIZES[one]))) for one in asked)
    message = b"\x62" + b"".join(one.to_bytes(2) + bytes(range(SIZES[one])) for one in asked)
    assert read(message, 0x22, 2, SIZES, tuple(asked)) == answers


@given(st.binary(max_size=40), st.lists(st.integers(0, 0xFFFF), max_size=4))
def test_no_message_breaks_it(message: bytes, asked: list[int]) -> None:
    read(message, 0x22, 2, SIZES, tuple(asked))
    read(b"\x62" + message, 0x22, 2, SIZES, tuple(asked))


@pytest.mark.parametrize(
    ("start", "ours"),
    [("62F190414243", True), ("62F1", True), ("62", True), ("", False), ("62F191414243", False), ("61F190", False)],
)
def test_whose_answer_begins_shows_in_as_many_bytes_as_there_are(start: str, ours: bool) -> None:
    assert begins(bytes.fromhex(start), 0x22, 2, 0xF190) is ours
