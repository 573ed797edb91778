"""The model against the data sheets' rules, spelled out by hand."""

from __future__ import annotations

import pytest
from PIL import Image

from underdash.display.panels import dcs
from underdash.display.panels.model import ModelError, PanelModel
from underdash.display.panels.wire import Wire

RED, GREEN, BLUE, WHITE = b"\xf8\x00", b"\x07\xe0", b"\x00\x1f", b"\xff\xff"
SEEN = {RED: (248, 0, 0), GREEN: (0, 252, 0), BLUE: (0, 0, 248), WHITE: (248, 252, 248)}


def awake(model: PanelModel, madctl: int = 0, colmod: int = dcs.RGB565) -> Wire:
    wire = model.wire()
    wire.reset()
    wire.command(dcs.SLPOUT)
    wire.register(dcs.MADCTL, madctl)
    wire.register(dcs.COLMOD, colmod)
    wire.command(dcs.DISPON)
    return wire


def window(wire: Wire, left: int, top: int, right: int, bottom: int) -> None:
    wire.register(dcs.CASET, 0, left, 0, right)
    wire.register(dcs.RASET, 0, top, 0, bottom)
    wire.command(dcs.RAMWR)


def test_a_window_ends_where_it_says_and_pixels_wrap_in_it_row_by_row() -> None:
    model = PanelModel((8, 6))
    wire = awake(model)
    window(wire, 3, 1, 4, 2)
    wire.data(RED + GREEN + BLUE + WHITE)
    seen = model.seen()
    assert [seen.getpixel(at) for at in ((3, 1), (4, 1), (3, 2), (4, 2))] == [
        SEEN[c] for c in (RED, GREEN, BLUE, WHITE)
    ]
    wire.data(WHITE)
    assert model.seen().getpixel((3, 1)) == SEEN[WHITE], "behind its end a window begins anew"


def test_pixels_may_be_cut_anywhere_and_go_on_after_another_command() -> None:
    model = PanelModel((8, 6))
    wire = awake(model)
    window(wire, 0, 0, 1, 1)
    wire.data(RED + GREEN[:1])
    wire.data(GREEN[1:] + BLUE)
    wire.command(dcs.RAMWRC)
    wire.data(WHITE)
    seen = model.seen()
    assert [seen.getpixel(at) for at in ((0, 0), (1, 0), (0, 1), (1, 1))] == [
        SEEN[c] for c in (RED, GREEN, BLUE, WHITE)
    ]


def test_eighteen_bits_take_three_bytes() -> None:
    model = PanelModel((8, 6))
    wire = awake(model, colmod=dcs.RGB666)
    window(wire, 0, 0, 1, 0)
    wire.data(bytes((255, 4, 8, 3, 128, 64)))
    assert [model.seen().getpixel((x, 0)) for x in (0, 1)] == [(252, 4, 8), (0, 128, 64)]


@pytest.mark.parametrize(
    ("madctl", "place"),
    [
        (0x00, (2, 1)),
        (dcs.COLUMNS_BACK, (5, 1)),
        (dcs.ROWS_BACK, (2, 4)),
        (dcs.ROWS_BACK | dcs.COLUMNS_BACK, (5, 4)),
        (dcs.EXCHANGED, (1, 2)),
        (dcs.EXCHANGED | dcs.COLUMNS_BACK, (6, 2)),
        (dcs.EXCHANGED | dcs.ROWS_BACK, (1, 3)),
        (dcs.EXCHANGED | dcs.ROWS_BACK | dcs.COLUMNS_BACK, (6, 3)),
    ],
)
def test_each_direction_of_memory(madctl: int, place: tuple[int, int]) -> None:
    model = PanelModel((8, 6))
    wire = awake(model, madctl)
    window(wire, 2, 1, 3, 1)
    wire.data(RED + GREEN)
    assert model.seen().getpixel(place) == SEEN[RED]


