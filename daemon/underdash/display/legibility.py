"""Whether characters on a panel can be read from the driver's seat.

The angles are those ISO 15008 is known for (character height, clause 4.5.2 of the 2017 edition): 20 minutes of arc
recommended, 16 acceptable, 12 least. They were written down from memory, without the standard at hand, so they may
differ from it; what is said here is no statement of conformity. Text that does not change, such as the name of a value
or of its unit, is outside the standard's scope and not judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, ceil, degrees, radians, tan

RECOMMENDED_ARCMIN = 20.0
ACCEPTABLE_ARCMIN = 16.0
LEAST_ARCMIN = 12.0


def arcmin(height_px: float, panel_mm: float, distance_mm: float, panel_px: int = 240) -> float:
    """Return the angle a character of this height fills, in minutes of arc.

    Args:
        height_px: height of a digit or capital letter.
        panel_mm: what `panel_px` pixels measure on the panel.
        distance_mm: from the eye to the panel.
        panel_px: pixels across the panel.
    """
    return degrees(2 * atan(height_px * panel_mm / panel_px / 2 / distance_mm)) * 60


def least_px(angle_arcmin: float, panel_mm: float, distance_mm: float, panel_px: int = 240) -> int:
    """Return the least height in pixels that fills an angle."""
    height_mm = 2 * distance_mm * tan(radians(angle_arcmin / 60) / 2)
    return ceil(height_mm * panel_px / panel_mm)


def legible(
    px: float, panel_mm: float, distance_mm: float, *, panel_px: int = 240, least_arcmin: float = LEAST_ARCMIN
) -> bool:
    """Say whether a character of `px` pixels can be read at this distance; see `arcmin` for the arguments."""
    return arcmin(px, panel_mm, distance_mm, panel_px) >= least_arcmin


@dataclass(frozen=True, slots=True)
class Viewing:
    """From where a panel is seen.

    Args:
        width_mm: across the lit area.
        distance_mm: from the driver's eyes to the panel.
    """

    width_mm: float
    distance_mm: float

    def angle(self, height_px: float, panel_px: int) -> float:
        """Return the angle a character fills on a panel of so many pixels across, in minutes of arc."""
        return arcmin(height_px, self.width_mm, self.distance_mm, panel_px)

    def least_px(self, panel_px: int) -> int:
        """Return how many pixels a character needs at least on a panel of so many pixels across."""
        return least_px(LEAST_ARCMIN, self.width_mm, self.distance_mm, panel_px)

    def needed(self, height_px: float, panel_px: int, angle_arcmin: float) -> tuple[float, float]:
        """Return how wide the panel would have to be, or from how near to be seen, for a character to fill an angle.

        Returns:
            Millimetres across at this distance, and millimetres away at this width.
        """
        height_mm = height_px * self.width_mm / panel_px
        wanted_mm = 2 * self.distance_mm * tan(radians(angle_arcmin / 60) / 2)
        more = wanted_mm / height_mm
        return self.width_mm * more, self.distance_mm / more
