"""How texts stand out from what is really behind them, measured in the pixels that were drawn.

The ratio is that of `palettes.contrast` (W3C Recommendation WCAG 2.2); the least ratios are those of `palettes.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image, ImageChops, ImageFilter

from .palettes import TEXT_CONTRAST, Colour, contrast
from .round import Box
from .texts import Text

COVERED = 250
"""From here a pixel of the mask is the text's own colour; thin strokes have few of them."""
BESIDE_PX = 5
"""Width of the square that is laid around every pixel of a stroke to find what is beside it."""


def measured(image: Image.Image, texts: Sequence[Text]) -> list[float]:
    """Return the contrast ratio of each text against that pixel beside its strokes it stands out from least.

    Args:
        image: the painted page.
        texts: all texts on it, since the box of one may reach into the next.
    """
    strokes = Image.new("L", image.size)
    for text in texts:
        strokes.paste(ImageChops.lighter(strokes.crop(text.box), text.mask), text.box[:2])
    return [_ratio(_pixels(image, text.box), text, strokes.crop(text.box)) for text in texts]


def _ratio(pixels: list[Colour], text: Text, strokes: Image.Image) -> float:
    covers = text.mask.tobytes()
    most = min(COVERED, max(covers))
    own = [pixel for pixel, cover in zip(pixels, covers, strict=True) if cover >= most]
    beside = ImageChops.subtract(text.mask.filter(ImageFilter.MaxFilter(BESIDE_PX)), strokes.point(_anything))
    behind = {pixel for pixel, there in zip(pixels, beside.tobytes(), strict=True) if there}
    if not (most and behind):
        raise ValueError(f"the text {text.text!r} at {text.box} has no strokes, or nothing beside them")
    colour = max(set(own), key=own.count)
    return min(contrast(colour, ground) for ground in behind)


def least_ratio(palette: str) -> float:
    """Return the least contrast of texts in a palette of this name."""
    return TEXT_CONTRAST.get(palette, max(TEXT_CONTRAST.values()))


def _anything(cover: int) -> int:
    return 255 if cover else 0


def _pixels(image: Image.Image, box: Box) -> list[Colour]:
    flat = image.convert("RGB").crop(box).tobytes()
    return [(flat[i], flat[i + 1], flat[i + 2]) for i in range(0, len(flat), 3)]
