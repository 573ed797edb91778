from __future__ import annotations

import pytest

from underdash.contract.errors import UnderdashError
from underdash.diagnostics import addressing
from underdash.diagnostics.addressing import Address


def test_fixed_ids_follow_from_the_addresses() -> None:
    # ISO 15765-4: engine 10 and tester F1
    assert addressing.normal_fixed(0x10) == Address(0x18DA10F1, 0x18DAF110, True)
    assert addressing.normal_fixed(0x10, tester=0xFA) == Address(0x18DA10FA, 0x18DAFA10, True)
    assert addressing.mixed_fixed(0x10, 0x99) == Address(0x18CE10F1, 0x18CEF110, True, 0x99, 0x99)


@pytest.mark.parametrize("address", [-1, 0x100])
def test_an_address_is_one_byte(address: int) -> None:
    with pytest.raises(UnderdashError, match="one byte"):
        addressing.normal_fixed(address)
    with pytest.raises(UnderdashError, match="one byte"):
        addressing.mixed_fixed(0x10, address)
