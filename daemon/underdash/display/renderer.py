"""The renderer: one thread that draws the newest snapshot, at most 25 times a second and only when something changed.

Its page may fail, its caller may not: what a page raises is caught and named, and a draw that takes too long can be
seen from outside by `overdue`.
"""

from __future__ import annotations

import ctypes
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import structlog

from ..contract.errors import raised
from ..contract.pages import Page
from ..contract.signals import Snapshot
from ..contract.words import Words
from .cold import COLD_FPS, cold_form
from .content import content_of
from .damping import Damping
from .elements import Picture
from .kit import Painter
from .palettes import Palette
from .panels import Panel, SelfDrawing, Tended
from .recorder import record

MOST_FPS = 25.0
LATE_S = 0.025
"""A page only names elements; one that takes longer than this a frame holds up the panel."""
LATE_TIMES = 3
HANGS_S = 2.0
"""A draw that has not come back after this is given up."""

_log = structlog.get_logger()


class PageLateError(BaseException):
    """Put into a page's draw that does not come back; no `except Exception` of the page holds it."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What is to be shown; `cold` where the panel turns slowly, so that bands move slowly and coarsely."""

    page: Page
    snapshot: Snapshot
    palette: Palette
    level: float = 1.0
    banner: Words | None = None
    cold: bool = False


@dataclass(frozen=True, slots=True)
class Fault:
    """What went wrong with a page or the panel (`page` None), in a sentence; `off` if the page is no longer drawn."""

    page: str | None
    sentence: str
    off: bool


