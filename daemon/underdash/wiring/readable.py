"""Whether the pages of each panel can be read: every page is drawn with made-up values and what is drawn is judged.

Drawn by day and by night with no value, ordinary values, both ends of what is plausible, and doubtful ones, so that
sizes and contrasts come from the layout and the pixels a driver would see.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil

from ..config.checking import Finding, Level
from ..config.panels import PanelConfig
from ..config.schema import Config
from ..contract.errors import raised
from ..contract.pages import Page, Role
from ..contract.signals import Quality
from ..contract.words import Words
from ..display.contrast import least_ratio, measured
from ..display.dimming import Dimming
from ..display.elements import Picture
from ..display.fonts import Fonts
from ..display.kit import Painter
from ..display.layout import Layout, arrange
from ..display.legibility import ACCEPTABLE_ARCMIN, LEAST_ARCMIN, RECOMMENDED_ARCMIN, Viewing
from ..display.palettes import DAY, Palette, night
from ..display.recorder import record
from ..display.round import Face
from ..display.texts import LIST, ROW, Text, texts_of
from .assembly import Assembly
from .lighting import light_of, lighting
from .made_up import made_up, ordinary
from .panels import dimming_options
from .status_page import News, StatusPage

GRADES = (
    (LEAST_ARCMIN, "the least that can be read"),
    (ACCEPTABLE_ARCMIN, "acceptable"),
    (RECOMMENDED_ARCMIN, "recommended"),
)
LINES = (("buses", "1/2 heard"), ("key", "on"), ("requests", "12/s"), ("values", "7/8"))
"""What the status page is tried with."""


def readable(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """Judge the pages of all panels; see the module."""
    status = StatusPage()
    status.news = News(
        "bus drive is silent: wake the car, check the plug", lines=tuple((a, b, Role.INK) for a, b in LINES)
    )
    pages = {page.name: page for page in (status.page, *assembly.pages)}
    fonts, at_night = Fonts(), night(config.dimming.night_hue)
    night_level = Dimming(dimming_options(config, assembly.car.knob_applies)).aim(night=True, knob=None)
    for name, panel in config.panel.items():
        lights: dict[str, tuple[float, float]] = {}
        for page in (pages[wanted] for wanted in panel.deck if wanted in pages):
            where = f"page {page.name!r} on panel {name}"
            try:
                # within the list, so that whatever a page or its drawing raises is told as that page's
                pictures = list(_pictures(page, panel, assembly))
                standing = page is status.page
                yield from list(_judged(where, pictures, panel, (DAY, at_night), fonts, standing=standing))
                lights[page.name] = light_of(pictures[1], panel.face, at_night, fonts)
            except Exception as exc:
                yield Finding(Level.WARNING, f"{where} cannot be drawn: {raised(exc)}", "tell its author")
        yield from lighting(name, lights, night_level)
        if panel.viewing is None:
            sentence = f"how large panel {name} is was not said, so whether its pages can be read is not known"
            yield Finding(Level.NOTE, sentence, f"give width_mm and viewing_distance_mm in [panel.{name}]")


def _judged(
    where: str,
    pictures: list[Picture],
    panel: PanelConfig,
    palettes: tuple[Palette, ...],
    fonts: Fonts,
    *,
    standing: bool,
) -> Iterator[Finding]:
    face = panel.face
    layouts = [arrange(picture, face, fonts) for picture in pictures]
    yield from left_out(where, layouts)
    if panel.viewing is not None:
        found = [texts_of(picture, layout, fonts) for picture, layout in zip(pictures, layouts, strict=True)]
        yield from sizes(where, found, panel.viewing, face, standing=standing)
    for palette in palettes:
        yield from contrasts(where, pictures[1:2] + pictures[-1:], face, palette, fonts)


def _pictures(page: Page, panel: PanelConfig, assembly: Assembly) -> Iterator[Picture]:
    """Draw a page in every moment, then with each alert on it."""
    usual = ordinary(assembly, page, panel.size)
    seen = [made_up(assembly, page, share) for share in (None, usual, 0.0, 1.0)]
    seen.append(made_up(assembly, page, usual, Quality.ASSUMED))
    for snapshot in seen:
        yield record(page, snapshot, panel.size)
    for alert in assembly.brought.alerts:
        yield record(page, seen[1], panel.size, Words(alert[1].text, alert[1].role))


def sizes(
    where: str, found: Iterable[list[Text]], viewing: Viewing, face: Face, *, standing: bool = False
) -> Iterator[Finding]:
    """Tell which parts of a page fill less than the angles that are wanted, by the smallest of each part.

    What is read while the car stands, a list or a page that is for it, is told as a note however small it is.
    """
    smallest: dict[str, Text] = {}
    for one in found:
        for text in one:
            if text.informs and (text.part not in smallest or text.height_px < smallest[text.part].height_px):
                smallest[text.part] = text
    at_rest = {part for part in smallest if standing or part == LIST}
    for parts, level in ((smallest.keys() - at_rest, None), (at_rest, Level.NOTE)):
        yield from _small(where, [smallest[part] for part in parts], viewing, face, level)


def _small(where: str, texts: Iterable[Text], viewing: Viewing, face: Face, level: Level | None) -> Iterator[Finding]:
    angles = [(round(viewing.angle(text.height_px, face.width), 1), text) for text in texts]
    small = sorted(((angle, text) for angle, text in angles if angle < RECOMMENDED_ARCMIN), key=lambda one: one[0])
    if not small:
        return
    least, text = small[0]
    aim, meaning = next((angle, said) for angle, said in GRADES if least < angle)
    what = ", ".join(f"{one.part} {one.text!r} {angle:g}" for angle, one in small)
    across, away = viewing.needed(text.height_px, face.width, aim)
    fewer = ", or show fewer rows" if text.part == ROW else ""
    rest = ", to be read while the car stands" if level else ""
    yield Finding(
        level or (Level.WARNING if aim == LEAST_ARCMIN else Level.NOTE),
        f"{where}{rest}: minutes of arc at {viewing.distance_mm:g} mm: {what}; {aim:g} are {meaning}",
        f"mount it {int(away)} mm from the eyes, or take a panel {ceil(across)} mm across{fewer}",
    )


def left_out(where: str, layouts: Iterable[Layout]) -> Iterator[Finding]:
    """Tell which rows of a page are not shown, because they could not be read."""
    most = max((layout.dropped for layout in layouts), key=len, default=())
    if most:
        names = ", ".join(most)
        sentence = f"{where}: there is no room for {len(most)} of its rows at a size that can be read: {names}"
        yield Finding(Level.WARNING, sentence, "put them on a page of their own, or mount the panel nearer")


def contrasts(where: str, pictures: Iterable[Picture], face: Face, palette: Palette, fonts: Fonts) -> Iterator[Finding]:
    """Tell which texts of a page stand out too little from what is behind them."""
    aim = least_ratio(palette.name)
    weak: dict[str, tuple[float, str]] = {}
    for picture in pictures:
        image, _ = Painter(face, palette, fonts).paint(picture)
        texts = texts_of(picture, arrange(picture, face, fonts), fonts)
        for text, ratio in zip(texts, measured(image, texts), strict=True):
            if not text.text.strip("- "):  # dashes are strokes with gaps between
                continue
            if ratio < min(aim, weak.get(text.part, (aim, ""))[0]):
                weak[text.part] = ratio, text.text
    for part, (ratio, words) in weak.items():
        sentence = f"{where}: {part} {words!r} has a contrast of {ratio:.1f}:1 by {palette.name}, {aim:g}:1 is needed"
        yield Finding(Level.WARNING, sentence, "tell the author of the page")
