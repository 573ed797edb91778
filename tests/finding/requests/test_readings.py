from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import Literal

import pytest

from underdash.contract.layout import ByteOrder, Coding
from underdash.finding.requests.readings import Fit, Reading, fits, plain_number, plain_offset


@dataclass(frozen=True)
class Quantity:
    """How a value is spelt."""

    scale: float
    offset: float = 0.0
    width: int = 2
    signed: bool = False
    order: Literal["big", "little"] = "big"


QUANTITIES = {
    "pressure in kPa": Quantity(0.05), "pressure in bar": Quantity(0.0005), "a temperature": Quantity(0.75, -48.0, 1),
    "a temperature in tenths": Quantity(0.1, -40.0), "half a degree": Quantity(0.5, -40.0, 1),
    "a quarter rpm": Quantity(0.25), "1/128": Quantity(1 / 128), "signed": Quantity(0.1, signed=True),
    "percent": Quantity(0.4, width=1), "the other order": Quantity(0.05, order="little"),
}  # fmt: skip


def read_off(quantity: Quantity, seed: int) -> Fit | None:
    """Sixteen numbers typed from a screen, up to 1 s late and rounded; behind the value comes a byte of noise."""
    rng, width = Random(seed), quantity.width
    full = 250 if width == 1 else 9000
    low = -full // 2 if quantity.signed else 0
    raw, slope = low + full / 2, 0.0
    values: list[tuple[float, bytes]] = []
    for n in range(600):
        slope = 0.97 * slope + rng.gauss(0.0, full / 300.0)
        raw = min(max(raw + slope, low), low + full)
        slope = 0.0 if raw in (low, low + full) else slope
        spelt = (round(raw) & (256**width - 1)).to_bytes(width, quantity.order)
        values.append((0.2 * n, spelt + bytes((rng.randrange(256),))))
    decimals = 2 if quantity.scale < 0.01 else 1 if quantity.scale < 0.5 else 0
    typed = []
    for n in range(16):
        seen_at = 6.0 + 7.0 * n
        data = [data for when, data in values if when <= seen_at][-1][:width]
        value = int.from_bytes(data, quantity.order, signed=quantity.signed) * quantity.scale + quantity.offset
        typed.append(Reading(seen_at + rng.uniform(0.5, 1.0), round(value, decimals), 10.0**-decimals))
    return fits(values, typed)


def is_right(found: Fit | None, quantity: Quantity) -> bool:
    if found is None or (found.bits.byte, found.bits.length) != (0, 8 * quantity.width):
        return False
    near = abs(found.line.scale - quantity.scale) <= 3.0 * found.line.scale_error + 1e-9
    return near and (found.coding is Coding.SIGNED) == quantity.signed


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=QUANTITIES.keys())
def test_field_and_scale_are_found_from_sixteen_numbers(quantity: Quantity) -> None:
    found = [read_off(quantity, seed) for seed in range(5)]
    assert sum(is_right(one, quantity) for one in found) >= 4
    assert all(one is not None and one.follows for one in found)
    exact = [one.line.scale for one in found if one is not None and one.line.plain]
    assert sum(scale == pytest.approx(quantity.scale) for scale in exact) >= 3


def fast(number: int) -> list[tuple[float, bytes]]:
    """A value whose upper byte moves by many at a time, asked for unevenly, and `number` bytes of others behind it."""
    rng, at, values = Random(4), 0.0, []
    for _ in range(300):
        at += rng.uniform(0.08, 0.13)
        value = int(20_000 + 15_000 * math.sin(at / 2.0))
        other = bytes((int(128 + 100 * math.sin(at / 5.0)),)) * number
        values.append((at, (value.to_bytes(2) if number == 0 else bytes((value >> 8,))) + other))
    return values


def typed(values: list[tuple[float, bytes]], width: int, scale: float, step: float) -> list[Reading]:
    """Ten numbers, half a second late."""
    seen = [values[25 * n + 20] for n in range(10)]
    return [
        Reading(at + 0.5, step * round(scale * int.from_bytes(data[:width]) / step), step) for at, data in seen
    ]  # fmt: skip


def test_a_lower_byte_that_goes_on_smoothly_with_the_upper_one_belongs_to_it() -> None:
    """Even where numbers are rounded so coarsely that the upper byte alone would do."""
    found = fits(fast(0), typed(fast(0), 2, 0.01, 10.0))
    assert found is not None
    assert (found.bits.byte, found.bits.length) == (0, 16)
    assert found.line.scale == pytest.approx(0.01, rel=0.05)


def test_a_smooth_byte_of_another_value_does_not() -> None:
    found = fits(fast(1), typed(fast(1), 1, 2.5, 1.0))
    assert found is not None
    assert (found.bits.byte, found.bits.length) == (0, 8)
    assert found.line.scale == pytest.approx(2.5, rel=0.05)


def test_the_order_of_bytes_is_found() -> None:
    found = read_off(QUANTITIES["the other order"], 1)
    assert found is not None
    assert found.bits.order is ByteOrder.LITTLE


def test_a_mistyped_number_does_no_harm() -> None:
    values = [(0.2 * n, (1000 + 10 * (n % 300)).to_bytes(2)) for n in range(900)]
    typed = [Reading(5.0 + 9.0 * n, 0.1 * (1000 + 10 * (int((5.0 + 9.0 * n) / 0.2) % 300)), 0.1) for n in range(16)]
    typed[7] = Reading(typed[7].at, 9.9, 0.1)
    found = fits(values, typed)
    assert found is not None
    assert found.line.scale == 0.1


@pytest.mark.parametrize(
    ("value", "error", "plain"),
    [(0.0500001, 1e-5, 0.05), (0.0499, 5e-4, 0.05), (0.7512, 0.01, 0.75), (0.0078, 1e-4, 1 / 128), (-0.1, 0.001, -0.1),
     (0.0437, 1e-5, None), (0.1, 0.05, None)],
)  # fmt: skip
def test_plain_numbers_are_preferred_where_the_error_allows(value: float, error: float, plain: float | None) -> None:
    assert plain_number(value, error) == (None if plain is None else pytest.approx(plain))


@pytest.mark.parametrize(("value", "error", "plain"), [(0.3, 0.5, 0.0), (-39.7, 0.5, -40.0), (-47.9, 0.3, -48.0)])
def test_plain_offsets_too(value: float, error: float, plain: float) -> None:
    assert plain_offset(value, error) == pytest.approx(plain)


def test_a_value_that_was_not_there_then_has_no_line() -> None:
    assert fits([], [Reading(1.0, 2.0)] * 4) is None
    values = [(0.2 * n, bytes((n % 256,))) for n in range(100)]
    assert fits(values, [Reading(500.0 + n, float(n)) for n in range(6)]) is None
