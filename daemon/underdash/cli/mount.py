"""``underdash mount``: a template on paper, one to one, for the place of a panel."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..contract.errors import GivenError
from .common import positive, put_in_place

EDGE_MM = 5.0
"""What a module usually has around its lit area; common practice, no source: measure yours."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--out", metavar="F.svg", required=True, help="the template, to be printed at 100 %%")
    parser.add_argument("--shape", choices=("round", "square"), default="round", help="of the panel (default round)")
    parser.add_argument("--lit", default="32.4", metavar="MM[xMM]", help="what lights up (default %(default)s)")
    parser.add_argument("--outline", metavar="MM[xMM]", help=f"the module's edge (default: {EDGE_MM:g} mm more)")
    parser.add_argument("--holes", type=int, default=0, metavar="N", help="holes, evenly on a circle")
    parser.add_argument("--hole-circle", type=positive, metavar="MM", help="diameter of that circle")
    parser.add_argument("--hole", type=positive, default=2.2, metavar="MM", help="diameter of a hole")


def run(arguments: argparse.Namespace) -> int:
    """Write the template and say how to use it."""
    from ..display.mounting import Mounting, template

    out = Path(arguments.out)
    if out.suffix.lower() != ".svg":
        raise GivenError(f"--out {out}: a template is written as SVG; name a file ending in .svg")
    lit = _size("--lit", arguments.lit)
    outline = _size("--outline", arguments.outline) if arguments.outline else (lit[0] + EDGE_MM, lit[1] + EDGE_MM)
    if outline[0] < lit[0] or outline[1] < lit[1]:
        raise GivenError(f"--outline {arguments.outline} is smaller than what lights up; found --lit {arguments.lit}")
    if not 0 <= arguments.holes <= 24:
        raise GivenError(f"--holes takes 0 to 24; found {arguments.holes}")
    if arguments.holes and arguments.hole_circle is None:
        raise GivenError("--holes needs --hole-circle, the diameter of the circle they are on")
    one = Mounting(
        lit, outline, arguments.shape == "round", arguments.holes, arguments.hole_circle or 0.0, arguments.hole
    )
    with put_in_place(out, "--out") as part:
        part.write_text(template(one), encoding="utf-8")
    print(f"{out}: print it at 100 % and measure its line of 50 mm before you cut anything")
    return 0


def _size(option: str, text: str) -> tuple[float, float]:
    across, x, down = text.lower().partition("x")
    try:
        size = float(across), float(down if x else across)
    except ValueError:
        size = (0.0, 0.0)
    if not all(5.0 <= one <= 400.0 for one in size):
        raise GivenError(f"{option} takes millimetres from 5 to 400, as in 32.4 or 57.6x43.2; found {text!r}")
    return size
