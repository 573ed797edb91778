"""What `check` says about the pages of panels, out of what is drawn."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.config.checking import Level
from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.pages import Canvas, Page, Role, Scale, Zone
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.wiring.assembly import Assembly
from underdash.wiring.building import assembled
from underdash.wiring.readable import readable

TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures"]
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost", "temperatures", "status"]
"""


def config(more: str = "") -> Config:
    return parse_config(TEXT + more, "made_up.toml")


def told(settings: Config) -> list[str]:
    return [str(finding) for finding in readable(settings, assembled(settings))]


def test_dashes_are_not_blamed_for_their_gaps() -> None:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.figure(snapshot.reading("fuel.level"))

    settings = config()
    assembly = assembled(settings)
    page = Page("boost", "Boost", draw, ("fuel.unheard",))
    brought = replace(assembly.brought, display_pages=(("boost", page),))
    found = [str(one) for one in readable(settings, replace(assembly, brought=brought))]
    assert [one for one in found if "contrast" in one] == []


def test_a_large_panel_close_by_leaves_nothing_to_say() -> None:
    (light,) = told(config("width_mm = 60\nviewing_distance_mm = 600\n"))
    assert light.startswith("note: by night")


def test_each_page_of_a_small_far_panel_is_named_with_its_angles_and_what_to_do() -> None:
    found = told(config("width_mm = 24\nviewing_distance_mm = 800\n"))
    for page in ("boost", "temperatures"):
        (one,) = (s for s in found if f"page '{page}' on panel main: minutes of arc at 800 mm" in s)
        assert one.startswith("warning: ")
        assert "12 are the least that can be read -> mount it " in one


def test_what_is_read_at_standstill_is_told_as_a_note() -> None:
    found = told(config("width_mm = 32.4\nviewing_distance_mm = 700\n"))
    (one,) = (s for s in found if "page 'status'" in s)
    assert one.startswith("note: page 'status' on panel main, to be read while the car stands: minutes of arc at 700")
    assert "12 are the least that can be read -> mount it " in one


def test_a_list_is_read_at_standstill_but_not_the_rest_of_its_page() -> None:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.lamp("fan", True)
        canvas.list((("two buses heard", Role.INK),))

    settings, assembly = with_page(Page("x", "X", draw, ()))
    panel = replace(settings.panel["main"], width_mm=20.0, viewing_distance_mm=900.0)
    found = [str(one) for one in readable(replace(settings, panel={"main": panel}), assembly)]
    lamp, listed = sorted((s for s in found if "'boost'" in s and "minutes of arc" in s), reverse=True)
    assert lamp.startswith("warning: ")
    assert "lamp 'fan'" in lamp
    assert "list" not in lamp
    assert listed.startswith("note: ")
    assert "list 'two buses heard'" in listed


@pytest.mark.parametrize("size", [(240, 240), (320, 240)])
def test_what_is_read_while_driving_is_large_enough_on_a_usual_panel_at_arms_length(size: tuple[int, int]) -> None:
    settings = config(f"size = {list(size)}\nwidth_mm = {32.4 * size[0] / 240}\nviewing_distance_mm = 700\n")
    assert [s for s in told(settings) if s.startswith("warning")] == []


def test_doing_what_it_says_helps() -> None:
    boost = next(s for s in told(config("width_mm = 24\nviewing_distance_mm = 800\n")) if "'boost'" in s)
    near = boost.partition("mount it ")[2].split()[0]
    across = boost.partition("take a panel ")[2].split()[0]
    for cured in (
        f"width_mm = 24\nviewing_distance_mm = {near}\n",
        f"width_mm = {across}\nviewing_distance_mm = 800\n",
    ):
        assert not any(s.startswith("warning") and "'boost'" in s for s in told(config(cured)))


def test_a_panel_of_unknown_size_is_asked_for_it_and_not_judged() -> None:
    only, _light = sorted(told(config()), key=lambda sentence: "by night" in sentence)
    assert only.startswith("note: how large panel main is was not said")
    assert "width_mm" in only


@pytest.mark.parametrize("hue", [0, 120, 240])
def test_the_shipped_pages_stand_out_by_day_and_in_any_night(hue: int) -> None:
    assert not any("contrast" in s for s in told(config(f"[dimming]\nnight_hue = {hue}\n")))


def with_page(page: Page) -> tuple[Config, Assembly]:
    settings = config()
    assembly = assembled(settings)
    assembly.brought = replace(assembly.brought, display_pages=(("test", replace(page, name="boost")),))
    return settings, assembly


def test_a_page_that_cannot_be_drawn_is_told() -> None:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        raise ValueError("not today")

    found = list(readable(*with_page(Page("x", "X", draw, ()))))
    assert found[0].level is Level.WARNING
    assert "cannot be drawn: ValueError: not today" in found[0].sentence


def test_lamps_are_judged_like_every_text_that_informs() -> None:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        for number in range(4):
            canvas.lamp(f"lamp number {number}", number % 2 == 0)

    settings, assembly = with_page(Page("x", "X", draw, ()))
    panel = replace(settings.panel["main"], width_mm=20.0, viewing_distance_mm=900.0)
    found = [str(one) for one in readable(replace(settings, panel={"main": panel}), assembly)]
    (one,) = (s for s in found if "'boost'" in s and "minutes of arc" in s)
    assert "lamp 'lamp number 0'" in one


def test_how_much_light_pages_give_by_night_is_told() -> None:
    (light,) = (s for s in told(config()) if "by night" in s)
    assert light.startswith("note: by night and with ordinary values pages on panel main give, of its white: boost ")
    assert "dimmed to 0.3" in light


def test_a_page_that_is_bright_by_night_is_told() -> None:
    scale = Scale(0.0, 8.0, 0.0, (Zone(0.0, 8.0, Role.CAUTION),))
    full = Reading("x", 8.0, 8.0, "V", 1, Age.FRESH, 0.0, Quality.GOOD, "made up")

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        for number in range(4):
            canvas.column(str(number), full, scale)

    found = [str(finding) for finding in readable(*with_page(Page("x", "X", draw, ())))]
    assert any(s.startswith("warning: page 'boost' on panel main is bright by night: ") for s in found)


def test_rows_for_which_there_is_no_room_are_named() -> None:
    page = "temperatures"
    found = told(config("width_mm = 24\nviewing_distance_mm = 800\n"))
    (one,) = (s for s in found if f"page '{page}' on panel main: there is no room for" in s)
    assert one.startswith("warning: ")
    assert "engine oil" not in one
    assert "-> put them on a page of their own, or mount the panel nearer" in one
    assert not any("there is no room" in s for s in told(config("width_mm = 60\nviewing_distance_mm = 600\n")))
