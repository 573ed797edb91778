from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash_serial_panel.framing import Deframer, Frame, on_wire
from underdash_serial_panel.messages import Can, Kind, hello, read_greeting
from underdash_serial_panel.reference import Controller
from underdash_serial_panel.session import HELLO_S, HELLOS, PATIENCE_S, TRIES, Session, Trouble

SIZE = (8, 8)


def frames(data: bytes) -> list[Frame]:
    return Deframer().feed(data)


def begun(window: int = 3, baud: int = 115200) -> Session:
    """A session that a controller has answered, at 0 s."""
    session = Session(7, Can.PIXELS, SIZE, baud=baud, now=0.0)
    assert frames(session.to_write(0.0)) == [Frame(Kind.HELLO, 0, hello(7, Can.PIXELS))]
    session.feed(greeting(window=window), 0.0)
    assert session.open
    return session


def greeting(
    *,
    version: int = 1,
    session: int = 7,
    size: tuple[int, int] = SIZE,
    can: int = 3,
    window: int = 3,
    more: bytes = b"",
) -> bytes:
    sides = size[0].to_bytes(2, "big") + size[1].to_bytes(2, "big")
    return on_wire(Frame(Kind.GREETING, 0, bytes((version, session)) + sides + bytes((can, window)) + more))


def acknowledge(following: int, again: int = 0) -> bytes:
    return on_wire(Frame(Kind.ACKNOWLEDGE, 0, bytes((following, again))))


def numbers(data: bytes) -> list[int]:
    return [frame.number for frame in frames(data)]


def filled(session: Session) -> Session:
    while session.room:
        session.put(Kind.PING)
    return session


def test_no_more_frames_are_on_the_way_than_the_controller_can_take() -> None:
    session = filled(begun(window=3))
    assert numbers(session.to_write(0.0)) == [0, 1, 2]
    assert not session.room
    session.feed(acknowledge(1), 0.01)
    session.put(Kind.PING)
    assert not session.room
    assert numbers(session.to_write(0.01)) == [3]


@settings(deadline=None)
@given(st.integers(1, 16), st.lists(st.integers(1, 16), min_size=40, max_size=60))
def test_numbers_begin_again_after_255_and_the_window_holds(window: int, taken: list[int]) -> None:
    session, following, on_way = begun(window=window), 0, 0
    for step in taken * 3:
        on_way += len(numbers(filled(session).to_write(0.0)))
        assert on_way <= window
        done = min(step, on_way)
        following, on_way = (following + done) % 256, on_way - done
        session.feed(acknowledge(following), 0.0)
    assert session.trouble is None


def test_what_is_wanted_again_is_sent_again_from_there() -> None:
    session = filled(begun())
    session.to_write(0.0)
    session.feed(acknowledge(1, again=1), 0.01)
    assert numbers(session.to_write(0.01)) == [1, 2]
    assert session.again == 2


def test_what_is_not_acknowledged_in_time_is_sent_again_and_then_given_up() -> None:
    session = filled(begun())
    session.to_write(0.0)
    now = 0.0
    for _ in range(TRIES - 1):
        assert session.to_write(session.due - 0.001) == b""
        now = session.due
        assert numbers(session.to_write(now)) == [0, 1, 2]
        assert session.trouble is None
    assert session.to_write(session.due) == b""
    assert session.trouble is Trouble.STUCK


def test_a_controller_that_wants_the_same_frame_again_for_ever_is_given_up() -> None:
    session = filled(begun())
    for _ in range(TRIES):
        session.to_write(0.0)
        session.feed(acknowledge(0, again=1), 0.0)
    assert session.trouble is Trouble.STUCK


def test_patience_grows_with_what_the_line_needs_for_the_frames() -> None:
    slow, fast = (begun(baud=baud) for baud in (9600, 4_000_000))
    for session in (slow, fast):
        while session.room:
            session.put(Kind.MORE, bytes(250))
        session.to_write(0.0)
    assert fast.due == pytest.approx(PATIENCE_S, abs=0.01)
    assert slow.due == pytest.approx(PATIENCE_S + 3 * 256 * 10 / 9600, abs=0.01)


