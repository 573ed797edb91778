"""A controller on the other end of the wire: it takes bytes and the data/command line, and holds the picture.

For tests of drivers without a panel. It does what the data sheets of small controllers have in common: windows in which
writing wraps row by row, directions and exchange of rows and columns, 16 and 18 bits a pixel, colour order, inversion,
sleep and display on. It complains where a real one would do something else than was meant, and ignores what it does not
know, as they do.
"""

from __future__ import annotations

from collections.abc import Callable
from errno import EIO
from typing import Self

from PIL import Image, ImageChops

from . import dcs
from .wire import Wire

SCAN = 0xB6
"""Display function of a GC9A01; the 20 in its second byte turns the columns about, as drivers let infer."""
SCAN_TURNED = 0x20
AWAKE_AFTER_S, SLEEP_AFTER_S = 0.005, 0.12
"""DCS: least time from waking to any other command, and to a change of sleep; memory is kept meanwhile."""


class ModelError(AssertionError):
    """The driver did something that a controller would not take as it was meant."""


class PanelModel:
    """A controller with its glass.

    Attributes:
        sent: bytes received so far.
        now: seconds, moved on by the wire's pauses and by the clock of the bytes.
        registers: parameters of each command received last.
        commands: all of them in order.
        break_after: how many more bytes are taken before an OSError; None for as many as come.

    Args:
        memory: columns and rows of its memory.
        seen: columns and rows of the glass, if it is smaller; it shows the first ones.
        blue_first: the glass is wired so that BGR has to be set for right colours.
        inverting: the glass shows colours right only with inversion on.
        turned: the glass's columns run against those of the memory.
        paired: parameters come through a shift register of 16 bits, so that every second byte counts.
        speed_hz: of the wire.
    """

    def __init__(
        self,
        memory: tuple[int, int],
        seen: tuple[int, int] | None = None,
        *,
        blue_first: bool = False,
        inverting: bool = False,
        turned: bool = False,
        paired: bool = False,
        speed_hz: float = 32e6,
    ) -> None:
        self.memory = memory
        self._glass = seen or memory
        self._blue_first = blue_first
        self._inverting = inverting
        self._turned = turned
        self._paired = paired
        self._byte_s = 8 / speed_hz
        self._snow()
        self.sent = 0
        self.now = 0.0
        self.registers: dict[int, bytes] = {}
        self.commands: list[int] = []
        self.break_after: int | None = None
        self.closed = False
        self._is_data = False
        self._in_reset = False
        self._power_on()

    @classmethod
    def gc9a01(cls) -> Self:
        """Return the controller of a round 240x240 panel; its columns are turned unless register B6 says so."""
        return cls((240, 240), blue_first=True, inverting=True, turned=True)

    @classmethod
    def st7789(cls, seen: tuple[int, int] = (240, 240)) -> Self:
        """Return an ST7789 whose glass, 240x240 or another, begins at its first pixel."""
        return cls((240, 320), seen, inverting=True)

    @classmethod
    def ili9341(cls) -> Self:
        """Return an ILI9341, 240x320."""
        return cls((240, 320), blue_first=True, turned=True)

    @classmethod
    def ili9486(cls) -> Self:
        """Return an ILI9486, 320x480, on a module with a shift register in front."""
        return cls((320, 480), blue_first=True, inverting=True, paired=True)

    # --- what a driver is handed --------------------------------------------------------------------------------

    def wire(self, *, chunk_bytes: int = 4096) -> Wire:
        """Return a wire to it, as if it were just plugged in."""
        self.closed = False
        return Wire(self, _Line(self._set_data), _Line(self._set_reset), chunk_bytes=chunk_bytes, sleep=self._pause)

    def writebytes2(self, values: memoryview, /) -> None:
        """Take bytes as a spidev does; raises OSError where it is to break."""
        data = bytes(values)
        if self.break_after is not None:
            taken, self.break_after = data[: self.break_after], self.break_after - len(data)
            self._receive(taken)
            if self.break_after < 0:
                self.break_after = None
                raise OSError(EIO, "Input/output error")
        else:
            self._receive(data)

    def close(self) -> None:
        """Be given back; what is shown stays."""
        self.closed = True

    # --- what an eye sees ---------------------------------------------------------------------------------------

    @property
    def on(self) -> bool:
        """Whether it is awake and shows its memory."""
        return self._awake and self._display_on

    def held(self) -> Image.Image:
        """Return what the glass would show if it were on: RGB, as far as the memory holds it."""
        red, green, blue = (Image.frombytes("L", self.memory, bytes(plane)) for plane in self._planes)
        if bool(self._order & dcs.BGR) != self._blue_first:
            red, blue = blue, red
        image = Image.merge("RGB", (red, green, blue)).crop((0, 0, *self._glass))
        if self._turned != (self.registers.get(SCAN, b"\0\0")[1] == SCAN_TURNED):
            image = image.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
        return image if self._inverted == self._inverting else ImageChops.invert(image)

    def seen(self) -> Image.Image:
        """Return what the glass shows; black while it sleeps or is off."""
        return self.held() if self.on else Image.new("RGB", self._glass)

    # --- the controller -----------------------------------------------------------------------------------------

    def _snow(self) -> None:
        """Fill the memory with what may be in it after power came."""
        pixels = self.memory[0] * self.memory[1]
        self._planes = [bytearray((n * 73 + 41 * k) % 251 for n in range(pixels)) for k in range(3)]

    def _power_on(self) -> None:
        self._awake = self._display_on = self._inverted = False
        self._order, self._pixel_bytes = 0, 3
        self._columns, self._rows = (0, self.memory[0] - 1), (0, self.memory[1] - 1)
        self._command = 0
        self._parameters = bytearray()
        self._place = 0
        self._rest = b""
        self._woken_at = self._slept_at = -SLEEP_AFTER_S
        self.registers = {}

    def _pause(self, seconds: float) -> None:
        self.now += seconds

    def _set_data(self, on: bool) -> None:
        self._is_data = on

    def _set_reset(self, on: bool) -> None:
        if self._in_reset and not on:
            self._power_on()
            self._slept_at = self.now
        self._in_reset = on

    def _receive(self, data: bytes) -> None:
        if self._in_reset or self.closed:
            raise ModelError("bytes arrive while it is reset or nobody holds the wire")
        self.sent += len(data)
        self.now += len(data) * self._byte_s
        if not self._is_data:
            for code in data:
                self._begin(code)
        elif self._command in (dcs.RAMWR, dcs.RAMWRC):
            self._write(data)
        else:
            self._parameters += data
            parameters = bytes(self._parameters[1::2] if self._paired else self._parameters)
            self.registers[self._command] = parameters
            self._learn(self._command, parameters)

    def _begin(self, code: int) -> None:
        if self.now - self._woken_at < AWAKE_AFTER_S:
            raise ModelError(f"command {code:02X} comes too soon after waking")
        self._command, self._parameters, self._rest = code, bytearray(), b""
        self.commands.append(code)
        if code == dcs.RAMWR:
            self._place = 0
        elif code == dcs.SWRESET:
            self._power_on()
        elif code in (dcs.SLPIN, dcs.SLPOUT):
            self._sleeps(code == dcs.SLPIN)
        elif code in (dcs.INVOFF, dcs.INVON):
            self._inverted = code == dcs.INVON
        elif code in (dcs.DISPOFF, dcs.DISPON):
            self._display_on = code == dcs.DISPON

    def _sleeps(self, sleeps: bool) -> None:
        changed_at = max(self._woken_at, self._slept_at)
        if sleeps == self._awake and self.now - changed_at < SLEEP_AFTER_S:
            raise ModelError(f"its sleep changes again after {self.now - changed_at:.3f} s")
        if sleeps and self._awake:
            self._slept_at = self.now
        if not sleeps and not self._awake:
            self._woken_at = self.now
        self._awake = not sleeps

    def _learn(self, code: int, parameters: bytes) -> None:
        if code == dcs.MADCTL:
            self._order = parameters[0]
        elif code == dcs.COLMOD:
            kinds = {5: 2, 6: 3}
            if parameters[0] & 7 not in kinds:
                raise ModelError(f"COLMOD {parameters[0]:02X} is neither 16 nor 18 bits a pixel")
            self._pixel_bytes = kinds[parameters[0] & 7]
        elif code in (dcs.CASET, dcs.RASET) and len(parameters) == 4:
            across, down = self.memory if not self._order & dcs.EXCHANGED else self.memory[::-1]
            first, last = int.from_bytes(parameters[:2], "big"), int.from_bytes(parameters[2:], "big")
            if not first <= last < (across if code == dcs.CASET else down):
                raise ModelError(f"command {code:02X}: window {first}..{last} is not in a memory of {across}x{down}")
            if code == dcs.CASET:
                self._columns = first, last
            else:
                self._rows = first, last

    # --- pixels -------------------------------------------------------------------------------------------------

    def _write(self, data: bytes) -> None:
        data = self._rest + data
        whole = len(data) // self._pixel_bytes * self._pixel_bytes
        self._rest = data[whole:]
        planes = _planes(data[:whole], self._pixel_bytes)
        across = self._columns[1] - self._columns[0] + 1
        down = self._rows[1] - self._rows[0] + 1
        done = 0
        while done < len(planes[0]):
            row, column = divmod(self._place, across)
            run = min(across - column, len(planes[0]) - done)
            self._run(self._columns[0] + column, self._rows[0] + row, [plane[done : done + run] for plane in planes])
            done += run
            self._place = (self._place + run) % (across * down)

    def _run(self, x: int, y: int, planes: list[bytes]) -> None:
        """Write pixels that follow each other in a row of the window."""
        width, height = self.memory
        column, row = (y, x) if self._order & dcs.EXCHANGED else (x, y)
        step = width if self._order & dcs.EXCHANGED else 1
        if self._order & dcs.COLUMNS_BACK:
            column = width - 1 - column
        if self._order & dcs.ROWS_BACK:
            row = height - 1 - row
        back = dcs.ROWS_BACK if self._order & dcs.EXCHANGED else dcs.COLUMNS_BACK
        step = -step if self._order & back else step
        first = row * width + column
        last = first + step * (len(planes[0]) - 1)
        low, high = min(first, last), max(first, last)
        for plane, new in zip(self._planes, planes, strict=True):
            plane[low : high + 1 : abs(step)] = new[::-1] if step < 0 else new


def _planes(data: bytes, pixel_bytes: int) -> list[bytes]:
    """Return first, second and third colour of pixels."""
    if pixel_bytes == 3:
        return [bytes(value & 0xFC for value in data[n::3]) for n in range(3)]
    high, low = data[0::2], data[1::2]
    return [
        bytes(value & 0xF8 for value in high),
        bytes((h & 0x07) << 5 | (v & 0xE0) >> 3 for h, v in zip(high, low, strict=True)),
        bytes((v & 0x1F) << 3 for v in low),
    ]


class _Line:
    def __init__(self, changed: Callable[[bool], None]) -> None:
        self._changed = changed

    def set(self, on: bool) -> None:
        self._changed(on)

    def close(self) -> None:
        """Nothing holds it."""
