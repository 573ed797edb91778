"""config/WIRING.md: its drawings are up to date and legible, and what its text names is there."""

from __future__ import annotations

import importlib.util
import re
import sys
import tomllib
from itertools import combinations
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from underdash.cli import VERBS
from underdash.config.boot import can_overlays, parse, pins
from underdash.config.reading import parse_config
from underdash.display.palettes import contrast
from underdash.power.battery import BOARDS, days_parked
from underdash.power.states import Supply

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "config" / "WIRING.md").read_text()
PROSE = re.sub(r"```.*?```", "", GUIDE, flags=re.DOTALL)
BLOCKS = re.findall(r"```toml\n(.*?)```", GUIDE, flags=re.DOTALL)
KEYS = {
    key
    for path in ("config/underdash.toml", "config/cars/every_key.toml", "plugins/round_panel/README.md")
    for key in re.findall(r"^#? ?(\w+) = ", (ROOT / path).read_text(), re.MULTILINE)
}
EXAMPLES = sorted((ROOT / "config" / "examples").glob("*.toml"))
BASE = 'format = 1\n[car]\nname = "tarn"\n[plugins]\nenabled = ["tarn", "boost", "round_panel"]\n'
LEAST_CONTRAST = 4.5
"""Of text, as W3C asks for at least (WCAG 2.2, success criterion 1.4.3)."""


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("wiring_pictures", Path(__file__).with_name("wiring_pictures.py"))
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    # a dataclass looks its module up
    sys.modules[spec.name] = script
    spec.loader.exec_module(script)
    return script


SCRIPT = _script()
SHEETS = [draw() for draw in SCRIPT.DRAWINGS]
NAMED = [pytest.param(sheet, id=sheet.name) for sheet in SHEETS]


def meet(one: Any, other: Any) -> bool:
    across = min(one.right, other.right) > max(one.left, other.left)
    down = min(one.bottom, other.bottom) > max(one.top, other.top)
    return bool(across and down)


@pytest.mark.parametrize("sheet", NAMED)
def test_a_drawing_is_what_its_script_draws_today(sheet: Any) -> None:
    drawn = (SCRIPT.FOLDER / f"{sheet.name}.svg").read_text()
    assert drawn == sheet.svg(), "run python tests/wiring_pictures.py and look at the drawing"


def test_every_drawing_is_in_the_guide_with_words_for_who_does_not_see_it() -> None:
    shown = dict(re.findall(r"!\[(.*?)\]\(wiring/(.*?)\.svg\)", GUIDE))
    assert sorted(shown.values()) == sorted(sheet.name for sheet in SHEETS)
    assert sorted(path.stem for path in SCRIPT.FOLDER.glob("*.svg")) == sorted(shown.values())
    assert all(len(words) > 20 for words in shown)


@pytest.mark.parametrize("sheet", NAMED)
def test_no_text_runs_into_another_or_off_the_sheet_or_out_of_its_box(sheet: Any) -> None:
    whole = SCRIPT.Area(8, 8, SCRIPT.WIDTH - 8, sheet.height - 8)
    for area, text in sheet.texts:
        assert whole.left <= area.left, text
        assert whole.top <= area.top, text
        assert area.right <= whole.right, text
        assert area.bottom <= whole.bottom, text
        for box in sheet.boxes:
            inside = (
                box.left <= area.left and area.right <= box.right and box.top <= area.top and area.bottom <= box.bottom
            )
            assert inside or not meet(box, area), f"{text} stands across an edge"
    for (one, text), (other, second) in combinations(sheet.texts, 2):
        assert not meet(one, other), f"{text} runs into {second}"


@pytest.mark.parametrize("sheet", NAMED)
def test_no_wire_runs_through_a_text(sheet: Any) -> None:
    for area, text in sheet.texts:
        assert not [wire for wire in sheet.wires if meet(area, wire)], text


@pytest.mark.parametrize("ink", ["INK", "SOFT", "PLUS", "FIVE", "GROUND", "LINE", "BUS"])
def test_every_ink_can_be_read_on_the_paper(ink: str) -> None:
    def rgb(text: str) -> tuple[int, int, int]:
        red, green, blue = bytes.fromhex(text[1:])
        return red, green, blue

    assert contrast(rgb(getattr(SCRIPT, ink)), rgb(SCRIPT.PAPER)) >= LEAST_CONTRAST


