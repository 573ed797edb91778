"""From a recorded picture to what it says, for panels that draw by themselves."""

from __future__ import annotations

from ..contract.content import Content, Share, Shown, Upright
from ..contract.pages import ALARMS, Role, Scale
from .elements import Column, Figure, Picture, Row, Sweep, share_of
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
        tuple(_upright(column) for column in picture.columns),
        picture.lamps,
        picture.lines,
    )


def _value(figure: Figure, sweep: Sweep | None) -> Shown:
    """Return the main value; where its band is in a zone that warns, so is its colour."""
    return Shown(f"{figure.mark}{figure.sign}{figure.digits}", figure.unit, _loud(sweep), figure.age)


def _loud(sweep: Sweep | None) -> Role:
    role = role_of(sweep) if sweep is not None and sweep.value is not None else Role.INK
    return role if role in ALARMS else Role.INK


def _row(row: Row) -> Shown:
    return Shown(row.text, row.unit, row.role, row.age, row.label)


def _upright(column: Column) -> Upright:
    sweep = column.sweep
    return Upright(Shown(column.text, column.unit, _loud(sweep), sweep.age, column.label), _share(sweep))


def _share(sweep: Sweep) -> Share:
    scale = sweep.scale
    places = [_on(scale, value) for value in (sweep.value, sweep.peak, sweep.average)]
    return Share(places[0], share_of(scale, scale.zero), places[1], role_of(sweep), places[2])


def _on(scale: Scale, value: float | None) -> float | None:
    """Return the place of a value on a scale, 0..1."""
    return None if value is None else share_of(scale, value)
