"""Buses that a command opens itself."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

import pytest

from underdash.cli.by_itself import buses
from underdash.contract.errors import GivenError, UnderdashError

Changed = Callable[[str, str], Path]


def given(config: Path) -> argparse.Namespace:
    return argparse.Namespace(config=str(config))


def test_its_buses_are_its_own_for_a_while_and_only_listened_to(config: Path, changed: Changed) -> None:
    changed('channel = "nobody"', 'channel = "nobody"\ntransmit = true')
    with buses(given(config)) as links:
        assert list(links) == ["drive"]
        with pytest.raises(UnderdashError, match="in use by process"), buses(given(config)):
            pass
    with buses(given(config)) as links:
        assert list(links) == ["drive"]


def test_they_are_given_up_whatever_happens(config: Path) -> None:
    with pytest.raises(ZeroDivisionError), buses(given(config)):
        raise ZeroDivisionError
    with buses(given(config)) as links:
        assert list(links) == ["drive"]


def test_a_configuration_without_a_bus_is_told(changed: Changed) -> None:
    path = changed('[bus.drive]\ninterface = "virtual"\nchannel = "nobody"', "")
    with pytest.raises(GivenError, match=r"no \[bus\.<role>\] in it, so there is nothing to hear"), buses(given(path)):
        pass
