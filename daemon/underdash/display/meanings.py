"""What colours mean on a dashboard, and which of ours say it.

The meanings are those ISO 2575 is cited for (clause 5, colour coding; UN informal document GRSG-110-06 cites it), the
wording is from memory, without the standard at hand: red is danger, stop or act now; amber (yellow) is caution, look
into it soon; green is normal operation. Blue belongs to the high beam's tell-tale alone (UN R121, table 1); nothing
here is a tell-tale of that kind.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..contract.pages import Role


@dataclass(frozen=True, slots=True)
class Meant:
    """A colour that means something on a dashboard, and how near to its hue others are taken for it.

    The widths are those within which ink, soft text or bands of that hue come closer to the colour than 20 in
    CIEDE2000, which `tests/display/test_palettes.py` holds against an independent implementation.

    Attributes:
        role: which of ours says it; None where none does.
        says: what it means.
        then: what comes of a night in a hue near it.
    """

    name: str
    role: Role | None
    says: str
    hue_deg: float
    within_deg: float
    then: str

    @property
    def alarms(self) -> bool:
        """Whether a value in it asks something of the driver."""
        return self.role is not None

    def near(self, hue_deg: float) -> bool:
        """Say whether a hue could be taken for it."""
        return abs((hue_deg - self.hue_deg + 180.0) % 360.0 - 180.0) <= self.within_deg


MEANT = (
    Meant(
        "amber of a caution",
        Role.CAUTION,
        "caution: look into it soon",
        37.0,
        20.0,
        "at night a value in its caution zone hardly differs from others",
    ),
    Meant(
        "red of a warning",
        Role.WARNING,
        "danger: stop or act now",
        5.0,
        26.0,
        "at night a value in its warning zone hardly differs from others",
    ),
    Meant("green of normal operation", None, "normal operation", 125.0, 50.0, "at night it means nothing on a page"),
)


def taken_for(hue_deg: float) -> list[Meant]:
    """Return the colours with a meaning that the night of a hue could be taken for."""
    return [one for one in MEANT if one.near(hue_deg)]
