from __future__ import annotations

from random import Random

from underdash.bus.frames import Frame
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
from underdash.finding.requests.beginnings import beginnings, two_sided
from underdash.finding.requests.senders import Sender

Said = tuple[float, int, str]


def heard(*said: Said) -> Heard:
    return heard_from([("drive", Frame(can_id, bytes.fromhex(data), at=at)) for at, can_id, data in sorted(said)])


def by_themselves(how_many: int) -> list[Said]:
    """Ids that read as ISO-TP by chance: some ask, some answer, each about a service of its own."""
    rng = Random(2)
    heads = [f"04{0x11 + 2 * n if n % 2 else 0x51 + 2 * n:02X}" for n in range(how_many)]
    return [
        (0.01 * k + 0.0001 * n, 0x100 + 3 * n, f"{head}{rng.randbytes(3).hex()}000000")
        for n, head in enumerate(heads)
        for k in range(50)
    ]


def asked(to: int, by: int) -> list[Said]:
    return [
        one
        for n in range(20)
        for one in ((0.2 * n, to, f"0322F1{n:02X}00000000"), (0.2 * n + 0.02, by, f"0462F1{n:02X}07000000"))
    ]


def left(trace: Heard) -> list[Sender]:
    return [one.sender for one in two_sided(list(beginnings(trace)))]


def test_ids_that_only_look_like_it_have_nobody_who_speaks_of_the_same() -> None:
    trace = heard(*by_themselves(16))
    assert len(list(beginnings(trace))) == 16
    assert left(trace) == []


def test_of_many_ids_those_are_left_that_can_be_each_others_other_side() -> None:
    trace = heard(*by_themselves(16), *asked(0x612, 0x633))
    assert left(trace) == [Sender("drive", 0x612), Sender("drive", 0x633)]


def test_services_are_counted_and_a_refusal_is_about_the_one_it_refuses() -> None:
    (one,) = beginnings(heard((0.0, 0x633, "037F223100000000"), (0.1, 0x633, "0462F19007000000")))
    assert (int(one.answered[0x22]), int(one.answered.sum()), int(one.asked.sum())) == (2, 2, 0)


def test_most_of_what_a_unit_says_has_to_be_about_what_is_asked_unless_a_standard_names_it() -> None:
    chatter = [(0.05 * n, 0x633, "046E010203000000") for n in range(20)]
    assert left(heard(*asked(0x612, 0x633), *chatter)) == []
    beside = [(at, 0x7E8, data) for at, _, data in chatter]
    assert left(heard(*asked(0x7E0, 0x7E8), *beside)) == [Sender("drive", 0x7E0), Sender("drive", 0x7E8)]


def test_who_asks_nothing_else_than_others_is_left_too() -> None:
    assert Sender("drive", 0x740) in left(heard(*asked(0x7E0, 0x7E8), (9.0, 0x740, "0322F19000000000")))


def test_ids_of_a_standard_are_left_with_no_other_side() -> None:
    assert left(heard((0.0, 0x7E8, "03410D0000000000"))) == [Sender("drive", 0x7E8)]


def test_frames_too_short_for_anything_begin_nothing() -> None:
    assert list(beginnings(heard((0.0, 0x100, ""), (0.1, 0x101, "02")))) == []
