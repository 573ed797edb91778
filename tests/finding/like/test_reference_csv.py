from __future__ import annotations

import pytest

from underdash.contract.errors import GivenError
from underdash.finding.like.reference_csv import parse_reference


@pytest.mark.parametrize(
    "text",
    [
        "t,speed [km/h]\n1,10\n2.5,20.5\n",
        "t;speed [km/h]\n1;10\n2,5;20,5\n",
        "# by hand\nt\tspeed (km/h)\n\n2.5\t20.5\n1\t10\n",
        "seconds, speed [km/h]\r\n1, 10\r\n2.5, 20.5\r\n",
    ],
)
def test_heads_separators_and_order_are_recognised(text: str) -> None:
    reference, _ = parse_reference(text, "a.csv")
    assert (reference.name, reference.unit) == ("speed", "km/h")
    assert reference.at.tolist() == [1.0, 2.5]
    assert reference.value.tolist() == [10.0, 20.5]


def test_decimal_commas_are_told() -> None:
    assert parse_reference("1;2,5\n2;3\n", "a.csv")[1] == ("a.csv: commas were read as decimal commas",)


def test_a_file_without_a_head_is_called_by_its_column() -> None:
    reference, notes = parse_reference("1,2\n2,3\n", "a.csv")
    assert (reference.name, reference.unit, notes) == ("a.csv column 2", "", ())


def test_one_of_several_columns_is_chosen_by_head_or_number() -> None:
    text = "t,speed [km/h],engine [rpm]\n1,10,900\n2,,950\n"
    assert parse_reference(text, "a.csv", column="engine")[0].value.tolist() == [900.0, 950.0]
    assert parse_reference(text, "a.csv", column="3")[0].name == "engine"
    reference, notes = parse_reference(text, "a.csv", column="speed [km/h]")
    assert reference.value.tolist() == [10.0]
    assert notes == ("a.csv: 1 lines without a number were left out",)


def test_a_unit_is_turned_into_the_one_signals_are_kept_in() -> None:
    reference, notes = parse_reference("t,speed\n1,10\n2,20\n", "a.csv", unit="m/s")
    assert reference.value.tolist() == [pytest.approx(36.0), pytest.approx(72.0)]
    assert (reference.unit, notes) == ("km/h", ("speed: m/s was turned into km/h, in which signals are kept",))
    assert parse_reference("t,oil [degF]\n1,32\n", "a.csv")[0].value.tolist() == [pytest.approx(0.0, abs=1e-9)]
    assert parse_reference("t,oil [furlong]\n1,32\n", "a.csv")[0].unit == "furlong"


@pytest.mark.parametrize(
    ("text", "given", "sentence"),
    [
        ("", {}, "nothing in it; the first column holds seconds"),
        ("t,speed\n", {}, "only a head and no numbers"),
        ("1\n2\n", {}, "only one column"),
        ("t,a,b\n1,2,3\n", {}, "which of the columns t, a, b? Name one with --column"),
        ("t,a,b\n1,2,3\n", {"column": "c"}, "--column c: a.csv has no such column beside the time"),
        ("t,a,b\n1,2,3\n", {"column": "t"}, "--column t: a.csv has no such column beside the time"),
        ("t,a\n1,2\nx,3\n", {}, "a.csv, line 3: 'x' is no number"),
        ("t,a\n1,2\n2,much\n", {}, "a.csv, line 3: 'much' is no number"),
        ("t,a\n1,2\n2,nan\n", {}, "a.csv, line 3: 'nan' is no number"),
        ("t,a\n1,2\n2,1e300\n", {}, "a.csv, line 3: '1e300' is no number up to 1e+12"),
        ("t,a\n1,5,2,5\n", {}, "a decimal comma needs semicolons between the columns"),
        ("t,a\n1,2\n", {"unit": "knots"}, "--reference-unit knots is not known; known are"),
    ],
)
def test_mistakes_are_told_with_line_and_next_step(text: str, given: dict[str, str], sentence: str) -> None:
    with pytest.raises(GivenError) as caught:
        parse_reference(text, "a.csv", **given)
    assert sentence in str(caught.value)


def test_a_head_that_is_a_unit_is_taken_as_one() -> None:
    reference, _ = parse_reference("seconds,km/h\n1,10\n2,20\n", "drive.csv")
    assert (reference.name, reference.unit) == ("drive.csv", "km/h")


@pytest.mark.parametrize(
    ("head", "name", "unit", "value"),
    [
        ("speed_m_per_s", "speed", "km/h", 36.0),
        ("speed km_h", "speed", "km/h", 10.0),
        ("oil_degC", "oil", "degC", 10.0),
        ("rail_bar", "rail", "kPa", 1000.0),
        ("lift_m", "lift_m", "", 10.0),
        ("coolant_min", "coolant_min", "", 10.0),
        ("crowbar", "crowbar", "", 10.0),
        ("_bar", "_bar", "", 10.0),
    ],
)
def test_a_head_that_ends_with_a_known_unit_says_it(head: str, name: str, unit: str, value: float) -> None:
    made, _ = parse_reference(f"t,{head}\n0,10\n1,11\n2,12\n", "a.csv")
    assert (made.name, made.unit) == (name, unit)
    assert made.value[0] == pytest.approx(value)


def test_a_unit_that_is_another_one_than_the_head_says_is_told() -> None:
    text = "t,speed [km/h]\n1,10\n2,20\n"
    reference, notes = parse_reference(text, "a.csv", unit="m/s")
    assert reference.value.tolist() == [pytest.approx(36.0), pytest.approx(72.0)]
    assert notes[0] == "a.csv: the column's head says km/h; as --reference-unit has it, it was read as m/s"
    assert parse_reference(text, "a.csv", unit="km/h")[1] == ()
    with pytest.raises(GivenError, match=r"--reference-unit degC: .* says km/h, which is of another quantity; leave"):
        parse_reference(text, "a.csv", unit="degC")