def test_an_acknowledgement_that_comes_after_the_frames_were_begun_again_still_counts() -> None:
    session = filled(begun())
    session.to_write(0.0)
    session.feed(acknowledge(0, again=1), 0.0)
    session.feed(acknowledge(3), 0.0)
    assert session.idle
    assert session.to_write(0.0) == b""


def test_an_acknowledgement_of_what_was_never_sent_is_left_out() -> None:
    session = filled(begun())
    session.to_write(0.0)
    session.feed(acknowledge(4), 0.0)
    session.feed(acknowledge(200), 0.0)
    assert not session.idle
    session.feed(acknowledge(3), 0.0)
    assert session.idle


def test_a_greeting_is_asked_for_with_another_number_each_time_and_then_given_up() -> None:
    session = Session(254, Can.PIXELS, SIZE, baud=115200, now=0.0)
    asked = [frames(session.to_write(i * HELLO_S))[0].payload[1] for i in range(HELLOS)]
    assert asked == [254, 255, 1, 2, 3, 4, 5]
    session.feed(greeting(session=254), 3.0)
    assert not session.open, "the controller has left that session for a later one"
    assert session.to_write(HELLOS * HELLO_S) == b""
    assert session.trouble is Trouble.SILENT


def test_garbage_instead_of_a_greeting_is_told_from_silence() -> None:
    session = Session(7, Can.PIXELS, SIZE, baud=115200, now=0.0)
    for i in range(HELLOS + 1):
        session.to_write(i * HELLO_S)
        session.feed(b"\x12\x99\x00", i * HELLO_S)
    assert session.trouble is Trouble.GARBLED


def test_a_controller_that_has_just_started_is_greeted_at_once() -> None:
    session = Session(7, Can.PIXELS, SIZE, baud=115200, now=0.0)
    session.to_write(0.0)
    session.feed(greeting(session=0), 0.1)
    assert session.due == 0.1
    assert frames(session.to_write(0.1))[0].payload == hello(8, Can.PIXELS)


def test_a_controller_that_started_anew_ends_the_session() -> None:
    session = begun()
    session.feed(greeting(session=7), 1.0)
    assert session.open
    session.feed(greeting(session=0), 1.0)
    assert session.trouble is Trouble.ANEW
    assert not session.room


@pytest.mark.parametrize(
    ("told", "fits"),
    [
        ({}, True),
        ({"more": b"later versions may append"}, True),
        ({"can": 1}, True),
        ({"version": 2}, False),
        ({"can": 2}, False),
        ({"size": (8, 9)}, False),
    ],
)
def test_a_controller_that_does_not_fit_is_refused(told: dict[str, int], fits: bool) -> None:
    session = Session(7, Can.PIXELS, SIZE, baud=115200, now=0.0)
    session.to_write(0.0)
    session.feed(greeting(**told), 0.0)  # type: ignore[arg-type]
    assert session.trouble is (None if fits else Trouble.REFUSED)


def test_the_reference_greets_as_it_is_read() -> None:
    (frame,) = frames(Controller(320, 170, can=2, window=5).start())
    said = read_greeting(frame.payload)
    assert said is not None
    assert (said.version, said.session, said.size, said.can, said.window) == (1, 0, (320, 170), Can.VALUES, 5)


@pytest.mark.parametrize(("said", "taken"), [(0, 1), (1, 1), (16, 16), (255, 16)])
def test_a_window_that_makes_no_sense_is_taken_as_the_nearest_that_does(said: int, taken: int) -> None:
    session = filled(begun(window=said))
    assert len(numbers(session.to_write(0.0))) == taken


@settings(deadline=None)
@given(st.lists(st.binary(max_size=60), max_size=20))
def test_no_bytes_upset_a_session(garbage: list[bytes]) -> None:
    session = filled(begun())
    session.to_write(0.0)
    for data in garbage:
        session.feed(data, 0.1)
        session.to_write(0.1)
    session.feed(b"\0" + acknowledge(3), 0.2)
    assert session.idle or session.trouble is not None
