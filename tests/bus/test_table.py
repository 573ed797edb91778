from __future__ import annotations

import pytest

from underdash.bus.frames import ERROR, EXTENDED, REMOTE, Handler
from underdash.bus.table import Table


def test_several_handlers_of_a_key_are_called_in_the_order_they_were_added() -> None:
    table = Table()
    calls: list[tuple[str, bytes, float]] = []

    def named(name: str) -> Handler:
        return lambda data, at: calls.append((name, data, at))

    for name in "abc":
        table.add(0x123, named(name))
    table[0x123](b"\x01", 2.0)
    assert calls == [("a", b"\x01", 2.0), ("b", b"\x01", 2.0), ("c", b"\x01", 2.0)]


def test_a_removed_handler_is_called_no_more_and_the_last_takes_the_key_with_it() -> None:
    table = Table()
    calls: list[str] = []

    def first(_data: bytes, _at: float) -> None:
        calls.append("first")

    def second(_data: bytes, _at: float) -> None:
        calls.append("second")

    table.add(1, first)
    table.add(1, second)
    table.remove(1, first)
    table[1](b"", 0.0)
    assert calls == ["second"]
    table.remove(1, second)
    assert 1 not in table
    with pytest.raises(KeyError, match="001"):
        table.remove(1, second)


def test_the_version_grows_when_the_set_of_keys_changes_and_only_then() -> None:
    table = Table()

    def handler(_data: bytes, _at: float) -> None: ...

    table.add(1, handler)
    table.add(1, handler)
    assert table.version == 1
    table.remove(1, handler)
    assert table.version == 1
    table.remove(1, handler)
    assert table.version == 2


@pytest.mark.parametrize("key", [0x800, -1, EXTENDED | 0x2000_0000, 0x123 | REMOTE, 0x4 | ERROR])
def test_a_key_no_data_frame_can_have_is_refused(key: int) -> None:
    with pytest.raises(ValueError, match="11 bits"):
        Table().add(key, lambda _data, _at: None)


def test_a_29_bit_id_is_another_key_than_the_same_11_bit_id() -> None:
    table = Table()
    table.add(0x123 | EXTENDED, lambda _data, _at: None)
    assert table.get(0x123) is None
