"""How large the label, the value and the unit of a row can be."""

from __future__ import annotations

from .elements import Row
from .fonts import BOLD, REGULAR, cap_px
from .lettering import Lettering

LEAST_LABEL = 0.8
LEAST_UNIT = 0.72


class RowPlan:
    """How large the parts of a row can be: label and unit shrink a little before the value does."""

    def __init__(self, setter: Lettering, row: Row, width: float, unit: str, sizes: tuple[float, float]) -> None:
        self.row, self.said_unit = row, unit
        fonts, field = setter.fonts, setter.field
        px, label_px = sizes
        least = field.px(label_px * LEAST_LABEL)
        sizes_px = [field.px(px * share) for share in (1.0, 0.9, 0.8, 0.7)]
        for self.size in [size for size in sizes_px if cap_px(size) >= field.least] or sizes_px[:1]:
            value = fonts.width(BOLD, self.size, max(row.text, "000", key=len)) + 6 * field.unit
            for unit_share in (1.0, LEAST_UNIT):
                self.unit = field.px(label_px * unit_share)
                used = value + (fonts.width(REGULAR, self.unit, unit) + 5 * field.unit if unit else 0.0)
                self.label, text = fonts.fit(REGULAR, field.px(label_px), row.label, width - used, least)
                if text == row.label:
                    return
        # a label that is too long anyway is cut; only a value that leaves no room for it stays small
        if used < width * 0.7:
            self.size = next((size for size in reversed(sizes_px[:3]) if cap_px(size) >= field.least), sizes_px[0])
