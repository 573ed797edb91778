"""What is looked at in a thread of its own."""

from __future__ import annotations

import threading

from underdash.service.looking import Looking


def test_it_hands_over_what_it_sees_until_it_is_stopped() -> None:
    seen: list[int] = []
    enough = threading.Event()

    def take(count: int) -> None:
        seen.append(count)
        if len(seen) == 3:
            enough.set()

    looking = Looking(lambda: len(seen), 0.0, take)
    looking.start()
    assert enough.wait(20.0)
    looking.stop()
    assert seen[:3] == [0, 1, 2]
    assert not any(thread.name == "machine" for thread in threading.enumerate())


def test_a_look_that_fails_is_told_once_and_the_next_one_counts() -> None:
    answers: list[object] = [OSError("gone"), OSError("gone"), 5]
    seen: list[object] = []

    def look() -> object:
        answer = answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    looking = Looking(look, 1.0, seen.append)
    for _ in range(3):
        looking.once()
    looking.stop()
    assert seen == [5]
