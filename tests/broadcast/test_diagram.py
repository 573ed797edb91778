from __future__ import annotations

from underdash.broadcast.diagram import bits_of, diagram
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Counter, Field, Select


def test_bits_are_numbered_as_a_frame_has_them() -> None:
    assert bits_of(Bits(0, 12, 7)) == {7, 6, 5, 4, 3, 2, 1, 0, 15, 14, 13, 12}
    assert bits_of(Bits(0, 12, 0, ByteOrder.LITTLE)) == set(range(12))
    assert bits_of(Bits(2, 1, 3)) == {19}


def test_each_part_has_its_letter_and_shared_bits_a_star() -> None:
    fields = (
        Field("a.a", Bits(0, 12, 7)),
        Field("a.b", Bits(1, 4, 0, ByteOrder.LITTLE), select=Select(Bits(2, 2, 1), (1,))),
        Field("a.c", Bits(1, 2, 4, ByteOrder.LITTLE)),
    )
    frame = BroadcastListener("drive", 1, fields, counter=Counter(Bits(3, 4, 3)), checksum=Checksum("sum8", 4))
    made = diagram([frame], 6)
    assert made.rows == ("aaaaaaaa", "aa**bbbb", "······dd", "····eeee", "ffffffff", "········")
    assert [(part.letter, part.name) for part in made.parts] == [
        ("a", "a.a"),
        ("b", "a.b"),
        ("c", "a.c"),
        ("d", "selects what is in it"),
        ("e", "counter"),
        ("f", "checksum sum8"),
    ]
