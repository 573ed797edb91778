from __future__ import annotations

import pytest

from underdash.contract.errors import UnderdashError
from underdash.simulator.cars import simulated, simulated_names
from underdash.simulator.scripts import TARN_DRIVE


def test_both_invented_cars_can_be_simulated() -> None:
    assert simulated_names() == ("loris", "tarn")
    assert simulated("tarn")[1] is TARN_DRIVE


def test_another_car_is_refused_with_the_names_that_are_allowed() -> None:
    with pytest.raises(
        UnderdashError,
        match=r"these can: loris, tarn\. Try a description of your own on a",
    ):
        simulated("truck")
