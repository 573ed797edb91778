from __future__ import annotations

import sys
import threading
import time
from collections.abc import Sequence

import pytest
from PIL import Image

from underdash.contract.content import Content
from underdash.contract.pages import Canvas, Page
from underdash.contract.signals import Snapshot
from underdash.display.kit import Painter
from underdash.display.palettes import DAY, night
from underdash.display.panels import Panel, SelfDrawing
from underdash.display.panels.picture import PicturePanel
from underdash.display.renderer import LATE_S, LATE_TIMES, Fault, Frame, Renderer
from underdash.display.round import Box, Face

SOON_S = 5.0


class Clock:
    """Monotonic seconds that move by hand."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class Setting:
    """A renderer without a thread on a picture panel."""

    def __init__(self, panel: PicturePanel | None = None, clock: Clock | None = None) -> None:
        self.panel = panel or PicturePanel()
        self.faults: list[Fault] = []
        self.clock = clock or Clock()
        self.renderer = Renderer(self.panel, Painter(Face(240, 240)), self.faults.append, clock=self.clock)


def frame(text: str, level: float = 1.0, name: str = "p") -> Frame:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title(text)

    return Frame(Page(name, name, draw, ()), Snapshot(0.0, {}), DAY, level)


@pytest.fixture
def setting() -> Setting:
    return Setting()


def test_only_a_change_reaches_the_panel(setting: Setting) -> None:
    for text in ("one", "one", "two", "two"):
        setting.renderer.show(frame(text))
    assert setting.panel.frames == setting.renderer.frames == 2


def test_a_change_of_palette_reaches_the_panel(setting: Setting) -> None:
    day = frame("one")
    setting.renderer.show(day)
    setting.renderer.show(Frame(day.page, day.snapshot, night(32)))
    assert setting.panel.frames == 2


def test_the_light_comes_on_after_the_first_image() -> None:
    order = []

    class Panel(PicturePanel):
        def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
            order.append("image")

        def dim(self, level: float) -> None:
            order.append(f"light {level}")

    setting = Setting(Panel())
    setting.renderer.show(frame("one", 0.4))
    setting.renderer.show(frame("one", 0.4))
    setting.renderer.show(frame("one", 0.5))
    assert order == ["image", "light 0.4", "light 0.5"]


class UnspeakableError(Exception):
    def __str__(self) -> str:
        raise ValueError("not even that")


@pytest.mark.parametrize(
    "error", [ValueError("no"), SystemExit(3), ZeroDivisionError(), MemoryError(), UnspeakableError()]
)
def test_a_page_that_raises_is_taken_off_and_named(setting: Setting, error: BaseException) -> None:
    calls = []

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        calls.append(1)
        raise error

    bad = Frame(Page("bad", "Bad", draw, ()), Snapshot(0.0, {}), DAY)
    for _ in range(3):
        setting.renderer.show(bad)
    setting.renderer.show(frame("fine"))
    assert len(calls) == 1
    assert setting.panel.frames == 1
    assert len(setting.faults) == 1
    assert setting.faults[0].off
    assert setting.faults[0].page == "bad"
    assert type(error).__name__ in setting.faults[0].sentence


def test_garbage_on_the_canvas_is_a_failure_of_the_page(setting: Setting) -> None:
    page = Page("bad", "Bad", lambda canvas, snapshot: canvas.figure(None), ())  # type: ignore[arg-type]
    setting.renderer.show(Frame(page, Snapshot(0.0, {}), DAY))
    assert [fault.page for fault in setting.faults] == ["bad"]


def test_a_slow_page_is_reported_once() -> None:
    setting = Setting()

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        setting.clock.now += LATE_S * 2
        canvas.title(str(setting.clock.now))

    slow = Frame(Page("slow", "Slow", draw, ()), Snapshot(0.0, {}), DAY)
    for _ in range(LATE_TIMES + 3):
        setting.renderer.show(slow)
    assert len(setting.faults) == 1
    assert not setting.faults[0].off
    assert "50 ms a frame, 25 ms are allowed" in setting.faults[0].sentence


def test_a_panel_that_fails_is_named_once_and_gets_everything_when_it_is_back() -> None:
    class Loose(PicturePanel):
        broken = True
        boxes: Sequence[Box] = ()

        def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
            if self.broken:
                raise OSError("no such device")
            self.boxes = boxes

    panel = Loose()
    setting = Setting(panel)
    setting.renderer.show(frame("one"))
    setting.renderer.show(frame("two"))
    panel.broken = False
    setting.renderer.show(frame("two"))
    assert [fault.page for fault in setting.faults] == [None]
    assert "no such device" in setting.faults[0].sentence
    assert panel.boxes == [(0, 0, 240, 240)]


def test_the_thread_shows_what_it_is_given_and_ends() -> None:
    panel, faults = PicturePanel(), list[Fault]()
    renderer = Renderer(panel, Painter(Face(240, 240)), faults.append, most_fps=1000.0)
    renderer.start()
    renderer.submit(frame("one"))
    assert renderer.wait_idle(SOON_S)
    assert panel.seen().getbbox() is not None
    assert renderer.stop(SOON_S)
    assert faults == []


def test_the_newest_wins_while_a_page_is_being_drawn() -> None:
    begun, go_on = threading.Event(), threading.Event()
    drawn: list[str] = []

    def page(name: str, *, hold: bool = False) -> Frame:
        def draw(canvas: Canvas, snapshot: Snapshot) -> None:
            drawn.append(name)
            if hold:
                begun.set()
                go_on.wait(SOON_S)
            canvas.title(name)

        return Frame(Page(name, name, draw, ()), Snapshot(0.0, {}), DAY)

    renderer = Renderer(PicturePanel(), Painter(Face(240, 240)), lambda fault: None, most_fps=1000.0)
    renderer.start()
    renderer.submit(page("first", hold=True))
    assert begun.wait(SOON_S)
    for number in range(20):
        renderer.submit(page(f"between {number}"))
    renderer.submit(page("last"))
    go_on.set()
    assert renderer.wait_idle(SOON_S)
    assert renderer.stop(SOON_S)
    assert drawn == ["first", "last"]


def test_a_page_that_does_not_come_back_can_be_seen_from_outside() -> None:
    begun, go_on = threading.Event(), threading.Event()

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        begun.set()
        go_on.wait(SOON_S)

    clock = Clock()
    renderer = Renderer(PicturePanel(), Painter(Face(240, 240)), lambda fault: None, clock=clock)
    renderer.start()
    renderer.submit(Frame(Page("stuck", "Stuck", draw, ()), Snapshot(0.0, {}), DAY))
    assert begun.wait(SOON_S)
    assert renderer.overdue(1.9) is None
    assert renderer.overdue(2.1) == "stuck"
    assert not renderer.stop(0.0)
    go_on.set()
    assert renderer.stop(SOON_S)
    assert renderer.overdue(9.0) is None


def test_a_page_that_does_not_come_back_is_ended_and_the_next_one_is_drawn() -> None:
    begun, never = threading.Event(), threading.Event()

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        begun.set()
        while not never.is_set():
            try:
                never.wait(0.001)
            except Exception:
                continue

    faults: list[Fault] = []
    panel = PicturePanel()
    renderer = Renderer(panel, Painter(Face(240, 240)), faults.append, clock=time.monotonic, most_fps=1000.0)
    renderer.start()
    renderer.submit(Frame(Page("stuck", "Stuck", draw, ()), Snapshot(0.0, {}), DAY))
    assert begun.wait(SOON_S)
    assert renderer.abandon(time.monotonic()) is None
    assert renderer.abandon(time.monotonic() + 3.0) == "stuck"
    assert renderer.wait_idle(SOON_S)
    renderer.submit(frame("fine"))
    assert renderer.wait_idle(SOON_S)
    assert panel.frames == 1
    assert [(fault.page, fault.off) for fault in faults] == [("stuck", True)]
    assert "did not come back" in faults[0].sentence
    assert renderer.stop(SOON_S)


def test_frames_keep_their_distance() -> None:
    """With a clock that stands, the second frame waits; once time has passed it comes."""
    clock = Clock()
    panel = PicturePanel()
    renderer = Renderer(panel, Painter(Face(240, 240)), lambda fault: None, clock=clock, most_fps=100.0)
    renderer.start()
    renderer.submit(frame("one"))
    assert renderer.wait_idle(SOON_S)
    renderer.submit(frame("two"))
    assert not renderer.wait_idle(0.03)
    assert panel.frames == 1
    clock.now = 1.0
    assert renderer.wait_idle(SOON_S)
    assert panel.frames == 2
    assert renderer.stop(SOON_S)


def test_what_is_like_the_last_picture_keeps_the_next_one_not_waiting() -> None:
    clock = Clock()
    panel = PicturePanel()
    renderer = Renderer(panel, Painter(Face(240, 240)), lambda fault: None, clock=clock, most_fps=100.0)
    renderer.start()
    renderer.submit(frame("one"))
    assert renderer.wait_idle(SOON_S)
    clock.now = 1.0
    renderer.submit(frame("one"))
    assert renderer.wait_idle(SOON_S)
    renderer.submit(frame("two"))
    assert renderer.wait_idle(SOON_S)
    assert panel.frames == 2
    assert renderer.stop(SOON_S)


def test_our_own_error_does_not_end_the_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = PicturePanel()
    painter = Painter(Face(240, 240))
    renderer = Renderer(panel, painter, lambda fault: None, most_fps=1000.0)
    real = painter.paint
    monkeypatch.setattr(painter, "paint", lambda picture: 1 / 0)
    renderer.start()
    renderer.submit(frame("one"))
    assert renderer.wait_idle(SOON_S)
    monkeypatch.setattr(painter, "paint", real)
    renderer.submit(frame("two"))
    assert renderer.wait_idle(SOON_S)
    assert panel.frames == 1
    assert renderer.stop(SOON_S)
    assert sys.exc_info() == (None, None, None)


# --- panels that draw by themselves, or need looking after ------------------------------------------------------------


class Speaking:
    """A panel that draws by itself."""

    size = (240, 240)

    def __init__(self) -> None:
        self.told: list[Content] = []
        self.levels: list[float] = []
        self.broken = False

    def tell(self, content: Content) -> None:
        if self.broken:
            raise OSError("no such device")
        self.told.append(content)

    def dim(self, level: float) -> None:
        self.levels.append(level)

    def close(self) -> None:
        raise AssertionError("the renderer does not close panels")


class Minded(PicturePanel):
    """A panel that has to be looked after."""

    lost = False

    def __init__(self) -> None:
        super().__init__()
        self.tended = 0
        self.boxes: list[Sequence[Box]] = []

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        self.boxes.append(boxes)

    def tend(self) -> None:
        self.tended += 1
        if self.lost:
            raise OSError("it started anew")


def on(panel: Panel | SelfDrawing, faults: list[Fault]) -> Renderer:
    return Renderer(panel, Painter(Face(240, 240)), faults.append, clock=Clock())


def test_a_panel_that_draws_by_itself_is_told_what_changed_and_gets_no_image() -> None:
    panel, faults = Speaking(), list[Fault]()
    renderer = on(panel, faults)
    for text in ("one", "one", "two"):
        renderer.show(frame(text, 0.4))
    day = frame("two", 0.4)
    renderer.show(Frame(day.page, Snapshot(0.0, {}, night=True), night(32), 0.4))
    assert panel.told == [
        Content("p", "one"),
        Content("p", "two"),
        Content("p", "two", night=True),
    ]
    assert panel.levels == [0.4]
    assert renderer.frames == 3
    assert faults == []


def test_a_panel_that_draws_by_itself_is_told_again_after_it_failed() -> None:
    panel, faults = Speaking(), list[Fault]()
    renderer = on(panel, faults)
    panel.broken = True
    renderer.show(frame("one"))
    panel.broken = False
    renderer.show(frame("one"))
    assert panel.told == [Content("p", "one")]
    assert [fault.page for fault in faults] == [None]


def test_a_panel_is_looked_after_while_nothing_changes() -> None:
    panel, faults = Minded(), list[Fault]()
    renderer = on(panel, faults)
    for text in ("one", "one", "one", "two"):
        renderer.show(frame(text))
    assert panel.tended == 2
    assert len(panel.boxes) == 2


def test_a_panel_that_lost_its_picture_gets_all_of_it_again() -> None:
    panel, faults = Minded(), list[Fault]()
    renderer = on(panel, faults)
    renderer.show(frame("one"))
    panel.lost = True
    renderer.show(frame("one"))
    panel.lost = False
    renderer.show(frame("one"))
    assert panel.boxes == [[(0, 0, 240, 240)]] * 2
    assert "it started anew" in faults[0].sentence
