"""The drawings of config/WIRING.md, and the tables of pins, overlays and fuses that drawings and text share.

Run: python tests/wiring_pictures.py, or make gallery; the drawings go to config/wiring/. They are white, to be read in
daylight and printed. Symbols follow IEC 60617 (from memory): fuse and resistor are rectangles, a fuse has a wire in it.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple
from xml.sax.saxutils import escape

from PIL import ImageFont

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "config" / "wiring"
WIDTH = 780.0
PAPER, INK, SOFT = "#fbfbf8", "#15191c", "#4b565c"
PLUS, FIVE, GROUND, LINE, BUS = "#b02318", "#8a5200", INK, "#1c5fa8", "#14707c"
"""12 V and more, 5 V, ground, lines of the board, CAN."""
FONT = str(ROOT / "daemon" / "underdash" / "display" / "fonts" / "B612-{}.otf")
FACES = [ImageFont.truetype(FONT.format(face), 100) for face in ("Regular", "Bold")]
SIZE, SMALL, LARGE = 14.0, 12.5, 17.0


class Pin(NamedTuple):
    """A line of the Raspberry Pi: its place on the 40-pin header (from memory), and who wants it."""

    gpio: int
    header: int
    wanted_by: str


PINS = (
    Pin(2, 3, "I2C (SDA), so `ads1015`"),
    Pin(3, 5, "wake line of a halted Pi up to 4; I2C (SCL), so `ads1015` too"),
    Pin(4, 7, "`w1-gpio` (1-Wire)"),
    Pin(7, 26, "SPI0 chip select 1"),
    Pin(8, 24, "SPI0 chip select 0"),
    Pin(9, 21, "SPI0 MISO"),
    Pin(10, 19, "SPI0 MOSI"),
    Pin(11, 23, "SPI0 SCLK"),
    Pin(12, 32, "backlight with `pwm,pin=12,func=4`; `gpio-fan` unless told otherwise"),
    Pin(16, 36, "SPI1 chip select 2 (`spi1-3cs`)"),
    Pin(17, 11, "SPI1 chip select 1 (`spi1-2cs`); ignition wire in `old_car.toml`"),
    Pin(18, 12, "SPI1 chip select 0; `pwm` unless told otherwise"),
    Pin(19, 35, "SPI1 MISO; second channel of `pwm-2chan` unless told otherwise"),
    Pin(20, 38, "SPI1 MOSI"),
    Pin(21, 40, "SPI1 SCLK"),
    Pin(22, 15, "interrupt of a second CAN controller, above; push button in `old_car.toml`"),
    Pin(23, 16, "`reset` of `round_panel`"),
    Pin(24, 18, "`dc` of `round_panel`"),
    Pin(25, 22, "interrupt of `mcp2515` and `mcp251xfd` unless told otherwise; reset in many panel guides"),
    Pin(26, 37, "hold line (`gpio-poweroff` unless told otherwise)"),
    Pin(27, 13, "lights in `old_car.toml`"),
)
CAN_FIRST = (
    "dtparam=spi=on",
    "dtoverlay=mcp2515,spi0-0,oscillator=16000000,interrupt=25",
    "dtoverlay=spi1-1cs",
    "dtoverlay=pwm,pin=12,func=4",
)
"""CAN on SPI0, the panel on SPI1."""
PANEL_FIRST = (
    "dtparam=spi=on",
    "dtoverlay=spi1-2cs",
    "dtoverlay=mcp251xfd,spi1-0,interrupt=25",
    "dtoverlay=mcp251xfd,spi1-1,interrupt=22",
    "dtoverlay=pwm,pin=12,func=4",
)
"""The panel on SPI0, one or two CAN controllers on SPI1."""
HOLD = ("dtoverlay=gpio-poweroff,gpiopin=26,active_low,active_delay_ms=3000",)
OVERLAYS = (*CAN_FIRST, *PANEL_FIRST, *HOLD, "dtoverlay=w1-gpio", "dtoverlay=ads1015", "dtoverlay=mcp3008")
ADS1015_V = {1: 4.096, 2: 2.048}
"""What an `ads1015` reads up to, by the `gain` of a channel in its overlay (overlays' README); 2 if nothing is said."""
CAN_ROWS = (("SCK", 11), ("SI (MOSI)", 10), ("SO (MISO)", 9), ("CS", 8), ("INT", 25))
PANEL_ROWS = (("SCL", 21), ("SDA (MOSI)", 20), ("CS", 18), ("DC", 24), ("RST", 23), ("BL", 12))
READINGS = {
    "60 Ω": "right: two ends of 120 Ω", "120 Ω": "one end is missing or cut off",
    "40 Ω": "a third resistor: the board's", "0 Ω": "the two wires touch", "open": "not a CAN pair, or a cut",
}  # fmt: skip


class Area(NamedTuple):
    left: float
    top: float
    right: float
    bottom: float


@dataclass
class Sheet:
    """A drawing in the making: its elements, and where texts, wires and boxes are, which the tests look at."""

    name: str
    title: str
    height: float
    parts: list[str] = field(default_factory=list)
    texts: list[tuple[Area, str]] = field(default_factory=list)
    wires: list[Area] = field(default_factory=list)
    boxes: list[Area] = field(default_factory=list)

    def path(self, d: str, ink: str, width: float = 1.6, fill: str = "none") -> None:
        self.parts.append(f'<path d="{d}" stroke="{ink}" stroke-width="{width:g}" fill="{fill}"/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        at: str = "start",
        *,
        size: float = SIZE,
        bold: bool = False,
        ink: str = INK,
    ) -> None:
        """Write; x is where the text starts, its middle or its end. What is measured is B612, a wide font."""
        width = FACES[bold].getlength(text) * size / 100
        left = x - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[at]
        self.texts.append((Area(left, y - 0.75 * size, left + width, y + 0.22 * size), text))
        looks = f'font-size="{size:g}" text-anchor="{at}" fill="{ink}"' + (' font-weight="bold"' if bold else "")
        self.parts.append(f'<text x="{x:g}" y="{y:g}" {looks}>{escape(text)}</text>')

    def note(self, x: float, y: float, text: str, at: str = "middle", *, ink: str = SOFT, bold: bool = False) -> None:
        self.text(x, y, text, at, size=SMALL, bold=bold, ink=ink)

    def box(self, x: float, y: float, width: float, height: float, name: str, *lines: str, top: bool = False) -> None:
        """Draw a part with its name and what is to be known of it, in the middle or at the top."""
        self.boxes.append(Area(x, y, x + width, y + height))
        self.path(f"M{x:g} {y:g}h{width:g}v{height:g}h{-width:g}Z", INK, fill=PAPER)
        first = y + 20 if top else y + height / 2 - 9 * len(lines) + 5
        self.text(x + width / 2, first, name, "middle", bold=True)
        for number, line in enumerate(lines, 1):
            self.note(x + width / 2, first + 18 * number, line)

    def wire(self, ink: str, *points: tuple[float, float], width: float = 2.4) -> None:
        self.path("M" + "L".join(f"{x:g} {y:g}" for x, y in points), ink, width)
        for (x, y), (to_x, to_y) in pairwise(points):
            self.wires.append(Area(min(x, to_x) - 1, min(y, to_y) - 1, max(x, to_x) + 1, max(y, to_y) + 1))

    def gap(self, x: float, y: float) -> None:
        """Break a level wire where another one is to cross it."""
        self.path(f"M{x - 6:g} {y:g}h12", PAPER, 5)

    def fuse(self, x: float, y: float, label: str) -> None:
        """Put a fuse on a level wire; x and y are its middle."""
        self.path(f"M{x - 17:g} {y - 7:g}h34v14h-34ZM{x - 17:g} {y:g}h34", PLUS, fill=PAPER)
        self.note(x, y - 14, label, ink=PLUS, bold=True)

    def resistor(self, x: float, y: float, upright: bool = False) -> None:
        across, down = (13, 36) if upright else (36, 13)
        self.path(f"M{x - across / 2:g} {y - down / 2:g}h{across}v{down}h-{across}Z", INK, fill=PAPER)

    def diode(self, x: float, y: float, up: bool = True) -> None:
        tip = -14 if up else 14
        self.path(f"M{x - 8:g} {y - tip / 2:g}h16l-8 {tip}ZM{x - 8:g} {y + tip / 2:g}h16", INK, fill=INK)

    def ground(self, x: float, y: float) -> None:
        self.path(f"M{x - 13:g} {y:g}h26M{x - 8:g} {y + 5:g}h16M{x - 3:g} {y + 10:g}h6", GROUND, 2)

    def dot(self, x: float, y: float, ink: str = INK) -> None:
        self.parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="3.8" fill="{ink}"/>')

    def svg(self) -> str:
        size = f'viewBox="0 0 {WIDTH:g} {self.height:g}" width="{WIDTH:g}" height="{self.height:g}"'
        body = "\n  ".join(
            [f"<title>{escape(self.title)}</title>", f'<rect width="100%" height="100%" fill="{PAPER}"/>', *self.parts]
        )
        font = 'font-family="B612, Helvetica, Arial, sans-serif" role="img"'
        return f'<svg xmlns="http://www.w3.org/2000/svg" {size} {font}>\n  {body}\n</svg>\n'


def _sheet(name: str, title: str, height: float, head: str, aside: str) -> Sheet:
    sheet = Sheet(name, title, height)
    sheet.text(20, 30, head, size=LARGE, bold=True)
    sheet.note(WIDTH - 20, 30, aside, "end")
    return sheet


def _supply(sheet: Sheet, *source: str, switch: bool = False) -> None:
    """Draw source, fuse, perhaps a power switch, converter and board, and the ground of all."""
    converter = 480.0 if switch else 380.0
    sheet.wire(PLUS, (170, 96), (330 if switch else 380, 96), width=3.4)
    sheet.fuse(214, 96, "F1 3 A")
    sheet.note(217, 120, "at the source")
    sheet.note(288 if switch else 305, 82, "0.75 mm²" if switch else "12 V, 0.75 mm²")
    sheet.wire(FIVE, (converter + 120, 96), (640, 96), width=3.4)
    sheet.wire(GROUND, (60, 132), (60, 184))
    sheet.wire(GROUND, (60, 172), (700, 172), (700, 132))
    sheet.wire(GROUND, (converter + 60, 172), (converter + 60, 132))
    for x in (60, converter + 60):
        sheet.dot(x, 172)
    sheet.ground(60, 184)
    sheet.note(82, 192, "one ground point, bare metal", "start")
    sheet.box(20, 60, 150, 72, *source)
    if switch:
        sheet.wire(PLUS, (440, 96), (480, 96), width=3.4)
        sheet.box(330, 60, 110, 72, "switch", "on with key", "or hold")
    else:
        sheet.note(570, 82, "5.1 V, short", ink=FIVE)
    sheet.box(converter, 60, 120, 72, "converter", "in 6 to 36 V", "out 5.1 V")
    sheet.box(640, 60, 120, 72, "Raspberry Pi", "with its panel")


def switched() -> Sheet:
    sheet = _sheet("switched", "Supply switched: a circuit that is on with the key, fuse, converter, Pi", 214,
                   'supply = "switched"', "key off: the power is cut, nothing is drained")  # fmt: skip
    _supply(sheet, "ignition circuit", "on at ON and START", "(terminal 15)")
    return sheet


def held() -> Sheet:
    sheet = _sheet("held", "Supply held: a switch that is on while the key or the hold line of the Pi says so", 292,
                   'supply = "held"', "key off: the Pi ends in order, then lets go; nothing is drained")  # fmt: skip
    _supply(sheet, "battery", "always on", "(terminal 30)", switch=True)
    sheet.gap(360, 172)
    sheet.gap(410, 172)
    sheet.wire(GROUND, (385, 132), (385, 172))
    sheet.dot(385, 172)
    sheet.wire(PLUS, (170, 249), (360, 249), (360, 132))
    sheet.fuse(214, 249, "F2 1 A")
    sheet.note(350, 241, "key", "end", ink=PLUS)
    sheet.wire(LINE, (450, 249), (410, 249), (410, 132))
    sheet.note(443, 241, "hold", "end", ink=LINE)
    sheet.wire(LINE, (735, 132), (735, 249), (570, 249))
    sheet.note(725, 241, "3.3 V, GPIO26", "end", ink=LINE)
    for x in (360, 410):  # or the hold line would feed the ignition circuit
        sheet.diode(x, 206)
    sheet.box(20, 222, 150, 54, "ignition circuit", "(terminal 15)")
    sheet.box(450, 222, 120, 54, "optocoupler", "or transistor")
    return sheet


def wakeable() -> Sheet:
    sheet = _sheet("wakeable", "Supply wakeable: always fed, and the key wakes a halted Pi by a line", 292,
                   'supply = "wakeable"', "key off: the Pi halts; halted it still draws a little")  # fmt: skip
    _supply(sheet, "battery", "always on", "(terminal 30)")
    sheet.wire(PLUS, (170, 249), (380, 249))
    sheet.fuse(214, 249, "F2 1 A")
    sheet.wire(LINE, (500, 249), (735, 249), (735, 132))
    sheet.note(725, 241, "wake: GPIO3 (up to Pi 4)", "end", ink=LINE)
    sheet.box(20, 222, 150, 54, "ignition circuit", "(terminal 15)")
    sheet.box(380, 222, 120, 54, "optocoupler", "key on pulls low")
    return sheet


def permanent() -> Sheet:
    sheet = _sheet("permanent", "Supply permanent: always fed, and nothing starts the Pi again", 214,
                   'supply = "permanent"', "key off: it stays up for days, and drains the battery")  # fmt: skip
    _supply(sheet, "battery", "always on", "(terminal 30, pin 16)")
    return sheet


def connector() -> Sheet:
    sheet = _sheet("connector", "The pins of the diagnostic connector, looking into the socket of the car", 306,
                   "Diagnostic connector", "looking into the car's socket; a plug is its mirror image")  # fmt: skip
    sheet.path("M60 56H720L684 214H96Z", INK, 2, PAPER)
    known = {
        4: ("ground", GROUND),
        5: ("ground", GROUND),
        6: ("CAN high", BUS),
        14: ("CAN low", BUS),
        16: ("battery +", PLUS),
    }
    for pin in range(1, 17):
        x, y = 130 + (pin - 1) % 8 * 74.0, 78.0 + (pin - 1) // 8 * 78
        what, ink = known.get(pin, ("", SOFT))
        sheet.path(f"M{x - 16:g} {y:g}h32v26h-32Z", ink, fill=ink if what else PAPER)
        sheet.text(x, y + 18, str(pin), "middle", bold=bool(what), ink="#fff" if what else SOFT)
        if what:
            sheet.note(x, y + 43, what, ink=ink, bold=True)
    for number, line in enumerate((
        "4 body ground, 5 signal ground, 6 and 14 CAN, 16 battery, on even without the key.",
        "2, 7, 10 and 15 belong to older buses. All others are the maker's: measure before you connect.",
        "Type B, on lorries and some vans, carries 24 V at pin 16: keep off.",
    )):  # fmt: skip
        sheet.note(60, 244 + 21 * number, line, "start")
    return sheet


def sixty_ohm() -> Sheet:
    sheet = _sheet("sixty_ohm", "A meter between pins 6 and 14 of a sleeping bus, and what its readings mean", 318,
                   "The 60 Ω check", "key out, car locked, bus asleep; never on a bus that talks")  # fmt: skip
    for y, name in ((84.0, "CAN high"), (148.0, "CAN low")):
        sheet.wire(BUS, (60, y), (720, y), width=3)
        sheet.note(390, y - 10, name, ink=BUS)
    sheet.gap(320, 148)
    for x, y, pin, at, aside in ((320.0, 84.0, "pin 6", "end", -10), (460.0, 148.0, "pin 14", "start", 10)):
        sheet.wire(BUS, (x, y), (x, 190))
        sheet.dot(x, y, BUS)
        sheet.note(x + aside, 176, pin, at)
    for x, aside, at in ((60.0, 14, "start"), (720.0, -14, "end")):
        sheet.wire(BUS, (x, 84), (x, 148), width=3)
        sheet.resistor(x, 116, upright=True)
        sheet.note(x + aside, 121, "120 Ω, in the car", at)
    sheet.box(300, 190, 180, 36, "ohmmeter: 60 Ω")
    for number, (reading, meaning) in enumerate(READINGS.items()):
        x, y = 20 + 250 * (number % 3), 262 + 30 * (number // 3)
        sheet.text(x, y, reading, bold=True)
        sheet.note(x + 56, y, meaning, "start")
    return sheet


def spi() -> Sheet:
    sheet = _sheet("spi", "CAN board on SPI0 and panel on SPI1, pin by pin", 334,
                   "CAN on SPI0, panel on SPI1", "GPIO number, in brackets the pin of the 40-pin header")  # fmt: skip
    header = {pin.gpio: pin.header for pin in PINS}
    sheet.box(20, 56, 130, 258, "CAN board", "3.3 V logic", "120 Ω off", "to pins 6 and 14")
    sheet.box(290, 56, 200, 258, "Raspberry Pi", top=True)
    sheet.box(630, 56, 130, 258, "panel", "3.3 V")
    sides = ((CAN_ROWS, 150, 220, 300, "start", 345, "SPI0"), (PANEL_ROWS, 490, 560, 480, "end", 435, "SPI1"))
    for rows, x, label_x, pin_x, at, name_x, name in sides:
        sheet.note(name_x, 95, name)
        for number, (label, gpio) in enumerate((*rows, ("supply, ground", 0))):
            y = 112.0 + 31 * number
            sheet.wire(LINE if gpio else GROUND, (x, y), (x + 140, y), width=2)
            sheet.note(label_x, y - 7, label, ink=INK)
            if gpio:
                sheet.note(pin_x, y + 5, f"{gpio} ({header[gpio]})", at, ink=LINE, bold=True)
    return sheet


def inputs() -> Sheet:
    sheet = _sheet("inputs", "A 12 V line through an optocoupler, and the battery through a divider with a clamp", 272,
                   "12 V never meets a pin of the board", "left: on or off; right: how many volts")  # fmt: skip
    sheet.path("M184 130h124v96h-124Z", INK)
    sheet.wire(GROUND, (156, 100), (156, 244))
    sheet.wire(PLUS, (20, 100), (208, 100), (208, 178))
    sheet.wire(LINE, (372, 100), (286, 100), (286, 160), (266, 172))
    sheet.wire(GROUND, (208, 178), (208, 244))
    sheet.wire(GROUND, (266, 184), (286, 196), (286, 244))
    sheet.path("M266 162v32M226 172h18m-6 -4l6 4l-6 4M226 184h18m-6 -4l6 4l-6 4", INK, 2)
    sheet.path("M282 193.6L273 193L277.2 186Z", INK, fill=INK)
    sheet.wire(PLUS, (440, 124), (552, 124))
    sheet.wire(LINE, (552, 124), (770, 124))
    sheet.wire(LINE, (724, 124), (724, 68))
    sheet.wire(GROUND, (724, 124), (724, 244))
    sheet.wire(GROUND, (600, 124), (600, 244))
    sheet.wire(GROUND, (654, 124), (654, 178))
    sheet.wire(GROUND, (654, 186), (654, 244))
    sheet.path("M640 178h28M640 186h28", INK, 2.4)
    for x, y, up in ((208, 178, False), (156, 178, True), (724, 92, True), (724, 182, True)):
        sheet.diode(x, y, up)
    for x in (156, 208, 286, 600, 654, 724):
        sheet.ground(x, 244)
    for x, y in ((156, 100), (600, 124), (654, 124), (724, 124)):
        sheet.dot(x, y)
    sheet.fuse(60, 100, "1 A")
    sheet.fuse(486, 124, "1 A")
    for x, y, upright in ((115, 100, False), (552, 124, False), (600, 182, True)):
        sheet.resistor(x, y, upright)
    for x, y, text, at in (
        (20, 72, "12 V line", "start"), (115, 86, "2.2 kΩ", "middle"), (372, 90, "GPIO, pulled up", "end"),
        (440, 96, "battery +", "start"), (314, 178, "optocoupler", "start"), (552, 110, "100 kΩ", "middle"),
        (590, 187, "10 kΩ", "end"), (662, 214, "100 nF", "start"), (724, 58, "3.3 V", "middle"),
        (656, 110, "A/D converter", "middle"),
    ):  # fmt: skip
        sheet.note(x, y, text, at)
    return sheet


def whole() -> Sheet:
    sheet = _sheet("whole", "Socket, splitter, CAN board, Pi, panel and supply, and how they hang together", 296,
                   "All parts", "fuse at the source; CAN twisted, under 0.3 m from socket to board")  # fmt: skip
    for x, to_x, y in ((150, 200, 88), (150, 200, 96), (310, 410, 88), (310, 410, 96)):
        sheet.wire(BUS, (x, y), (to_x, y), width=2)
    sheet.wire(BUS, (255, 122), (255, 156))
    sheet.wire(LINE, (530, 92), (620, 92))
    sheet.wire(LINE, (530, 182), (580, 182), (580, 112), (620, 112))
    sheet.wire(LINE, (715, 122), (715, 200))
    sheet.wire(PLUS, (150, 254), (410, 254), width=3.4)
    sheet.wire(FIVE, (530, 254), (645, 254), (645, 122), width=3.4)
    sheet.fuse(196, 254, "F1")
    for x, y, text in ((575, 82, "SPI or USB"), (688, 170, "SPI"), (304, 240, "0.75 mm²"),
                       (588, 244, "5.1 V")):  # fmt: skip
        sheet.note(x, y, text)
    for x, y, width, *texts in (
        (20, 62, 130, "car's socket", "pins 6, 14"), (200, 62, 110, "splitter"), (200, 156, 110, "tester"),
        (410, 62, 120, "CAN board", "120 Ω off"), (410, 152, 120, "own wires", "optocoupler"),
        (620, 62, 140, "Raspberry Pi"), (670, 200, 90, "panel"), (20, 224, 130, "supply", "one of four"),
        (410, 224, 120, "converter", "12 V to 5.1 V"),
    ):  # fmt: skip
        sheet.box(x, y, width, 60, *texts)
    return sheet


DRAWINGS = (whole, switched, held, wakeable, permanent, connector, sixty_ohm, spi, inputs)


def pin_table() -> str:
    """Return the pins as the guide has them."""
    rows = (f"| GPIO{pin.gpio} | {pin.header} | {pin.wanted_by} |" for pin in PINS)
    return "\n".join(("| line | header | wanted by |", "|---|---|---|", *rows))


def main() -> int:
    FOLDER.mkdir(exist_ok=True)
    for draw in DRAWINGS:
        sheet = draw()
        print(path := FOLDER / f"{sheet.name}.svg")
        path.write_text(sheet.svg())
    return 0


if __name__ == "__main__":
    sys.exit(main())
