"""Values a person types."""

from __future__ import annotations

import pytest

from underdash.cli.given import given
from underdash.contract.errors import UnderdashError
from underdash.contract.signals import Value
from underdash.signals.catalogue import CATALOGUE


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("engine.boost_pressure=0.84 bar", 84.0),
        ("engine.boost_pressure=-41", -41.0),
        ("engine.coolant_temperature = 90°C", 90.0),
        ("engine.coolant_temperature=212degF", 100.0),
        ("vehicle.ignition=ON", "ON"),
        ("dashboard.night=Yes", True),
        ("button.menu=0", False),
    ],
)
def test_a_value_is_read_into_the_stored_unit(text: str, value: Value) -> None:
    found = given(text, CATALOGUE)[1]
    assert found == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("engine.boost_pressure", "signal=value"),
        ("engine.bost_pressure=1", "did you mean 'engine.boost_pressure'"),
        ("engine.boost_pressure=lots", "takes a number"),
        ("engine.boost_pressure=nan", "takes a number"),
        ("engine.boost_pressure=1e999", "takes a number"),
        ("engine.boost_pressure=1 rpm", "can be given in Pa, kPa"),
        ("engine.boost_pressure=99999", "lies between"),
        ("vehicle.ignition=RUN", "one of LOCK, OFF, ACC, ON, START"),
        ("dashboard.night=dark", "on or off"),
    ],
)
def test_what_cannot_be_read_is_answered_with_what_is_allowed(text: str, says: str) -> None:
    with pytest.raises(UnderdashError, match=says):
        given(text, CATALOGUE)
