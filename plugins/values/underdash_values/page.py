"""Pages of configured values."""

from __future__ import annotations

from underdash import Canvas, Page, Reading, Role, Scale, Snapshot, Zone

from .settings import Value, ValuesPage


def values_page(name: str, settings: ValuesPage) -> Page:
    """Return a page under these settings."""
    first, rest, labels = settings.values[0], settings.values[1:], settings.labels
    title = settings.title or labels[0]

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        reading = snapshot.reading(first.signal)
        canvas.title(title)
        scale = scale_for(first, snapshot)
        if scale is not None:
            canvas.sweep(reading, scale)
        canvas.figure(reading)
        if rest:
            canvas.rows(tuple(_row(*one, snapshot) for one in zip(rest, labels[1:], strict=True)))
        elif scale is not None:
            canvas.strip(snapshot.history(first.signal), scale, seconds=settings.history_s)
        named = zip(settings.values, labels, strict=True)
        lacking = [label for value, label in named if not snapshot.reading(value.signal).provided]
        if lacking:
            canvas.remark(f"no source for {lacking[0]}")

    histories = () if rest or first.low is None else ((first.signal, settings.history_s),)
    needs = tuple(value.signal for value in settings.values)
    return Page(name, title, draw, needs, period_s=settings.period_s, histories=histories)


def role_of(value: Value, number: float | None) -> Role:
    """Return how a number in the stored unit is shown."""
    if number is None:
        return Role.SOFT
    ends = ((value.warning, value.warning_below, Role.WARNING), (value.caution, value.caution_below, Role.CAUTION))
    for above, below, role in ends:
        if (above is not None and number >= above) or (below is not None and number < below):
            return role
    return Role.INK


def scale_for(value: Value, snapshot: Snapshot) -> Scale | None:
    """Return the scale in the shown unit, None where the configuration has none."""
    if value.low is None or value.high is None:
        return None
    low, high = value.low, value.high
    low_caution = value.low if value.warning_below is None else value.warning_below
    high_caution = value.high if value.warning is None else value.warning
    stretches = (
        (low, value.warning_below, Role.WARNING),
        (low_caution, value.caution_below, Role.CAUTION),
        (value.caution, high_caution, Role.CAUTION),
        (value.warning, high, Role.WARNING),
    )

    def shown(number: float) -> float:
        return snapshot.shown(value.signal, number)

    zones = tuple(Zone(shown(a), shown(b), role) for a, b, role in stretches if a is not None and b is not None)
    return Scale(shown(low), shown(high), shown(min(max(0.0, low), high)), zones)


def _row(value: Value, label: str, snapshot: Snapshot) -> tuple[str, Reading, Role]:
    return label, snapshot.reading(value.signal), role_of(value, snapshot.number(value.signal))
