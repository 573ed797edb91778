"""How much light a page gives: means of relative luminance (WCAG 2.2) over what is visible of the panel.

In cd/m2 it is an estimate: the mean times the luminance of the panel's white, times the level the panel is dimmed to.
Nothing large is bright by night: what the limits here are is ours, no standard's.
"""

from __future__ import annotations

from typing import cast

from PIL import Image

from .palettes import WEIGHTS, Colour, linear, luminance

WHITE_CD_M2 = 300.0
"""Luminance of white assumed where the panel's is not known; small panels are sold with 200 to 400."""
NIGHT_MEAN = 0.06
"""Most that a page may give at night, of the panel's white: 18 cd/m2 at a white of 300 before it is dimmed."""
BRIGHT, BRIGHT_SHARE = 0.5, 0.1
"""What is bright, and most that may be of it at night."""


def mean_luminance(image: Image.Image, visible: Image.Image | None = None) -> float:
    """Return the mean relative luminance of an image, 0 (black) to 1 (white).

    Args:
        image: the page.
        visible: a mask of what can be seen of it, None for all.
    """
    mask = visible.point([0] * 128 + [255] * 128) if visible is not None else None
    counts = image.convert("RGB").histogram(mask)
    pixels = sum(counts[:256])
    return (
        sum(
            weight * sum(count * linear(level / 255) for level, count in enumerate(counts[256 * i : 256 * i + 256]))
            for i, weight in enumerate(WEIGHTS)
        )
        / pixels
    )


def bright_share(image: Image.Image, least: float, visible: Image.Image | None = None) -> float:
    """Return the share of the visible pixels that are brighter than a relative luminance."""
    seen, pixels = image.convert("RGB"), image.width * image.height
    if visible is not None:
        mask = visible.point([0] * 128 + [255] * 128)
        seen, pixels = Image.composite(seen, Image.new("RGB", seen.size), mask), mask.histogram()[255]
    colours = cast("list[tuple[int, Colour]]", seen.getcolors(seen.width * seen.height))
    return sum(count for count, colour in colours if luminance(colour) > least) / pixels


def candela(mean: float, level: float = 1.0, white_cd_m2: float = WHITE_CD_M2) -> float:
    """Return what a mean relative luminance comes to in cd/m2 on a panel dimmed to a level (linear light, 0..1)."""
    return mean * level * white_cd_m2