def test_the_pins_are_those_of_the_table() -> None:
    known = {pin.gpio for pin in SCRIPT.PINS}
    assert SCRIPT.pin_table() in GUIDE
    assert {int(number) for number in re.findall(r"GPIO(\d+)", GUIDE)} == known
    drawn = {int(number) for sheet in SHEETS for _, text in sheet.texts for number in re.findall(r"GPIO(\d+)", text)}
    assert drawn <= known
    assert {gpio for _, gpio in (*SCRIPT.CAN_ROWS, *SCRIPT.PANEL_ROWS)} <= known


def test_no_line_is_given_twice() -> None:
    gpios = [gpio for _, gpio in (*SCRIPT.CAN_ROWS, *SCRIPT.PANEL_ROWS)]
    assert len(set(gpios)) == len(gpios)
    assert len({pin.gpio for pin in SCRIPT.PINS}) == len({pin.header for pin in SCRIPT.PINS}) == len(SCRIPT.PINS)


@pytest.mark.parametrize("layout", ["CAN_FIRST", "PANEL_FIRST"])
def test_check_finds_no_line_of_a_layout_wanted_twice(layout: str) -> None:
    boot = parse("\n".join((*getattr(SCRIPT, layout), *SCRIPT.HOLD)))
    taken = [gpio for gpio, _ in pins(boot)] + [24, 23]
    assert sorted(taken) == sorted(set(taken))
    assert set(taken) <= {pin.gpio for pin in SCRIPT.PINS}
    assert {overlay.name for overlay in boot.overlays} >= {"pwm", "gpio-poweroff"}
    assert [one.place for one in can_overlays(boot)] == {"CAN_FIRST": ["spi0.0"]}.get(layout, ["spi1.0", "spi1.1"])


def test_the_drawing_has_the_lines_that_the_firmware_gives_away() -> None:
    taken = {gpio for gpio, _ in pins(parse("\n".join(SCRIPT.CAN_FIRST)))} | {24, 23}
    drawn = {gpio for _, gpio in (*SCRIPT.CAN_ROWS, *SCRIPT.PANEL_ROWS)}
    # not drawn: the second chip select, and what a panel never says
    assert taken - drawn == {7, 19}
    assert drawn <= taken


def test_the_overlays_are_those_of_the_table() -> None:
    named = re.findall(r"\bdt(?:overlay|param)=[\w.,=-]*\w", GUIDE)
    assert set(named) == set(SCRIPT.OVERLAYS)
    for layout in (SCRIPT.CAN_FIRST, SCRIPT.PANEL_FIRST, SCRIPT.HOLD):
        assert "".join(f"    {line}\n" for line in layout) in GUIDE


def test_the_example_and_the_guide_say_the_same_of_the_panel_on_spi0() -> None:
    example = (ROOT / "config" / "examples" / "round_panel.toml").read_text()
    assert "".join(f"#   {line}\n" for line in SCRIPT.PANEL_FIRST) in example


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_every_line_and_overlay_of_an_example_is_in_the_tables(example: Path) -> None:
    text = example.read_text()
    assert {int(number) for number in re.findall(r"GPIO(\d+)", text)} <= {pin.gpio for pin in SCRIPT.PINS}
    known = {re.split(r"[=,]", line)[1] for line in SCRIPT.OVERLAYS}
    assert {re.split(r"[=,]", line)[1] for line in re.findall(r"dtoverlay=[\w,-]+", text)} <= known


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_that_is_woken_by_gpio3_has_nothing_else_on_that_line(example: Path) -> None:
    text = example.read_text()
    assert not ('supply = "wakeable"' in text and re.search(r"ads1\d15|GPIO3\b", text))


@pytest.mark.parametrize("block", BLOCKS)
def test_what_the_guide_says_to_configure_is_taken(block: str) -> None:
    power = "" if "[power]" in block else '[power]\nsupply = "switched"\n'
    config = parse_config(BASE + power + block, "WIRING.md")
    assert config.power.supply is not None


