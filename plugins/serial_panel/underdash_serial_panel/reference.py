"""A controller, as plain as can be: a pattern for one in any language, and the other side in our tests.

It follows PROTOCOL.md and nothing else, and uses only what a small microcontroller has: fixed buffers, bytes and
16-bit numbers. All of its memory is allocated in `__init__`: 256 bytes for a frame, 256 for the colours, and one row
of pixels. `screen` stands for the display's own memory, which a real controller only writes to; `said` stands for
whatever such a controller draws of what it is told.

Call `start` once, `receive` with each byte that arrives, `passed` now and then; all of them return the bytes to send.
"""

from __future__ import annotations

VERSION = 1
PIXELS, VALUES = 1, 2
WINDOW = 4
DARK_AFTER_MS = 5000

HELLO, PING, BYE, LIGHT, SHOW = 0x01, 0x02, 0x03, 0x04, 0x05
RECTANGLE, MORE = 0x10, 0x11
PAGE, VALUE, ROW, WORDS, STATE = 0x20, 0x21, 0x22, 0x23, 0x24
COLUMN, LAMP, LINE = 0x25, 0x26, 0x27
GREETING, ACKNOWLEDGE = 0x81, 0x82


class Controller:
    """The controller's side of the line.

    Args:
        width, height: pixels of the display; 0 if it draws values only.
        can: PIXELS, VALUES or both added.
        window: frames that fit into its receive buffer.

    Attributes:
        screen: what the display shows, RGB565, two bytes a pixel, the high one first.
        said: what the page says, by the kind of frame and the place in it.
        light: 0 (dark) to 65535.
        pictures: how many were complete.
    """

    def __init__(self, width: int, height: int, can: int = PIXELS | VALUES, window: int = WINDOW) -> None:
        self.width, self.height, self.can, self.window = width, height, can, window
        self.screen = bytearray(2 * width * height)
        self.said: dict[tuple[int, int], tuple[object, ...]] = {}
        self.light = 0
        self.pictures = 0
        # a frame as it arrives, decoded on the way
        self.frame = bytearray(256)
        self.length = 0  # bytes in it
        self.left = 0  # bytes until the next length byte
        self.stuffed = False  # whether a zero stands before that one
        self.spoilt = False
        self.empty = True
        # the conversation
        self.session = 0
        self.expected = 0
        self.asked = False
        self.quiet_ms = 0
        self.lit = 0
        # the rectangle that is being drawn
        self.colours = [0] * 128
        self.oldest = 0
        self.above = [0] * max(width, 1)
        self.left_x = self.top = self.across = self.down = 0
        self.column = self.row = 0
        self.last = 0
        self.drawing = False

    def start(self) -> bytes:
        """Say that the controller has just started."""
        return self.greeting()

    def passed(self, ms: int) -> None:
        """Go dark when nobody has spoken for too long."""
        self.quiet_ms += ms
        if self.quiet_ms >= DARK_AFTER_MS:
            self.light = 0

    # --- bytes to frames (PROTOCOL.md section 2) --------------------------------------------------------------------

    def receive(self, byte: int) -> bytes:
        """Take one byte from the line and return what is to be answered, mostly nothing."""
        if byte == 0:
            reply = b""
            if not self.empty:
                whole = not self.spoilt and self.left == 0 and self.length >= 4 and self.sum(self.length) == 0
                reply = self.take(self.length - 2) if whole else self.again()
            self.length = self.left = 0
            self.stuffed = self.spoilt = False
            self.empty = True
            return reply
        self.empty = False
        if self.left == 0:
            if self.stuffed:
                self.store(0)
            self.left = byte - 1
            self.stuffed = byte != 255
        else:
            self.store(byte)
            self.left -= 1
        return b""

    def store(self, byte: int) -> None:
        """Put a decoded byte into the frame."""
        if self.length < len(self.frame):
            self.frame[self.length] = byte
            self.length += 1
        else:
            self.spoilt = True

    def sum(self, length: int) -> int:
        """Return the checksum of the frame's first bytes: CRC-16/IBM-3740."""
        crc = 0xFFFF
        for i in range(length):
            crc ^= self.frame[i] << 8
            for _ in range(8):
                crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
        return crc

    def reply(self, kind: int, payload: bytes) -> bytes:
        """Return a frame for the line."""
        self.frame[0], self.frame[1] = kind, 0
        for i in range(len(payload)):
            self.frame[2 + i] = payload[i]
        length = 2 + len(payload)
        crc = self.sum(length)
        self.frame[length], self.frame[length + 1] = crc >> 8, crc & 0xFF
        out, mark = bytearray(length + 4), 0
        for i in range(length + 2):
            if self.frame[i] == 0:
                out[mark] = i + 1 - mark
                mark = i + 1
            else:
                out[i + 1] = self.frame[i]
        out[mark] = length + 3 - mark
        return bytes(out)

    # --- frames in their order (sections 3 and 4) -------------------------------------------------------------------

    def greeting(self) -> bytes:
        """Return who we are."""
        size = self.width.to_bytes(2, "big") + self.height.to_bytes(2, "big")
        return self.reply(GREETING, bytes((VERSION, self.session)) + size + bytes((self.can, self.window)))

    def acknowledge(self, again: int) -> bytes:
        """Return which frame is expected next, and whether to begin again with it."""
        return self.reply(ACKNOWLEDGE, bytes((self.expected, again)))

    def again(self) -> bytes:
        """Ask for what is missing, once until it comes."""
        if self.session == 0 or self.asked:
            return b""
        self.asked = True
        return self.acknowledge(1)

    def take(self, length: int) -> bytes:
        """Take a whole frame of `length` bytes without its checksum."""
        kind, number = self.frame[0], self.frame[1]
        if kind == HELLO:
            return self.hello(length)
        if self.session == 0:
            return self.greeting()
        self.quiet_ms = 0
        self.light = self.lit
        behind = (self.expected - number) & 0xFF
        if behind == 0:
            self.expected = (self.expected + 1) & 0xFF
            self.asked = False
            self.act(kind, length)
            return self.acknowledge(0)
        if behind < 128:
            return self.acknowledge(0)  # we have it; the acknowledgement was lost
        return self.again()

    def hello(self, length: int) -> bytes:
        """Begin a session: black, dark, nothing said."""
        if length < 5 or self.frame[3] == 0:
            return b""
        self.session = self.frame[3]
        self.expected = self.quiet_ms = self.light = self.lit = self.oldest = 0
        self.asked = self.drawing = False
        for i in range(len(self.screen)):
            self.screen[i] = 0
        for i in range(128):
            self.colours[i] = 0
        self.said.clear()
        return self.greeting()

    def act(self, kind: int, length: int) -> None:
        """Do what a frame says; one that is not known is left out."""
        if kind == LIGHT and length >= 4:
            self.light = self.lit = self.number(2)
        elif kind == SHOW:
            self.pictures += 1
        elif kind == BYE:
            self.light = self.lit = self.session = 0
        elif kind == RECTANGLE and length >= 10:
            self.rectangle()
            self.draw(10, length)
        elif kind == MORE:
            self.draw(2, length)
        elif PAGE <= kind <= LINE:
            self.say(kind, length)

    def number(self, at: int) -> int:
        """Return two bytes of the frame as a number."""
        return self.frame[at] << 8 | self.frame[at + 1]

    # --- pixels (section 5) -----------------------------------------------------------------------------------------

    def rectangle(self) -> None:
        """Begin a rectangle."""
        self.left_x, self.top, self.across, self.down = (self.number(at) for at in (2, 4, 6, 8))
        inside = self.left_x + self.across <= self.width and self.top + self.down <= self.height
        self.drawing = inside and self.across > 0 and self.down > 0
        self.column = self.row = self.last = 0
        if self.drawing:
            for i in range(self.across):
                self.above[i] = 0

    def draw(self, at: int, length: int) -> None:
        """Draw the codes from one byte of the frame to its end."""
        while self.drawing and at < length:
            code = self.frame[at]
            at += 1
            if code < 0x80:
                self.last = self.colours[code]
                self.run(1)
            elif code < 0xE0:
                self.pixels(code & 0xE0, (code & 0x1F) + 1)
            elif code <= 0xE3 and at + 2 <= length:
                value = self.number(at)
                at += 2
                if code == 0xE0:
                    self.last = self.colours[self.oldest] = value
                    self.oldest = (self.oldest + 1) & 0x7F
                    self.run(1)
                else:
                    self.pixels((0x80, 0xA0, 0xC0)[code - 0xE1], value + 1)
            else:
                self.drawing = False

    def pixels(self, what: int, count: int) -> None:
        """Draw a number of pixels in the way of a code."""
        if what == 0x80:
            self.run(count)
        elif what == 0xC0:
            for _ in range(count):
                if self.drawing:
                    self.last = self.above[self.column]
                    self.put()
        else:
            for _ in range(count):
                self.step()

    def run(self, count: int) -> None:
        """Draw pixels of the last colour."""
        for _ in range(count):
            if self.drawing:
                self.above[self.column] = self.last
                self.put()

    def put(self) -> None:
        """Write one pixel to the display; a real controller collects those of a row and writes them at once."""
        place = 2 * ((self.top + self.row) * self.width + self.left_x + self.column)
        self.screen[place], self.screen[place + 1] = self.last >> 8, self.last & 0xFF
        self.step()

    def step(self) -> None:
        """Go on to the next pixel of the rectangle."""
        self.column += 1
        if self.column == self.across:
            self.column = 0
            self.row += 1
            self.drawing = self.row < self.down

    # --- what the page says (section 6) -----------------------------------------------------------------------------

    def say(self, kind: int, length: int) -> None:
        """Keep what a frame says under its kind and place."""
        place = self.byte(2, length)
        if kind == PAGE:
            self.said.clear()
            name, at = self.text(2, length)
            title, at = self.text(at, length)
            counts = [self.byte(at + i, length) for i in range(4)]  # rows, columns, lamps, lines
            self.said[PAGE, 0] = (name, title, *counts)
        elif kind == VALUE:
            self.said[VALUE, 0] = self.value(2, length)
        elif kind in {ROW, COLUMN}:
            label, at = self.text(3, length)
            self.said[kind, place] = (label, *self.value(at, length))
        elif kind in {WORDS, LINE}:
            self.said[kind, place] = (self.byte(3, length), self.text(4, length)[0])
        elif kind == LAMP:
            looks = [self.byte(3 + i, length) for i in range(3)]  # lit, role, age
            self.said[LAMP, place] = (*looks, self.text(6, length)[0])
        else:
            self.said[STATE, 0] = (place, self.byte(3, length))

    def value(self, at: int, length: int) -> tuple[object, ...]:
        """Return role, age, text and unit, and if it has a scale the band's role and four places on it."""
        role, age = self.byte(at, length), self.byte(at + 1, length)
        text, at = self.text(at + 2, length)
        unit, at = self.text(at, length)
        if at + 9 > length:
            return role, age, text, unit
        return role, age, text, unit, self.frame[at], *(self.number(at + i) for i in (1, 3, 5, 7))

    def byte(self, at: int, length: int) -> int:
        """Return a byte of the frame, 0 beyond its end."""
        return self.frame[at] if at < length else 0

    def text(self, at: int, length: int) -> tuple[str, int]:
        """Return a text of the frame and where it ends."""
        end = min(at + 1 + self.byte(at, length), length)
        return bytes(self.frame[at + 1 : end]).decode("utf-8", "replace"), end
