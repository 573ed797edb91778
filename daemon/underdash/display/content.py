"""From a recorded picture to what it says, for panels that draw by themselves."""

from __future__ import annotations

from ..contract.content import Content, Share, Shown
from ..contract.pages import Role, Scale
from .elements import Figure, Picture, Row, Sweep
from .sweep import role_of


def content_of(page: str, picture: Picture, *, night: bool = False) -> Content:
    """Return what a picture says.

    Args:
        page: the page's name.
        picture: what the page put on its canvas.
        night: whether it is dark outside.
    """
    return Content(
        page,
        picture.title,
        None if picture.figure is None else _value(picture.figure, picture.sweep),
        None if picture.sweep is None else _share(picture.sweep),
        tuple(_row(row) for row in picture.rows),
        picture.sentence,
        picture.remark,
        picture.banner,
        night,
        picture.ring,
    )


def _value(figure: Figure, sweep: Sweep | None) -> Shown:
    """Return the main value; where its band is in a zone that warns, so is its colour."""
    role = role_of(sweep) if sweep is not None and sweep.value is not None else Role.INK
    if role not in (Role.CAUTION, Role.WARNING):
        role = Role.INK
    return Shown(f"{figure.mark}{figure.sign}{figure.digits}", figure.unit, role, figure.age)


def _row(row: Row) -> Shown:
    return Shown(row.text, row.unit, row.role, row.age, row.label)


def _share(sweep: Sweep) -> Share:
    scale = sweep.scale
    zero = _on(scale, scale.zero) or 0.0
    return Share(_on(scale, sweep.value), zero, _on(scale, sweep.peak), role_of(sweep))


def _on(scale: Scale, value: float | None) -> float | None:
    """Return the place of a value on a scale, 0..1."""
    return None if value is None else min(max((value - scale.low) / (scale.high - scale.low), 0.0), 1.0)
