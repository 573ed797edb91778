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


# --- line by line -------------------------------------------------------------------------------------------------

# A second reading of the same standards, written down apart from the table: number, class, and what the number does in
# SAE J1979 (O), ISO 14229-1 (U) and ISO 14230-3 (K). A number is free only where everything it means reads.
READING = """
01 reads  O current data
02 reads  O freeze frame
03 reads  O stored codes
04 denied O clears codes
06 reads  O monitor results
07 reads  O pending codes
08 denied O controls a system
09 reads  O vehicle information
0A reads  O permanent codes
10 later  UK session
11 denied UK reset
14 denied UK clears codes
17 reads  K status of codes
18 reads  K codes by status
19 reads  U codes
1A reads  K identification
21 reads  K local identifier
22 reads  UK identifier
23 later  UK memory
24 reads  U scaling
27 denied UK unlocks
28 denied UK silences
29 denied UK unlocks or silences
2A later  U streams
2C later  UK defines
2E denied UK writes
2F denied U actuates
30 denied K actuates
31 denied UK routine
32 denied K routine
33 denied K routine
34 denied UK download
35 denied UK upload
36 denied UK transfer
37 denied UK transfer
38 denied U file
3B denied K writes
3D denied UK writes memory
3E later  UK keeps a session
83 denied U timing
84 denied U secured
85 denied UK switches codes off
86 denied UK streams on events
87 denied U rate
"""
CLASSES = {"reads": Kind.READS, "later": Kind.LATER, "denied": Kind.DENIED}
LINES = [line.split(maxsplit=3) for line in READING.strip().splitlines()]
STANDARDS = {"O": "J1979", "U": "UDS", "K": "KWP"}


@pytest.mark.parametrize(("number", "kind", "standards", "does"), LINES, ids=lambda text: text)
def test_each_line_of_the_table_agrees_with_a_second_reading(number: str, kind: str, standards: str, does: str) -> None:
    found = service(int(number, 16))

    assert found.kind is CLASSES[kind], f"{found} {does}"
    assert all(STANDARDS[letter] in found.name for letter in standards), f"{found}: {does}"
    assert number in str(found)


def test_no_number_has_a_class_that_the_second_reading_does_not_know() -> None:
    known = {int(number, 16) for number, *_ in LINES}

    for number in set(range(256)) - known:
        assert service(number).kind in (Kind.UNKNOWN, Kind.MAKER)
        assert (service(number).kind is Kind.MAKER) is (0xA0 <= number <= 0xBE)
