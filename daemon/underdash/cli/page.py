"""``underdash page NAME``: draw a page to a picture, from a trace or from given values."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from ..display.palettes import NIGHT_HUE
from .card import NAME as CARD_NAME
from .card import show_card
from .common import add_bus, add_car, assembled, config, number, player, png, put_in_place, seconds
from .given import given

if TYPE_CHECKING:
    from PIL.Image import Image

    from ..contract.pages import Page
    from ..contract.signals import Signal, Value
    from ..wiring.assembly import Assembly


CAR = "tarn"
"""What the page is drawn for if no car is named; its name stands on the standard error then."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("page", metavar="NAME", help="name of the page, such as boost")
    parser.add_argument("--trace", metavar="T", help="take the values from this recording ...")
    parser.add_argument(
        "--at", type=seconds, metavar="SECONDS", help="... so long after its first frame; else at its end"
    )
    add_car(parser, required=False)
    add_bus(parser)
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="SIGNAL=VALUE",
        help="give a value: engine.boost_pressure='0.8 bar'",
    )
    parser.add_argument("--out", metavar="F.png", help="the picture")
    parser.add_argument("--size", default="240x240", metavar="WxH", help="pixels across and down (default %(default)s)")
    parser.add_argument("--shape", choices=("round", "square"), help="of the panel (default: round if WxH are equal)")
    parser.add_argument(
        "--panel", metavar="NAME", help="show test-card on this panel only: of the running daemon, else of --config"
    )
    parser.add_argument("--night", action="store_true", help="in the night's colours")
    parser.add_argument(
        "--hue",
        type=number,
        metavar="DEGREES",
        help=f"of the night (default: dimming.night_hue of --config, else {NIGHT_HUE:g})",
    )


def run(arguments: argparse.Namespace) -> int:
    """Draw the page; a signal nobody provides is named."""
    if arguments.trace and not (arguments.car or arguments.config):
        raise GivenError(
            "--trace needs --car or --config, so that the frames can be understood; underdash plugins lists cars"
        )
    if arguments.at is not None and not arguments.trace:
        raise GivenError("--at says when in a trace; give --trace as well")
    size = _size(arguments.size)
    if arguments.page == CARD_NAME and not arguments.out:
        return show_card(arguments)
    if not arguments.out:
        raise GivenError("--out F.png is missing; it names the picture to be written")
    out = png(arguments.out, "--out")
    if arguments.page == CARD_NAME:
        _save(_card(size, arguments), out)
        return 0
    chosen = arguments.config or arguments.car
    if not chosen:
        arguments.car = CAR
    assembly = assembled(arguments)
    page = _page(assembly, arguments)
    values = [given(text, assembly.catalogue) for text in arguments.set]
    now = 0.0
    if arguments.trace:
        reading = player(assembly, arguments)
        reading.play(arguments.at)
        now = reading.now
    _put(assembly, values, now)
    picture = _draw(assembly, page, now, size, arguments)
    _save(picture, out)
    if not chosen:
        _say(f"the car is {CAR}; --car or --config takes another")
    for sentence in _missing(assembly, page, now):
        print(sentence, file=sys.stderr)
    return 0


def _page(assembly: Assembly, arguments: argparse.Namespace) -> Page:
    """Return the page; where nobody who runs brings it, say which plug-ins could."""
    from ..display.deck import UnknownPageError, find

    name = arguments.page
    idle = [one.name for one in assembly.loaded.installed]
    try:
        return find(assembly.pages, name, "NAME")
    except UnknownPageError as exc:
        remedy = "enable it in that configuration" if arguments.config else "add --config F or --plugin {}"
        if name in idle:
            how = remedy.format(name)
            sentence = f"there is no page {name!r}. The plug-in {name!r} is installed but does not run here: {how}"
            raise GivenError(sentence) from exc
        if not idle:
            raise
        how = remedy.format("NAME")
        raise GivenError(f"{exc} Installed plug-ins that do not run here: {', '.join(idle)}; {how}") from exc


def _put(assembly: Assembly, values: list[tuple[Signal, Value]], now: float) -> None:
    from ..contract.signals import Quality
    from ..signals.store import Rank

    for signal, value in values:
        slot = assembly.store.slot(signal.name, "given", Rank.GIVEN, period_s=60.0)
        slot.put(value, Quality.GOOD, now)


def _draw(assembly: Assembly, page: Page, now: float, size: tuple[int, int], arguments: argparse.Namespace) -> Image:
    from ..display.kit import draw_page
    from ..display.palettes import DAY, night

    palette = night(_hue(arguments)) if arguments.night else DAY
    snapshot = assembly.snapshot(now, night=arguments.night)
    return draw_page(page, snapshot, size=size, palette=palette, round=_round(size, arguments), finding=_say)


def _hue(arguments: argparse.Namespace) -> float:
    if arguments.hue is not None:
        return float(arguments.hue)
    return config(arguments).dimming.night_hue if arguments.config else NIGHT_HUE


def _card(size: tuple[int, int], arguments: argparse.Namespace) -> Image:
    from ..contract.signals import Snapshot
    from ..display.card import CARD
    from ..display.kit import draw_page

    return draw_page(CARD, Snapshot(0.0, {}), size=size, round=_round(size, arguments), finding=_say)


def _round(size: tuple[int, int], arguments: argparse.Namespace) -> bool:
    return size[0] == size[1] if arguments.shape is None else bool(arguments.shape == "round")


def _save(picture: Image, path: Path) -> None:
    with put_in_place(path, "--out") as part:
        picture.save(part, "PNG")


def _missing(assembly: Assembly, page: Page, now: float) -> list[str]:
    """Say which of the page's signals have no value, and whether anybody could provide one."""
    car = assembly.car.name
    sentences = []
    for name in page.needs:
        if not assembly.store.slots(name):
            sentences.append(
                f"page {page.name}: nobody provides {name}; car {car} and the plug-ins have no source for it"
            )
        elif assembly.store.read(name, now).value is None:
            sources = ", ".join(slot.source for slot in assembly.store.slots(name))
            inputs = [one for item in assembly.derived.derived() if item.signal == name for one in item.inputs]
            unknown = ", ".join(one for one in inputs if not assembly.store.slots(one))
            why = f"; nobody provides {unknown}" if unknown else ""
            sentences.append(f"page {page.name}: {name} has no value here; it would come from {sources}{why}")
    return sentences


def _say(sentence: str) -> None:
    print(sentence, file=sys.stderr)


def _size(text: str) -> tuple[int, int]:
    across, x, down = text.lower().partition("x")
    if not (x and across.isdecimal() and down.isdecimal() and 64 <= int(across) <= 2048 and 64 <= int(down) <= 2048):
        raise GivenError(f"--size takes pixels across and down from 64x64 to 2048x2048, as in 240x240; found {text!r}")
    return int(across), int(down)
