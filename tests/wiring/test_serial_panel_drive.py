"""A drive whose panel is a controller at the far end of a real serial port: a pseudo terminal."""

from __future__ import annotations

import os
import select
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from underdash.display.rgb565 import pack
from underdash.simulator.driver import Phase
from underdash_serial_panel.reference import Controller

SCRIPT = (Phase("on", 60, "ON", lights=False, knob=1.0, daylight=1.0),)
END_S = 12


class Far:
    """The far end of a port, with a controller that answers until it is unplugged."""

    def __init__(self) -> None:
        self.controller = Controller(240, 240)
        self.master, self.slave = os.openpty()
        self._stopped, self._wake = os.pipe()
        self._thread = threading.Thread(target=self._answer, daemon=True)
        self._thread.start()

    @property
    def path(self) -> str:
        return os.ttyname(self.slave)

    def unplug(self) -> None:
        """Take the far end away."""
        os.write(self._wake, b"x")
        self._thread.join()
        for descriptor in (self.master, self.slave, self._stopped, self._wake):
            os.close(descriptor)

    def _answer(self) -> None:
        while True:
            ready, _, _ = select.select([self.master, self._stopped], [], [])
            if self._stopped in ready:
                return
            for byte in os.read(self.master, 4096):
                reply = self.controller.receive(byte)
                if reply:
                    os.write(self.master, reply)


@pytest.fixture
def far() -> Iterator[Far]:
    made = Far()
    yield made
    made.unplug()


def with_two_panels(text: str, port: str, mode: str, file: Path) -> str:
    """Put the controller beside a picture that shows the same pages."""
    head, tail = text.split("[panel.main]\n")
    picture, rest = tail.split("\n[units]")
    beside = f'[panel.beside]\n{picture}\n[panel.beside.settings]\nfile = "{file}"\n'
    serial = picture.replace('"picture"', '"serial_panel"')
    settings = f'[panel.main.settings]\nport = "{port}"\nmode = "{mode}"\n'
    plugins = head.replace("enabled = [", 'enabled = ["serial_panel", ')
    return f"{plugins}[panel.main]\n{serial}\n{settings}\n{beside}\n[units]{rest}"


def driven(drive: Callable[..., Any], far: Far, mode: str, file: Path, look: Callable[[Any], None]) -> None:
    """Drive, and look near the end, when both panels have what was handed over."""
    journey = drive(SCRIPT, lambda text: with_two_panels(text, far.path, mode, file))
    settled: list[bool] = []

    def wait() -> None:
        # the drive jumps ahead of the clock on the wall, by which panels are written
        for screen in journey.demo.daemon.screens:
            screen.wall_gap_s = 0.0
            settled.append(screen.settled(10.0))
        if len(settled) == 2 * (END_S - 1):
            look(journey)

    for second in range(1, END_S):
        journey.at(second, wait)
    journey.run(END_S)
    assert settled == [True] * (2 * (END_S - 1))
    assert journey.demo.daemon.status().faults == ()
    assert far.controller.light == 0, "the daemon has ended"


def test_a_controller_on_a_serial_port_shows_what_a_picture_shows(
    drive: Callable[..., Any], far: Far, tmp_path: Path
) -> None:
    seen: list[tuple[bytes, int]] = []

    def look(journey: Any) -> None:
        with Image.open(tmp_path / "beside.png") as beside:
            seen.append((pack(beside), far.controller.light))
        seen.append((bytes(far.controller.screen), 0xFFFF))

    driven(drive, far, "pixels", tmp_path / "beside.png", look)
    assert any(seen[0][0])
    assert seen[0] == seen[1]
    assert far.controller.pictures > 3


def test_a_controller_that_draws_by_itself_is_told_the_page_and_its_value(
    drive: Callable[..., Any], far: Far, tmp_path: Path
) -> None:
    def look(journey: Any) -> None:
        said, boost = far.controller.said, journey.seen[-1][1].reading("engine.boost_pressure")
        assert said[0x20, 0] == ("boost", "boost", 0, 0, 0, 0)
        _, age, text, unit, *share = said[0x21, 0]
        assert (age, unit, len(share)) == (0, "bar", 5)
        assert float(str(text)) == pytest.approx(boost.shown, abs=0.03)
        looked.append(text)

    looked: list[object] = []
    driven(drive, far, "values", tmp_path / "beside.png", look)
    assert looked


def test_five_panels_go_on_when_the_sixth_is_unplugged_in_the_middle(drive: Callable[..., Any], tmp_path: Path) -> None:
    far, numbers = Far(), range(1, 5)
    told: list[str] = []
    written: list[list[int]] = []
    pictures = [tmp_path / f"p{n}.png" for n in numbers]

    def with_six(text: str) -> str:
        more = with_two_panels(text, far.path, "pixels", tmp_path / "beside.png")
        (one,) = [part for part in more.split("\n\n") if part.startswith("[panel.beside]")]
        settings = '[panel.{name}.settings]\nfile = "{file}"\n'
        others = [
            one.replace("panel.beside", f"panel.p{n}")
            + "\n"
            + settings.format(name=f"p{n}", file=tmp_path / f"p{n}.png")
            for n in numbers
        ]
        return more.replace("\n[units]", "\n" + "\n".join(others) + "\n[units]")

    journey = drive(SCRIPT, with_six)

    def settle() -> None:
        for screen in journey.demo.daemon.screens:
            screen.wall_gap_s = 0.0
            screen.settled(2.0)

    def end() -> None:
        settle()
        told.extend(journey.demo.daemon.status().faults)
        written.append([path.stat().st_mtime_ns for path in pictures])

    for second in range(1, END_S):
        journey.at(second, far.unplug if second == 5 else end if second in (6, END_S - 1) else settle)
    journey.run(END_S)
    assert all(later > earlier for earlier, later in zip(*written, strict=True))
    first, *rest = [path.read_bytes() for path in pictures]
    assert all(other == first for other in rest)
    assert told
    assert all(fault.startswith("panel main: the panel does not take images") for fault in told)