def test_colours_need_the_order_and_the_inversion_of_the_glass() -> None:
    model = PanelModel((8, 6), blue_first=True, inverting=True)
    wire = awake(model)
    window(wire, 0, 0, 0, 0)
    wire.data(RED)
    assert model.seen().getpixel((0, 0)) == (255, 255, 7), "blue, and as a negative"
    wire.command(dcs.INVON)
    assert model.seen().getpixel((0, 0)) == (0, 0, 248)
    wire.register(dcs.MADCTL, dcs.BGR)
    assert model.seen().getpixel((0, 0)) == SEEN[RED]


def test_it_is_black_while_it_sleeps_or_is_off_and_keeps_its_memory() -> None:
    model = PanelModel((8, 6))
    wire = awake(model)
    window(wire, 0, 0, 7, 5)
    wire.data(WHITE * 48)
    shown = model.seen()
    wire.command(dcs.DISPOFF)
    assert model.seen().getbbox() is None
    wire.command(dcs.DISPON)
    assert model.seen().tobytes() == shown.tobytes()
    wire.command(dcs.SLPIN)
    assert model.seen().getbbox() is None


def test_memory_holds_snow_after_power_came() -> None:
    model = PanelModel((8, 6))
    awake(model)
    assert len(model.seen().getcolors() or ()) > 20


ANGLES = (None, Image.Transpose.ROTATE_270, Image.Transpose.ROTATE_180, Image.Transpose.ROTATE_90)


@pytest.mark.parametrize(
    ("scan", "rows"), [((0x00, 0x20), (0x08, 0x68, 0xCC, 0xA8)), ((0x00, 0x00), (0x48, 0x28, 0x88, 0xE8))]
)
def test_both_families_of_a_gc9a01_turn_and_never_mirror(scan: tuple[int, int], rows: tuple[int, ...]) -> None:
    """The rows of MADCTL of two public drivers, each with the B6 it sends."""
    for madctl, angle in zip(rows, ANGLES, strict=True):
        model = PanelModel.gc9a01()
        wire = awake(model, madctl)
        wire.register(0xB6, *scan)
        wire.command(dcs.INVON)
        window(wire, 0, 0, 239, 239)
        wire.data(RED * 100 + GREEN * (240 * 240 - 100))
        upright = Image.new("RGB", (240, 240), SEEN[GREEN])
        upright.paste(SEEN[RED], (0, 0, 100, 1))
        expected = upright if angle is None else upright.transpose(angle)
        assert model.seen().tobytes() == expected.tobytes(), f"MADCTL {madctl:02X}"
        wire.register(0xB6, 0, scan[1] ^ 0x20)
        assert model.seen().tobytes() != expected.tobytes(), "the other family's B6 mirrors it"


def test_it_complains_of_what_a_controller_would_not_take() -> None:
    model = PanelModel((8, 6))
    wire = awake(model)
    with pytest.raises(ModelError, match=r"window 4\.\.8 is not in a memory of 8x6"):
        wire.register(dcs.CASET, 0, 4, 0, 8)
    with pytest.raises(ModelError, match=r"window 3\.\.2"):
        wire.register(dcs.RASET, 0, 3, 0, 2)
    with pytest.raises(ModelError, match="neither 16 nor 18"):
        wire.register(dcs.COLMOD, 0x03)


def test_it_complains_of_haste() -> None:
    model = PanelModel((8, 6))
    hasty = Wire(model, *(Quiet() for _ in range(2)), waits={}, sleep=lambda seconds: None)
    hasty.command(dcs.SLPOUT)
    with pytest.raises(ModelError, match="too soon after waking"):
        hasty.command(dcs.DISPON)
    model.now += 0.01
    with pytest.raises(ModelError, match="sleep changes again"):
        hasty.command(dcs.SLPIN)


class Quiet:
    def set(self, on: bool) -> None: ...

    def close(self) -> None: ...


def test_an_error_comes_in_the_middle_and_what_went_before_arrived() -> None:
    model = PanelModel((8, 6))
    wire = awake(model)
    window(wire, 0, 0, 7, 5)
    model.break_after = 6
    with pytest.raises(OSError, match="Input/output"):
        wire.data(WHITE * 48)
    white = [model.seen().getpixel((x, 0)) == SEEN[WHITE] for x in range(4)]
    assert white == [True, True, True, False]
    wire.command(dcs.DISPOFF)
    assert not model.on, "it works again afterwards"