def test_every_key_in_its_text_exists() -> None:
    named = {key for code in re.findall(r"`([^`\n]+)`", PROSE) for key in re.findall(r"^(\w+) = ", code)}
    assert named >= {"transmit", "silent"}
    assert named <= KEYS
    # names that stand alone are keys, verbs, overlays or what the maker of the board calls it
    alone = set(re.findall(r"`([a-z_]+)`", PROSE)) - {"interrupt", "oscillator", "record"}
    overlays = {
        word
        for line in (*SCRIPT.OVERLAYS, *(pin.wanted_by for pin in SCRIPT.PINS))
        for word in re.findall(r"\w+", line)
    }
    assert alone <= KEYS | overlays | {str(supply) for supply in Supply}


def test_every_kind_of_supply_has_its_drawing_its_keys_and_its_row() -> None:
    for supply in Supply:
        assert f"](wiring/{supply}.svg)" in GUIDE
        assert f'| `"{supply}"` |' in GUIDE
        assert [block for block in BLOCKS if f'supply = "{supply}"' in block]


def test_every_command_it_names_exists() -> None:
    assert set(re.findall(r"underdash ([a-z]+)\b", " ".join(re.findall(r"`([^`\n]+)`", PROSE)))) <= set(VERBS)


@pytest.mark.parametrize(("board", "supply_a"), [("Zero 2 W", 2.0), ("3", 2.5), ("4", 3.0), ("5", 5.0)])
def test_the_fuses_are_the_next_above_what_flows(board: str, supply_a: float) -> None:
    flows = supply_a * 5.1 / (9.0 * 0.85)
    fuse = next(rating for rating in (2, 3, 5, 7.5) if 0.8 * rating >= flows)
    row = next(line for line in GUIDE.splitlines() if line.startswith(f"| {board} | "))
    assert f"| {flows:.1f} A | {fuse} A |" in row


def test_the_days_are_those_that_check_tells() -> None:
    for supply, start in ((Supply.WAKEABLE, "a halted "), (Supply.PERMANENT, "a ")):
        row = next(line for line in GUIDE.splitlines() if line.startswith(f'| `"{supply}"` |'))
        four, three = (days_parked(supply, BOARDS[board]) for board in ("4b", "3b"))
        assert re.search(rf"{start}Pi 4 empties .* in {four:.0f} days, a Pi 3 in {three:.0f} ", row)


def test_the_readings_are_the_same_in_drawing_and_text() -> None:
    rows = re.findall(r"^\| (?:about |near )?(60 Ω|120 Ω|40 Ω|0 Ω|open)", GUIDE, re.MULTILINE)
    assert rows == list(SCRIPT.READINGS)


def _slug(heading: str) -> str:
    return re.sub(r"[^\w\- ]", "", heading.replace("`", "").lower()).replace(" ", "-")


@pytest.mark.parametrize("guide", ["README.md", "DEVELOPERS.md", "config/WIRING.md", "systemd/README.md"])
def test_every_link_leads_to_a_file_and_to_a_heading_in_it(guide: str) -> None:
    path = ROOT / guide
    for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text()):
        if target.startswith("http"):
            continue
        name, _, anchor = target.partition("#")
        other = path.parent / name if name else path
        assert other.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.*)$", other.read_text(), re.MULTILINE)
            assert anchor in [_slug(heading) for heading in headings], target


def test_the_converter_of_an_old_car_reaches_as_far_as_its_senders() -> None:
    text = (ROOT / "config" / "examples" / "old_car.toml").read_text()
    overlay = re.search(r"dtoverlay=ads1015([\w,=]*)", text)
    assert overlay is not None
    words = overlay[1].split(",")
    senders = [one for one in tomllib.loads(text)["input"].values() if one.get("device") == "ads1015"]
    assert len(senders) == 3
    for sender in senders:
        letter = "abcd"[int(sender["channel"].removeprefix("in_voltage"))]
        gain = next((int(word[-1]) for word in words if word.startswith(f"ch{letter}_gain=")), 2)
        assert f"ch{letter}_enable" in words
        highest = 16.0 * 10 / 110
        if "pull_up" in sender:
            (volts, ohms), most = sender["pull_up"], sender["points"][-1][0]
            highest = volts * most / (ohms + most)
        assert highest < SCRIPT.ADS1015_V[gain], sender
