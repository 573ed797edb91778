"""The mounting template: real measures in millimetres."""

from __future__ import annotations

import re
from math import hypot
from xml.etree import ElementTree

import pytest

from underdash.display.mounting import RULER_MM, WORDS, Mounting, template

SVG = "{http://www.w3.org/2000/svg}"


def drawn(one: Mounting) -> ElementTree.Element:
    return ElementTree.fromstring(template(one))


def test_a_unit_is_a_millimetre() -> None:
    root = drawn(Mounting((32.4, 32.4), (37.4, 37.4)))
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    assert (root.attrib["width"], root.attrib["height"]) == (f"{width:g}mm", f"{height:g}mm")


def test_a_round_panel_has_its_edge_and_its_lit_area_about_one_middle() -> None:
    edge, lit = drawn(Mounting((32.4, 32.4), (37.4, 37.4))).iter(f"{SVG}ellipse")
    assert [float(one.attrib["rx"]) for one in (edge, lit)] == [18.7, 16.2]
    assert (edge.attrib["cx"], edge.attrib["cy"]) == (lit.attrib["cx"], lit.attrib["cy"])
    assert "stroke-dasharray" in lit.attrib


def test_a_square_panel_is_as_wide_and_high_as_said() -> None:
    edge, lit = drawn(Mounting((57.6, 43.2), (69.2, 50.0), round=False)).iter(f"{SVG}rect")
    assert (edge.attrib["width"], edge.attrib["height"]) == ("69.2", "50")
    assert (lit.attrib["width"], lit.attrib["height"]) == ("57.6", "43.2")


@pytest.mark.parametrize("holes", [1, 3, 4])
def test_holes_are_even_on_their_circle(holes: int) -> None:
    root = drawn(Mounting((32.4, 32.4), (44.0, 44.0), holes=holes, hole_circle=40.0, hole=2.5))
    edge = next(root.iter(f"{SVG}ellipse"))
    x, y = float(edge.attrib["cx"]), float(edge.attrib["cy"])
    found = [(float(one.attrib["cx"]) - x, float(one.attrib["cy"]) - y) for one in root.iter(f"{SVG}circle")]
    assert len(found) == holes
    assert [hypot(*one) for one in found] == [pytest.approx(20.0, abs=1e-3)] * holes
    assert sum(one[0] for one in found) == pytest.approx(0.0, abs=1e-2) or holes == 1


def test_the_ruler_is_fifty_millimetres_and_everything_is_on_the_paper() -> None:
    text = template(Mounting((32.4, 32.4), (37.4, 37.4)))
    root = ElementTree.fromstring(text)
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    lines = [tuple(map(float, found)) for found in re.findall(r'"M(\S+) (\S+)L(\S+) (\S+)"', text)]
    assert max(x - from_x for from_x, _, x, _ in lines) == RULER_MM
    assert all(0 <= x <= width and 0 <= y <= height for line in lines for x, y in (line[:2], line[2:]))
    said = [one.text for one in root.iter(f"{SVG}text")]
    assert said == ["up", *WORDS]
