"""Colours in the meanings of ISO 2575 (clause 5, colour coding; wording from memory)."""

from __future__ import annotations

from colorsys import rgb_to_hls

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import ALARMS, Alert, Role
from underdash.display.alerts import Alerts
from underdash.display.meanings import MEANT, Meant
from underdash.display.palettes import DAY, NIGHT_HUE, Colour, Palette, night

ISO_2575 = {"red": "danger: stop or act now", "amber": "caution: look into it soon", "green": "normal operation"}
"""From memory, independent of the table that is tested."""
OURS = {Role.WARNING: "red", Role.CAUTION: "amber"}
GREY = 0.25
"""Chroma up to which a colour has no hue that says anything."""


def hue(colour: Colour) -> float:
    return rgb_to_hls(*(part / 255 for part in colour))[0] * 360.0


def chroma(colour: Colour) -> float:
    return (max(colour) - min(colour)) / 255


def meant_by(name: str) -> Meant:
    (found,) = (one for one in MEANT if one.name.startswith(name))
    return found


def test_the_roles_that_ask_something_of_the_driver_are_those_whose_colours_do() -> None:
    assert {one.role for one in MEANT if one.alarms} == set(ALARMS)


@pytest.mark.parametrize(("name", "says"), ISO_2575.items())
def test_a_colour_says_what_it_says_in_iso_2575(name: str, says: str) -> None:
    assert meant_by(name).says == says


@pytest.mark.parametrize("palette", [DAY, night(), night(0.0), night(240.0)], ids=["day", "night", "red", "blue"])
@pytest.mark.parametrize(("role", "name"), OURS.items())
def test_what_warns_has_the_colour_that_means_it_and_no_other(palette: Palette, role: Role, name: str) -> None:
    assert meant_by(name).role is role
    distances = {one.name: abs((hue(palette.of(role)) - one.hue_deg + 180.0) % 360.0 - 180.0) for one in MEANT}
    nearest = min(distances, key=lambda one: distances[one])
    assert nearest.startswith(name)
    assert meant_by(name).near(hue(palette.of(role)))


@pytest.mark.parametrize("palette", [DAY, night()], ids=["day", "night"])
def test_no_other_colour_of_a_palette_could_be_taken_for_one_with_a_meaning(palette: Palette) -> None:
    colours = palette._asdict()
    others = {name: colour for name, colour in colours.items() if isinstance(colour, tuple) and name not in ALARMS}
    assert {"ink", "soft", "accent", "muted", "track"} <= others.keys()
    for name, colour in others.items():
        if chroma(colour) > GREY:
            assert not [one.name for one in MEANT if one.near(hue(colour))], name


def test_the_night_nobody_chose_is_none_of_them() -> None:
    assert not any(one.near(NIGHT_HUE) for one in MEANT)


@pytest.mark.parametrize("role", Role)
def test_an_alert_is_amber_or_red_and_nothing_else(role: Role) -> None:
    alert = Alert("oil", "engine.oil_temperature", "oil hot", above=130.0, role=role)
    if role in OURS:
        assert Alerts([alert]).signals == ("engine.oil_temperature",)
    else:
        with pytest.raises(UnderdashError, match="caution or a warning"):
            Alerts([alert])
