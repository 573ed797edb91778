"""Faults as a person names them for a simulated drive."""

from __future__ import annotations

import pytest

from underdash.contract.errors import GivenError
from underdash.simulator.faults import Fault
from underdash.simulator.trouble import BusFault, names, trouble

UNITS, BUSES = ("engine", "gearbox"), ("drive", "comfort")


@pytest.mark.parametrize(
    ("text", "fault", "units", "buses", "told"),
    [
        ("gearbox.silent@120", "silent", ("gearbox",), (), (120.0, "gearbox.silent")),
        ("wrong-length", "wrong length", UNITS, (), (0.0, "all.wrong-length")),
        ("drive.unplugged@1.5", "unplugged", (), ("drive",), (1.5, "drive.unplugged")),
        ("errors", "errors", (), BUSES, (0.0, "all.errors")),
        ("none@9", "none", UNITS, BUSES, (9.0, "all.none")),
        ("drive.none", "none", (), ("drive",), (0.0, "drive.none")),
    ],
)
def test_who_what_and_when(
    text: str, fault: str, units: tuple[str, ...], buses: tuple[str, ...], told: tuple[float, str]
) -> None:
    one = trouble(text, UNITS, BUSES)
    assert (one.fault, one.units, one.buses, (one.at_s, str(one))) == (fault, units, buses, told)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("gearbx.silent", "no control unit or bus 'gearbx'; did you mean gearbox"),
        ("slient", "no fault 'slient'; did you mean silent"),
        ("drive.unpluged", "drive has no fault 'unpluged'; did you mean unplugged"),
        ("drive.silent", "drive has no fault 'silent'"),
        ("gearbox.unplugged", "gearbox has no fault 'unplugged'"),
        ("", "no fault ''"),
        (".", "no fault ''"),
        ("silent@", "seconds of the drive"),
        ("silent@-1", "seconds of the drive"),
        ("silent@nan", "seconds of the drive"),
        ("silent@soon", "found 'soon'"),
    ],
)
def test_what_is_none_is_told(text: str, says: str) -> None:
    with pytest.raises(GivenError, match=says) as raised:
        trouble(text, UNITS, BUSES)
    assert f"--fault {text}:" in str(raised.value)


def test_every_fault_is_listed_and_can_be_named() -> None:
    for fault in (*Fault, *BusFault):
        if fault != "none":
            spelt = fault.replace(" ", "-")
            assert spelt in names()
            assert trouble(spelt, UNITS, BUSES).fault == fault
