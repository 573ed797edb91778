"""A real serial port of the kernel's (a pseudo terminal), with the reference at its far end in a thread."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import serial
from PIL import Image, ImageDraw

from underdash import UnderdashError
from underdash.drivers import pack
from underdash_serial_panel import check, opened
from underdash_serial_panel.device import PixelPanel
from underdash_serial_panel.line import SerialLine, _there
from underdash_serial_panel.reference import Controller
from underdash_serial_panel.settings import Settings

SIZE = (60, 40)
WHOLE = (0, 0, *SIZE)


@dataclass
class Port:
    """A port and the controller on it.

    Attributes:
        path: what to open.
        controller: answers as long as the far end is not closed.
    """

    path: str
    controller: Controller
    master: int
    thread: threading.Thread

    def unplug(self) -> None:
        """Take the far end away, as pulling a USB plug does."""
        if self.master >= 0:
            os.write(self.wake, b"x")
            self.thread.join()
            os.close(self.master)
            self.master = -1

    wake: int = -1


@pytest.fixture
def port() -> Iterator[Port]:
    master, slave = os.openpty()
    stopped, wake = os.pipe()
    controller = Controller(*SIZE)
    thread = threading.Thread(target=answer, args=(master, stopped, controller), daemon=True)
    made = Port(os.ttyname(slave), controller, master, thread, wake)
    thread.start()
    yield made
    made.unplug()
    for descriptor in (slave, stopped, wake):
        os.close(descriptor)


def answer(master: int, stopped: int, controller: Controller) -> None:
    """Be the controller until told to stop."""
    import select

    while True:
        ready, _, _ = select.select([master, stopped], [], [])
        if stopped in ready:
            return
        for byte in os.read(master, 256):
            reply = controller.receive(byte)
            if reply:
                os.write(master, reply)


def panel_on(path: str) -> PixelPanel:
    panel = opened({"size": SIZE, "rotation": 0.0, "settings": Settings(port=path)})
    assert isinstance(panel, PixelPanel)
    return panel


def drawn() -> Image.Image:
    image = Image.new("RGB", SIZE)
    draw = ImageDraw.Draw(image)
    draw.ellipse((5, 5, 50, 35), fill=(200, 40, 90), outline=(255, 255, 255))
    draw.text((12, 12), "0.84", fill=(255, 255, 255))
    return image


def test_a_picture_goes_through_a_real_port_and_the_light_after_it(port: Port) -> None:
    panel, image = panel_on(port.path), drawn()
    panel.show(image, [WHOLE])
    panel.dim(0.25)
    panel.tend()
    assert bytes(port.controller.screen) == pack(image)
    assert port.controller.light == 0x4000
    panel.close()
    assert port.controller.light == 0


def test_a_port_that_is_pulled_out_is_told_and_the_sentence_stays(port: Port) -> None:
    panel = panel_on(port.path)
    panel.show(drawn(), [WHOLE])
    port.unplug()
    with pytest.raises(UnderdashError, match=f"serial panel at {port.path}: ") as told:
        panel.show(Image.new("RGB", SIZE, (1, 200, 3)), [WHOLE])
    assert "\n" not in str(told.value)
    panel.close()


def test_a_port_is_ours_alone(port: Port) -> None:
    first = SerialLine(Settings(port=port.path))
    with pytest.raises(UnderdashError, match=r"another program has .* open; close it"):
        SerialLine(Settings(port=port.path))
    first.close()
    SerialLine(Settings(port=port.path)).close()


def test_a_port_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(UnderdashError, match="there is no serial port /dev/serial/by-id/no; plug the controller in"):
        SerialLine(Settings(port="/dev/serial/by-id/no"))
    assert _there(tmp_path) == f"nothing is in {tmp_path} now"
    (tmp_path / "usb-b").touch()
    (tmp_path / "usb-a").touch()
    assert _there(tmp_path) == f"there is {tmp_path}/usb-a, {tmp_path}/usb-b"


def test_what_can_be_seen_from_outside_is_told_without_opening(
    port: Port, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def said(path: str) -> str:
        return check({"size": SIZE, "rotation": 0.0, "settings": Settings(port=path)})

    (tmp_path / "plain").touch()
    assert said(port.path) == ""
    assert "there is no serial port" in said(str(tmp_path / "nothing"))
    assert "cannot be opened" in said(str(tmp_path / "plain"))
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert "group dialout" in said(port.path)


def test_a_file_that_is_no_port_is_told(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    with pytest.raises(UnderdashError, match=r"plain cannot be opened .* has to be a serial port"):
        SerialLine(Settings(port=str(tmp_path / "plain")))


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (serial.SerialException(errno.EACCES, "denied"), "may not open .* group dialout: `sudo usermod -aG dialout"),
        (serial.SerialException(errno.EBUSY, "busy"), "another program has"),
        (ValueError("Invalid baud rate"), "does not run at 115200 baud .* take another `baud` on both sides"),
        (serial.SerialException("anything else"), "cannot be opened"),
    ],
)
def test_what_keeps_a_port_closed_is_told_with_the_next_step(
    monkeypatch: pytest.MonkeyPatch, error: Exception, says: str
) -> None:
    def fails(*args: object, **keys: object) -> None:
        raise error

    monkeypatch.setattr(serial, "Serial", fails)
    with pytest.raises(UnderdashError, match=says):
        SerialLine(Settings(port="/dev/ttyACM0"))


def test_a_port_that_is_closed_while_somebody_reads_is_a_line_that_is_gone(port: Port) -> None:
    line = SerialLine(Settings(port=port.path))
    line.close()
    for use in (lambda: line.read(0.0), lambda: line.write(b"x")):
        with pytest.raises(OSError):
            use()
