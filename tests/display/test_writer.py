"""The thread that hands pictures to a device. Devices here wait for the test: nothing depends on how fast it runs."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence

import pytest
from PIL import Image

from underdash.contract.content import Content
from underdash.display.round import Box
from underdash.display.writer import ContentWriter, ImageWriter, writer

SOON_S = 20.0
WHOLE = (0, 0, 8, 8)


def plain(grey: int) -> Image.Image:
    return Image.new("RGB", (8, 8), (grey, grey, grey))


class Device:
    """Shows what it is given, as long as its gate is open; fails while it is told to."""

    size = (8, 8)

    def __init__(self) -> None:
        self.gate = threading.Event()
        self.gate.set()
        self.inside = threading.Event()
        self.wrong = ""
        self.image = Image.new("RGB", self.size)
        self.calls: list[object] = []
        self.closed = False

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        self.inside.set()
        assert self.gate.wait(SOON_S)
        if self.wrong:
            raise OSError(self.wrong)
        for box in boxes:
            self.image.paste(image.crop(box), box[:2])
        self.calls.append(tuple(boxes))

    def dim(self, level: float) -> None:
        self.calls.append(level)

    def close(self) -> None:
        self.closed = True


class Parts:
    def __init__(self) -> None:
        self.device = Device()
        self.said: list[str] = []
        self.told = threading.Event()
        self.now = 0.0
        self.writer = ImageWriter(self.device, self._failed, lambda: self.now)

    def _failed(self, sentence: str) -> None:
        self.said.append(sentence)
        self.told.set()


@pytest.fixture
def parts() -> Iterator[Parts]:
    made = Parts()
    yield made
    made.device.gate.set()
    made.writer.close()


def test_a_slow_device_holds_up_nobody_and_gets_the_newest_picture(parts: Parts) -> None:
    parts.device.gate.clear()
    parts.writer.show(plain(1), [WHOLE])
    assert parts.device.inside.wait(SOON_S)
    for grey in range(2, 50):
        parts.writer.show(plain(grey), [(0, 0, 4, 4)])
    parts.writer.show(plain(99), [(4, 4, 8, 8)])
    parts.device.gate.set()
    assert parts.writer.settled(SOON_S)
    assert len(parts.device.calls) == 2
    assert [parts.device.image.getpixel(at) for at in ((0, 0), (7, 7), (7, 0))] == [(49,) * 3, (99,) * 3, (1,) * 3]


def test_the_light_comes_on_after_the_first_picture_is_in_the_panel(parts: Parts) -> None:
    parts.writer.dim(0.5)
    parts.writer.dim(0.6)
    assert parts.device.calls == []
    parts.writer.show(plain(1), [WHOLE])
    assert parts.writer.settled(SOON_S)
    assert parts.device.calls == [(WHOLE,), 0.6]


def test_a_picture_that_is_painted_on_after_the_call_does_not_change_what_is_sent(parts: Parts) -> None:
    parts.device.gate.clear()
    image = plain(1)
    parts.writer.show(image, [WHOLE])
    image.paste((200, 0, 0), WHOLE)
    parts.device.gate.set()
    assert parts.writer.settled(SOON_S)
    assert parts.device.image.getpixel((3, 3)) == (1, 1, 1)


def test_what_failed_is_shown_again_as_a_whole_and_told_once(parts: Parts) -> None:
    parts.writer.show(plain(5), [WHOLE])
    parts.writer.dim(1.0)
    assert parts.writer.settled(SOON_S)
    parts.device.wrong = "the wire broke"
    parts.writer.show(plain(6), [(0, 0, 2, 2)])
    assert parts.told.wait(SOON_S)
    parts.writer.show(plain(7), [(6, 6, 8, 8)])
    parts.device.wrong = ""
    parts.device.calls.clear()
    parts.now += 60.0
    parts.writer.dim(0.9)
    assert parts.writer.settled(SOON_S)
    assert parts.said == ["the panel does not take images: the wire broke"]
    assert parts.device.calls == [(WHOLE,), 0.9]
    assert [parts.device.image.getpixel(at) for at in ((0, 0), (4, 4), (7, 7))] == [(6,) * 3, (5,) * 3, (7,) * 3]


def test_the_light_is_set_again_after_the_picture_is_back(parts: Parts) -> None:
    parts.writer.show(plain(5), [WHOLE])
    parts.writer.dim(0.5)
    assert parts.writer.settled(SOON_S)
    parts.device.wrong = "the wire broke"
    parts.writer.show(plain(6), [WHOLE])
    assert parts.told.wait(SOON_S)
    parts.device.wrong = ""
    parts.device.calls.clear()
    parts.now += 60.0
    parts.writer.show(plain(7), [WHOLE])
    assert parts.writer.settled(SOON_S)
    assert parts.device.calls == [(WHOLE,), 0.5]


def test_looking_after_a_panel_that_shows_nothing_yet_lights_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    tended = threading.Event()

    class Tended(Device):
        times = 0

        def tend(self) -> None:
            self.times += 1
            if self.times > 2:
                tended.set()

    monkeypatch.setattr("underdash.display.writer.TEND_S", 0.001)
    device = Tended()
    made = ImageWriter(device, lambda sentence: None)
    try:
        made.dim(0.5)
        assert tended.wait(SOON_S)
        assert device.calls == []
        made.show(plain(1), [WHOLE])
        assert made.settled(SOON_S)
        assert device.calls == [(WHOLE,), 0.5]
    finally:
        made.close()


def test_a_device_that_does_not_come_back_is_told_once_and_left_at_the_end(
    parts: Parts, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts.device.gate.clear()
    parts.writer.show(plain(1), [WHOLE])
    assert parts.device.inside.wait(SOON_S)
    assert parts.writer.stuck(4.0) == ""
    assert "has not taken its picture for 6 s" in parts.writer.stuck(6.0)
    assert parts.writer.stuck(7.0) == ""
    monkeypatch.setattr("underdash.display.writer.CLOSE_S", 0.0)
    parts.writer.close()
    assert not parts.device.closed


def test_what_is_left_is_sent_before_the_end(parts: Parts) -> None:
    parts.device.gate.clear()
    parts.writer.show(plain(1), [WHOLE])
    assert parts.device.inside.wait(SOON_S)
    parts.writer.show(plain(2), [WHOLE])
    parts.writer.dim(0.0)
    parts.device.gate.set()
    parts.writer.close()
    assert parts.device.calls == [(WHOLE,), (WHOLE,), 0.0]
    assert parts.device.image.getpixel((0, 0)) == (2, 2, 2)
    assert parts.device.closed


def test_a_writer_that_never_showed_anything_closes_its_device(parts: Parts) -> None:
    parts.writer.close()
    assert parts.device.closed
    parts.writer.show(plain(1), [WHOLE])
    assert parts.device.calls == []


class Speaking:
    """Draws by itself and has to be looked after; forgets what it shows when `lost`."""

    size = (8, 8)

    def __init__(self) -> None:
        self.told: list[Content] = []
        self.lost = False
        self.again = threading.Event()

    def tell(self, content: Content) -> None:
        self.told.append(content)
        if len(self.told) > 1:
            self.again.set()

    def tend(self) -> None:
        if self.lost:
            self.lost = False
            raise OSError("its controller was reset")

    def dim(self, level: float) -> None:
        """It has no light."""

    def close(self) -> None:
        """It has nothing to close."""


def test_a_panel_that_lost_its_picture_is_told_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("underdash.display.writer.TEND_S", 0.001)
    monkeypatch.setattr("underdash.display.writer.RETRY_S", 0.001)
    device, said = Speaking(), list[str]()
    speaking = writer(device, said.append)
    assert isinstance(speaking, ContentWriter)
    speaking.tell(Content("boost", "boost"))
    assert speaking.settled(SOON_S)
    device.lost = True
    assert device.again.wait(SOON_S)
    speaking.close()
    assert device.told == [Content("boost", "boost")] * 2
    assert said == ["the panel does not take images: its controller was reset"]


def test_the_kind_of_writer_follows_the_device() -> None:
    assert isinstance(writer(Device(), print), ImageWriter)


def test_what_writes_already_is_not_wrapped_and_tells_its_trouble_to_whoever_took_it_over(parts: Parts) -> None:
    parts.device.wrong = "no wire"
    parts.writer.show(plain(9), [WHOLE])
    assert parts.told.wait(SOON_S)
    said: list[str] = []
    assert writer(parts.writer, said.append) is parts.writer
    assert said == parts.said == ["the panel does not take images: no wire"]
    assert writer(ImageWriter(Device(), said.append), said.append).size == (8, 8)
    assert len(said) == 1
