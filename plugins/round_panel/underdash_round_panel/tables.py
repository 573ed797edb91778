"""What a GC9A01 is told before its first picture: two families of values that public drivers agree on.

The maker's values are only known from drivers. Sources, all under free licences: TFT (Bodmer/TFT_eSPI
GC9A01_Init.h), LGFX (lovyan03/LovyanGFX Panel_GC9A01.hpp), ADA (Adafruit_GC9A01A 1.1.1), ZEP (Zephyr
display_gc9x01x.c), IDF (esp-bsp esp_lcd_gc9a01.c). A line is a command and its parameters, in hexadecimal.
"""

from __future__ import annotations

from dataclasses import dataclass

Command = tuple[int, bytes]

ENDING = """
    BE 11
    E1 10 0E
    DF 21 0C 02
    F0 45 09 08 08 26 2A            # gamma
    F1 43 70 72 36 37 6F
    F2 45 09 08 08 26 2A
    F3 43 70 72 36 37 6F
    ED 1B 0B
    AE 77
    CD 63
    70 07 07 04 0E 0F 09 07 08 03   # all but ADA, which leaves it out
    E8 34                           # frame rate, inversion by dots
"""
"""All sources, in the order of TFT and IDF."""

CLOSING = """
    64 28 29 F1 01 F1 00 07
    66 3C 00 CD 67 45 45 10 00 00 00
    67 00 3C 00 00 00 01 54 10 32 98
"""
"""All sources."""

TABLE_A = f"""
    EF                              # TFT, LGFX, ADA; opens the maker's commands
    EB 14
    FE
    EF
    EB 14
    84 40
    85 FF
    86 FF
    87 FF
    88 0A
    89 21
    8A 00
    8B 80
    8C 01
    8D 01
    8E FF
    8F FF
    B6 00 20                        # TFT, LGFX, ZEP; ADA has 00 00, with the other row of MADCTL below
    90 08 08 08 08
    BD 06
    BC 00
    FF 60 01 04
    C3 13
    C4 13
    C9 22
    {ENDING}
    62 18 0D 71 ED 70 70 18 0F 71 EF 70 70
    63 18 11 71 F1 70 70 18 13 71 F3 70 70
    {CLOSING}
    74 10 85 80 00 00 4E 00
    98 3E 07
"""
TABLE_B = f"""
    FE                              # IDF, all of them
    EF
    EB 14
    84 60
    85 FF
    86 FF
    87 FF
    8E FF
    8F FF
    88 0A
    89 23
    8A 00
    8B 80
    8C 01
    8D 03
    90 08 08 08 08
    FF 60 01 04
    C3 13
    C4 13
    C9 30
    {ENDING}
    60 38 0B 6D 6D 39 F0 6D 6D
    61 38 F4 6D 6D 38 F7 6D 6D
    62 38 0D 71 ED 70 70 38 0F 71 EF 70 70
    63 38 11 71 F1 70 70 38 13 71 F3 70 70
    {CLOSING}
    74 10 45 80 00 00 4E 00
    98 3E 07
    99 3E 07
"""


def commands(text: str) -> tuple[Command, ...]:
    """Read a table."""
    lines = (bytes.fromhex(line.partition("#")[0]) for line in text.splitlines())
    return tuple((line[0], line[1:]) for line in lines if line)


@dataclass(frozen=True, slots=True)
class Variant:
    """A family of values; what belongs together is kept together.

    Args:
        text: its table.
        madctl: the direction of memory for an upright picture. It goes with the table's B6, whose second byte turns the
            direction of the glass's columns, so that one without the other shows everything as in a mirror.
        wakes_first: it leaves sleep before the table, not after it.
    """

    text: str
    madctl: int
    wakes_first: bool

    @property
    def commands(self) -> tuple[Command, ...]:
        """The table."""
        return commands(self.text)


VARIANTS = {
    # B6 00 20 with MADCTL 08 / A8 / CC / 68 for the four right angles: ZEP
    "A": Variant(TABLE_A, 0x08, wakes_first=False),
    # no B6, so 00 00, with MADCTL 48 / 28 / 88 / E8: ADA
    "B": Variant(TABLE_B, 0x48, wakes_first=True),
}
