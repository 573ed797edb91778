"""How much light a page gives: means of relative luminance (WCAG 2.2) over what is visible of the panel.

In cd/m2 it is an estimate: the mean times the luminance of the panel's white, times the level the panel is dimmed to.
Of the shipped pages at night, with normal values, the boost page has a mean of 0.024 and the temperatures page one of
0.044, whatever the hue: 7 and 13 cd/m2 at a white of 300, before the panel is dimmed.
"""

from __future__ import annotations

from PIL import Image

from .palettes import WEIGHTS, linear

WHITE_CD_M2 = 300.0
"""Luminance of white assumed where the panel's is not known; small panels are sold with 200 to 400."""


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
    flat = image.convert("RGB").tobytes()
    seen = [True] * (image.width * image.height) if visible is None else [cover >= 128 for cover in visible.tobytes()]
    tables = [[weight * linear(level / 255) for level in range(256)] for weight in WEIGHTS]
    bright = sum(
        tables[0][flat[3 * i]] + tables[1][flat[3 * i + 1]] + tables[2][flat[3 * i + 2]] > least
        for i, is_seen in enumerate(seen)
        if is_seen
    )
    return bright / sum(seen)


def candela(mean: float, level: float = 1.0, white_cd_m2: float = WHITE_CD_M2) -> float:
    """Return what a mean relative luminance comes to in cd/m2 on a panel dimmed to a level (linear light, 0..1)."""
    return mean * level * white_cd_m2
