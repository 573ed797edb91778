from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from underdash.finding.requests.asked import FIRST_S, Line, answers
from underdash.finding.requests.messages import Message
from underdash.finding.requests.senders import Sender

TO = Sender("drive", 0x7E0)
LETTERS = st.sampled_from([0x01, 0x02, 0x10, 0x22, 0x90, 0x83])
REQUESTS = st.builds(bytes, st.lists(LETTERS, min_size=1, max_size=5))
ANSWERS = st.builds(
    bytes, st.lists(st.sampled_from([0x01, 0x02, 0x10, 0x41, 0x50, 0x62, 0x7F]), min_size=1, max_size=4)
)


def message(at: float, data: bytes) -> Message:
    return Message(at, at, data)


@given(st.lists(REQUESTS, max_size=12), ANSWERS, st.integers(0, 30))
def test_looking_up_finds_what_going_through_all_requests_would(asked: list[bytes], said: bytes, tenths: int) -> None:
    requests = [message(0.25 * n, data) for n, data in enumerate(asked)]
    answer = message(0.1 * tenths, said)
    plainly = [one for one in reversed(requests) if 0.0 <= answer.at - one.end <= FIRST_S and answers(said, one.data)]
    assert list(Line(TO, requests).fitting(answer)) == plainly


def test_an_answer_repeats_what_its_service_says() -> None:
    def fit(answer: str, request: str) -> bool:
        return answers(bytes.fromhex(answer), bytes.fromhex(request))

    assert fit("62F190 01", "22F190")
    assert fit("62F191 01", "22F190F191")
    assert not fit("62F192 01", "22F190F191")
    assert fit("410D 33", "010C0D")
    assert fit("5003", "1083")
    assert not fit("5002", "1083")
    assert fit("7F2231", "22F190")
    assert not fit("7F2131", "22F190")
    assert fit("7E", "3E")


def test_a_request_that_has_its_answer_is_passed_over() -> None:
    requests = [message(0.0, b"\x21\x01"), message(0.5, b"\x21\x01")]
    line, answer = Line(TO, requests), message(0.6, b"\x61\x01")
    assert line.open_for(answer, ()) is requests[1]
    assert line.open_for(answer, {(TO, 0.5)}) is requests[0]
    assert line.open_for(answer, {(TO, 0.5), (TO, 0.0)}) is None
