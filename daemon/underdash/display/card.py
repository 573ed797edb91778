"""The test card: what an owner looks at to see at once how a panel is wired and set.

An arrow up (rotation), a line along the panel's edge (size, offset and shape), and bars of pure red, green and blue in
this order from the left (order of colours, inversion), on black; grey steps below (depth of colour).
"""

from __future__ import annotations

from PIL import Image

from ..contract.pages import Canvas, Page, Role
from ..contract.signals import Snapshot
from .fonts import BOLD, Fonts
from .recorder import Recorder
from .round import Face
from .smooth import Patch

NAME = "test-card"
WHITE = 255, 255, 255
BARS = (("R", (255, 0, 0)), ("G", (0, 255, 0)), ("B", (0, 0, 255)))
GREYS = 8


def _draw(canvas: Canvas, snapshot: Snapshot) -> None:
    if isinstance(canvas, Recorder):
        canvas.card()
    # for panels that draw by themselves
    canvas.title("test card")
    canvas.sentence("up is up; panels that take pixels show a card", Role.INK)


CARD = Page(NAME, "Test card", _draw, needs=(), period_s=1.0)


def paint_card(face: Face, fonts: Fonts) -> Image.Image:
    """Return the test card for a panel."""
    image = Image.new("RGB", (face.width, face.height))
    u, (x, y) = face.unit, face.centre
    _paste(image, _edge(face), WHITE)
    tip, wide = y - 96 * u, 26 * u
    arrow = Patch(face.box)
    arrow.polygon([(x, tip), (x + wide, tip + 34 * u), (x - wide, tip + 34 * u)])
    arrow.area(x - 7 * u, tip + 32 * u, x + 7 * u, tip + 62 * u)
    _paste(image, arrow.mask(), WHITE)
    for number, (name, colour) in enumerate(BARS):
        left = round(x + (number - 1.5) * 46 * u)
        box = (
            left,
            round(y - 26 * u),
            max(round(left + 46 * u), left + 1),
            max(round(y + 30 * u), round(y - 26 * u) + 1),
        )
        image.paste(colour, box)
        mask = fonts.line(BOLD, max(7, round(22 * u)), name)
        image.paste((0, 0, 0), ((box[0] + box[2] - mask.width) // 2, round(y - 8 * u)), mask)
    for step in range(GREYS):
        level = round(255 * (step + 1) / GREYS)
        ends = [round(x + (step + end - GREYS / 2) * 17.25 * u) for end in (0, 1)]
        image.paste((level,) * 3, (ends[0], round(y + 36 * u), ends[1], round(y + 54 * u)))
    size = fonts.line(BOLD, max(7, round(22 * u)), f"{face.width}×{face.height}")
    image.paste(WHITE, (round(x - size.width / 2), round(y + 66 * u)), size)
    return image


def _edge(face: Face) -> Image.Image:
    """Return a line of one pixel along the edge, and a thicker one inside it."""
    patch = Patch(face.box)
    if face.round:
        radius = min(face.width, face.height) / 2
        for inset, fill in ((0.0, 255), (1.2, 0), (4.0 * face.unit, 255), (6.0 * face.unit, 0)):
            patch.disc(face.centre, radius - inset, fill)
        return patch.mask()
    image = patch.mask()
    for inset, fill in ((0, 255), (1, 0), (4, 255), (6, 0)):
        box = inset, inset, face.width - inset, face.height - inset
        if box[0] < box[2] and box[1] < box[3]:
            image.paste(fill, box)
    return image


def _paste(image: Image.Image, mask: Image.Image, colour: tuple[int, int, int]) -> None:
    image.paste(colour, (0, 0), mask)
