"""Control units of a car description: how they are addressed, and what their long answers are told (ISO 15765-2)."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ..contract.requests import ControlUnit
from ..diagnostics.addressing import Address, mixed_fixed, normal_fixed
from .car_layout import Context, hex_byte
from .car_parts import ID, id_of, known_bus
from .car_tables import UnitTable
from .mistakes import MISSING, KeyPath

TARGET = "the unit's own address, two hex digits in quotes"
FIXED: Mapping[str, Callable[[int, int], tuple[int, int]]] = {
    "normal fixed": lambda target, _: _ids(normal_fixed(target)),
    "mixed": lambda target, extension: _ids(mixed_fixed(target, extension)),
}
"""Ways of addressing whose 29-bit ids are made of the unit's address and the tester's, F1."""


def unit_of(name: str, raw: object, path: KeyPath, context: Context) -> ControlUnit | None:
    """Make a control unit of ``[unit.<name>]``."""
    table = context.structure.make(UnitTable, raw, path)
    if table is None:
        return None
    known_bus(table.bus, (*path, "bus"), context)
    address = _byte(table.address, (*path, "address"), context)
    reply_address = _byte(table.reply_address, (*path, "reply_address"), context)
    padding = None if table.padding == "none" else hex_byte(table.padding, (*path, "padding"), context.mistakes)
    if reply_address is not None and table.address is None:
        allowed = "the byte that requests to it begin with, since its answers begin with one"
        context.mistakes.add((*path, "address"), MISSING, allowed)
    ids = _written(table, path, context) if table.addressing is None else _made(table, address, path, context)
    if ids is None:
        return None
    return ControlUnit(
        name,
        table.bus,
        *ids,
        address,
        padding,
        table.answer_within_s,
        table.gap_s,
        reply_address,
        table.block_size,
        _st_min(table.st_min_ms, (*path, "st_min_ms"), context),
    )


def _written(table: UnitTable, path: KeyPath, context: Context) -> tuple[int, int, bool] | None:
    """Return both ids as they are written, and whether they have 29 bits."""
    add = context.mistakes.add
    if table.target is not None:
        add((*path, "addressing"), MISSING, 'the way of addressing that has a target, "normal fixed" or "mixed"')
    for key, text in (("request", table.request), ("response", table.response)):
        if text is None and table.target is None:
            add((*path, key), MISSING, ID)
    if table.request is None or table.response is None:
        return None
    request = id_of(table.request, table.extended, (*path, "request"), context)
    response = id_of(table.response, table.extended, (*path, "response"), context)
    if request is None or response is None:
        return None
    if request[1] != response[1]:
        add((*path, "response"), table.response, "as many bits as the request's id")
    if request[0] == response[0]:
        add((*path, "response"), table.response, "another id than the request's")
    return request[0], response[0], request[1]


def _made(table: UnitTable, address: int | None, path: KeyPath, context: Context) -> tuple[int, int, bool] | None:
    """Return both ids as they follow from the addresses, which leaves other keys nothing to say."""
    add = context.mistakes.add
    for key in ("request", "response", "extended", "reply_address"):
        if (value := getattr(table, key)) is not None:
            add((*path, key), value, f'no such key beside addressing = "{table.addressing}", which decides that')
    target = _byte(table.target, (*path, "target"), context)
    if table.target is None:
        add((*path, "target"), MISSING, TARGET)
    mixed = table.addressing == "mixed"
    if mixed and table.address is None:
        add((*path, "address"), MISSING, "the address extension, two hex digits in quotes")
    if not mixed and table.address is not None:
        add((*path, "address"), table.address, 'no such key beside addressing = "normal fixed"; "mixed" has one')
    if target is None or table.addressing is None or (mixed and address is None):
        return None
    return *FIXED[table.addressing](target, address or 0), True


def _ids(address: Address) -> tuple[int, int]:
    return address.request_id, address.response_id


def _byte(text: str | None, path: KeyPath, context: Context) -> int | None:
    return None if text is None else hex_byte(text, path, context.mistakes)


def _st_min(milliseconds: float, path: KeyPath, context: Context) -> int:
    """Return a separation time as flow control says it (ISO 15765-2, clause 9.6.5.4)."""
    tenths = round(10 * milliseconds)
    if 0 < tenths < 10 and abs(tenths - 10 * milliseconds) < 1e-6:
        return 0xF0 + tenths
    if milliseconds != int(milliseconds):
        context.mistakes.add(path, milliseconds, "0, whole milliseconds up to 127, or 0.1 to 0.9 in steps of 0.1")
    return int(milliseconds)
