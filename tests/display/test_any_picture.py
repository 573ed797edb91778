"""Any picture on any panel: the painter never raises, and what it paints bit by bit equals what it paints at once."""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import ImageChops

from underdash.contract.pages import Role, Scale, Zone
from underdash.contract.signals import Age
from underdash.contract.words import Lamp, Words
from underdash.display.elements import STRIP_COLUMNS, Column, Figure, Picture, Row, Strip, Sweep
from underdash.display.fonts import Fonts
from underdash.display.kit import Painter
from underdash.display.round import Face

FONTS = Fonts()
PHASES = (Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink)
SIZES = [(1, 1), (16, 16), (3, 40), (64, 20), (128, 128), (160, 128), (240, 240), (240, 320), (320, 240), (480, 96)]

roles, ages = st.sampled_from(Role), st.sampled_from(Age)
texts = st.one_of(
    st.sampled_from(["", "bar", "°C", "°", "gearbox oil", "--", "W" * 48, "a b c d"]), st.text(max_size=60)
)
numbers = st.one_of(st.none(), st.floats(), st.floats(-2.0, 2.0))


@st.composite
def scales(draw: st.DrawFn) -> Scale:
    low, zero, high = sorted(draw(st.lists(st.floats(-1e308, 1e308), min_size=3, max_size=3, unique=True)))
    ends = st.one_of(st.floats(), st.floats(low, high))
    zones = st.builds(Zone, ends, ends, roles)
    return Scale(low, high, zero, tuple(draw(st.lists(zones, max_size=3))))


words = st.none() | st.builds(Words, texts, roles)
sweeps = st.builds(Sweep, numbers, scales() | st.just(Scale(-1.0, 2.0, 0.0)), numbers, ages, numbers, st.booleans())
digits = st.one_of(st.sampled_from(["0.72", "104", "--", "9e+12", ""]), st.text(max_size=60))
figures = st.builds(
    Figure,
    digits,
    st.sampled_from(["", "-", "+"]),
    st.sampled_from(["", ">", "<"]),
    texts,
    ages,
    st.booleans(),
    st.integers(0, 3),
)
histories = st.lists(numbers, max_size=4).map(lambda few: (*few, *(0.5,) * (STRIP_COLUMNS - len(few))))
rows = st.lists(st.builds(Row, texts, texts, texts, roles, ages), max_size=4).map(tuple)
columns = st.lists(st.builds(Column, texts, sweeps, texts, texts), max_size=4).map(tuple)
lamps = st.lists(st.builds(Lamp, texts, st.none() | st.booleans(), roles, ages), max_size=4).map(tuple)
lines = st.lists(st.builds(Words, texts, roles), max_size=6).map(tuple)
pictures = st.builds(
    Picture,
    sweep=st.none() | sweeps,
    figure=st.none() | figures,
    title=texts,
    strip=st.none() | st.builds(Strip, histories, scales()),
    rows=rows,
    remark=words,
    banner=words,
    ring=st.floats(),
    sentence=words,
    columns=columns,
    lamps=lamps,
    lines=lines,
)


@settings(max_examples=25, deadline=None, phases=PHASES, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(SIZES), st.booleans(), st.lists(pictures, min_size=2, max_size=3))
def test_any_picture_is_painted_and_bit_by_bit_as_at_once(
    size: tuple[int, int], is_round: bool, shown: list[Picture]
) -> None:
    face = Face(*size, is_round)
    painter = Painter(face, fonts=FONTS)
    for picture in shown:
        image, boxes = painter.paint(picture)
        at_once = Painter(face, fonts=FONTS).paint(picture)[0]
        assert ImageChops.difference(image, at_once).getbbox() is None
        assert all(0 <= box[0] < box[2] <= size[0] and 0 <= box[1] < box[3] <= size[1] for box in boxes)


@settings(max_examples=25, deadline=None, phases=PHASES, suppress_health_check=list(HealthCheck))
@given(st.sampled_from([(240, 240), (320, 240)]), st.lists(sweeps, min_size=2, max_size=4), scales(), figures)
def test_what_moves_on_a_page_is_painted_bit_by_bit_as_at_once(
    size: tuple[int, int], moments: list[Sweep], scale: Scale, figure: Figure
) -> None:
    face = Face(*size, False)
    painter = Painter(face, fonts=FONTS)
    for moment in moments:
        moving = Sweep(moment.value, scale, moment.peak, moment.age, moment.average, moment.coarse)
        column = Column("x", moving, str(moment.value)[:5], "")
        for picture in (Picture(sweep=moving, figure=figure), Picture(columns=(column, column))):
            image, _ = painter.paint(picture)
            at_once = Painter(face, fonts=FONTS).paint(picture)[0]
            assert ImageChops.difference(image, at_once).getbbox() is None
