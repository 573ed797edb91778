"""How a reading is written."""

from __future__ import annotations

import pytest

from underdash.contract.signals import Age, Quality, Reading, Value


def reading(
    value: Value | None, shown: float | None = None, digits: int = 2, quality: Quality = Quality.GOOD
) -> Reading:
    return Reading("a.b", value, shown, "bar", digits, Age.FRESH, 0.0, quality, "test")


@pytest.mark.parametrize(
    ("found", "text"),
    [
        (reading(84.0, 0.84), "0.84"),
        (reading(-0.1, -0.001), "0.00"),
        (reading(-41.0, -0.41), "-0.41"),
        (reading(255.0, 2.55, quality=Quality.ABOVE), ">2.55"),
        (reading(0.0, 0.0, quality=Quality.BELOW), "<0.00"),
        (reading(True), "on"),
        (reading(False), "off"),
        (reading("START"), "START"),
        (reading(None), "--"),
    ],
)
def test_a_reading_is_written_as_a_person_would(found: Reading, text: str) -> None:
    assert found.text == text