class Renderer:
    """Draws for one panel in a thread of its own.

    Args:
        panel: what shows the images, or draws by itself what it is told.
        painter: paints the images; must have the panel's size.
        faulty: called in the renderer's thread with each new fault; it must come back at once.
        clock: monotonic seconds.
        most_fps: upper limit of images a second.
    """

    def __init__(
        self,
        panel: Panel | SelfDrawing,
        painter: Painter,
        faulty: Callable[[Fault], None],
        *,
        clock: Callable[[], float] = time.monotonic,
        most_fps: float = MOST_FPS,
    ) -> None:
        self._panel = panel
        self._painter = painter
        self._faulty = faulty
        self._clock = clock
        self._quick_s = self._gap_s = 1.0 / most_fps
        self._damping = Damping()
        self._wake = threading.Condition()
        self._next: Frame | None = None
        self._ended = False
        self._idle = True
        self._drawing: tuple[str, float] | None = None
        self._off: set[str] = set()
        self._late: dict[str, int] = {}
        self._level: float | None = None
        self._shown: object = None
        self._tend = panel.tend if isinstance(panel, Tended) else None
        self._panel_fails = False
        self._thread: threading.Thread | None = None
        self.frames = 0
        self.beats = 0
        self.slowest_s = 0.0

    def start(self) -> None:
        """Start the thread."""
        self._thread = threading.Thread(target=self._run, name="renderer", daemon=True)
        self._thread.start()

    def submit(self, frame: Frame) -> None:
        """Hand over what is to be shown; it replaces what is still waiting."""
        with self._wake:
            self._next = frame
            self._idle = False
            self._wake.notify_all()

    def stop(self, timeout_s: float = 1.0) -> bool:
        """End the thread; return False if it hangs in a page."""
        with self._wake:
            self._ended = True
            self._wake.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)
        return self._thread is None or not self._thread.is_alive()

    def wait_idle(self, timeout_s: float) -> bool:
        """Wait until everything handed over is shown; return False if it took too long."""
        with self._wake:
            return self._wake.wait_for(lambda: self._idle, timeout_s)

    def overdue(self, now: float, limit_s: float = HANGS_S) -> str | None:
        """Return the name of a page whose draw has not come back for so long, else None."""
        drawing = self._drawing
        return drawing[0] if drawing is not None and now - drawing[1] > limit_s else None

    def abandon(self, now: float, limit_s: float = HANGS_S) -> str | None:
        """End a draw that has not come back for so long, and have its page taken off; return its name.

        It works on Python code; what hangs inside C code is seen by `beats` standing still, and is the watchdog's.
        """
        late = self.overdue(now, limit_s)
        thread = self._thread
        if late is not None and thread is not None and thread.ident is not None:
            ident, error = ctypes.c_ulong(thread.ident), ctypes.py_object(PageLateError)
            ctypes.pythonapi.PyThreadState_SetAsyncExc(ident, error)
        return late

    def _run(self) -> None:
        while True:
            try:
                self._loop()
                return
            except PageLateError:
                # it came after the draw was over after all
                _log.warning("page_late_error_stray")

    def _loop(self) -> None:
        shown_at = -self._gap_s
        while True:
            frame = self._taken(shown_at)
            if frame is None:
                return
            begun, before = self._clock(), self.frames
            try:
                self.show(frame)
            except Exception as exc:  # ours: it must not end the thread that all pages need
                _log.error("renderer_failed", page=frame.page.name, error=repr(exc), exc_info=True)
            if self.frames != before:
                # what was like the last picture must not keep the next one waiting
                shown_at = begun
            with self._wake:
                self._idle = self._next is None
                self._wake.notify_all()

    def _taken(self, shown_at: float) -> Frame | None:
        """Wait for a frame and for its time; newer ones that come meanwhile take its place."""
        with self._wake:
            self._wake.wait_for(lambda: self._ended or self._next is not None)
            while not self._ended:
                rest_s = shown_at + self._gap_s - self._clock()
                if rest_s <= 0:
                    break
                self._wake.wait(rest_s)
            frame, self._next = self._next, None
            return None if self._ended else frame

    def show(self, frame: Frame) -> None:
        """Draw one frame and show what changed; the thread calls it, and so may a caller without one."""
        self.beats += 1
        self._gap_s = max(self._quick_s, 1.0 / COLD_FPS) if frame.cold else self._quick_s
        picture = self._drawn(frame)
        if picture is None or not self._put(frame, picture):
            self._look_after()
        # after the first image is in the panel, so that nothing else ever lights up
        if self._level != frame.level and not self._panel_fails and self._guarded(lambda: self._panel.dim(frame.level)):
            self._level = frame.level

    def _put(self, frame: Frame, picture: Picture) -> bool:
        """Hand a picture to the panel if it differs from the last; tell whether it was handed over."""
        panel = self._panel
        if isinstance(panel, SelfDrawing):
            content = content_of(frame.page.name, picture, night=frame.snapshot.night)
            if content == self._shown:
                return False
            self._shown = content
            put = self._guarded(lambda: panel.tell(content))
        else:
            moved = self._damping.step(frame.page.name, picture, frame.snapshot.now)
            picture = cold_form(picture) if frame.cold else moved
            if self._shown == (picture, frame.palette):
                return False
            self._painter.use(frame.palette)
            image, boxes = self._painter.paint(picture)
            self._shown = picture, frame.palette
            if not boxes:
                return False
            put = self._guarded(lambda: panel.show(image, boxes))
        self.frames += put
        return True

    def _look_after(self) -> None:
        if self._tend is not None:
            self._guarded(self._tend)

    def _drawn(self, frame: Frame) -> Picture | None:
        name = frame.page.name
        if name in self._off:
            return None
        begun = self._clock()
        self._drawing = name, begun
        try:
            return record(frame.page, frame.snapshot, self._panel.size, frame.banner)
        except BaseException as exc:  # a page that calls sys.exit must not end the renderer
            self._drawing = None  # telling takes its time too, and must not be ended for it
            late = isinstance(exc, PageLateError)
            self._take_off(name, "its draw did not come back" if late else f"it raised {raised(exc)}")
            _log.warning("page_failed", page=name, error=raised(exc), exc_info=True)
            return None
        finally:
            self._drawing = None
            self._timed(name, self._clock() - begun)

    def _timed(self, name: str, took_s: float) -> None:
        self.slowest_s = max(self.slowest_s, took_s)
        if took_s <= LATE_S or name in self._off:
            return
        self._late[name] = self._late.get(name, 0) + 1
        if self._late[name] == LATE_TIMES:
            sentence = f"page {name!r} is slow: {took_s * 1e3:.0f} ms a frame, {LATE_S * 1e3:.0f} ms are allowed"
            self._faulty(Fault(name, sentence, off=False))

    def _take_off(self, name: str, why: str) -> None:
        self._off.add(name)
        self._faulty(Fault(name, f"page {name!r} was taken off: {why}", off=True))

    def _guarded(self, called: Callable[[], None]) -> bool:
        try:
            called()
        except Exception as exc:
            # what the panel missed is sent as a whole once it works again
            self._shown = None
            self._painter.forget()
            if not self._panel_fails:
                self._panel_fails = True
                self._faulty(Fault(None, f"the panel does not take images: {exc}", off=False))
                _log.warning("panel_failed", error=repr(exc))
            return False
        self._panel_fails = False
        return True
