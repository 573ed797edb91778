from __future__ import annotations

import pytest

from underdash.bus.services import DENIED, LATER, READS, Kind, service


def test_every_number_has_one_meaning_class_only() -> None:
    numbers = [number for number, _, _ in READS + LATER + DENIED]

    assert len(numbers) == len(set(numbers))


def test_every_row_says_why() -> None:
    assert all(name and why for _, name, why in READS + LATER + DENIED)


# SAE J1979, ISO 14229-1, ISO 14230-3; the classes are a judgement and fixed here so that nobody widens them by accident
@pytest.mark.parametrize(
    ("kind", "numbers"),
    [
        (Kind.READS, "01 02 03 06 07 09 0A 17 18 19 1A 21 22 24"),
        (Kind.LATER, "10 23 2A 2C 3E"),
        (Kind.DENIED, "04 08 11 14 27 28 29 2E 2F 30 31 32 33 34 35 36 37 38 3B 3D 83 84 85 86 87"),
        (Kind.MAKER, " ".join(f"{n:02X}" for n in range(0xA0, 0xBF))),
    ],
)
def test_the_classes_are_the_agreed_ones(kind: Kind, numbers: str) -> None:
    found = {n for n in range(256) if service(n).kind is kind}

    assert found == {int(n, 16) for n in numbers.split()}


def test_a_number_in_no_table_is_not_free() -> None:
    assert service(0x05).kind is Kind.UNKNOWN
    assert service(0xBF).kind is Kind.UNKNOWN
