"""One thread a panel that hands images to its device, so that a slow wire holds up nobody.

The newest picture wins: what was not sent yet is joined with what changed since. What a device fails at is tried again
as a whole, later and later. The light comes on only after a picture is in the panel.
"""

from __future__ import annotations

import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

import structlog
from PIL import Image

from ..contract.content import Content
from .panels import Device, Panel, SelfDrawing, Tended
from .round import Box, merged

TEND_S = 0.1
RETRY_S = 0.5
LONGEST_RETRY_S = 10.0
HANGS_S = 5.0
CLOSE_S = 1.0
"""How long a device gets for its last picture; the daemon's end must not hang on it."""

_log = structlog.get_logger()
D = TypeVar("D", bound=Device)


class _Writer(ABC, Generic[D]):
    """What writers of pixels and of contents share.

    Args:
        device: only this writer's thread calls it from now on.
        failed: called in the writer's thread with a sentence when the device begins to fail.
        clock: monotonic seconds.
    """

    def __init__(self, device: D, failed: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        self._device = device
        self._tend: Callable[[], None] | None = device.tend if isinstance(device, Tended) else None
        self._failed = failed
        self._clock = clock
        self._wake = threading.Condition()
        self._level: float | None = None
        self._lit: float | None = None
        self._holds_picture = False
        self._trouble = ""
        self._retry_s = RETRY_S
        self._not_before = 0.0
        self._busy_since: float | None = None
        self._told_stuck = False
        self._ended = False
        self._thread: threading.Thread | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        return self._device.size

    def dim(self, level: float) -> None:
        """Set the light as soon as a picture is in the panel."""
        with self._wake:
            self._level = level
            self._begin()

    def tell_of_failure(self, failed: Callable[[str], None]) -> None:
        """Tell somebody else from now on, and at once if the device fails already."""
        with self._wake:
            self._failed, trouble = failed, self._trouble
        if trouble:
            failed(trouble)

    def close(self) -> None:
        """Send what is left, end the thread, and close the device; one that hangs is left where it is."""
        with self._wake:
            self._ended = True
            self._wake.notify_all()
        if self._thread is not None:
            self._thread.join(CLOSE_S)
            if self._thread.is_alive():
                _log.error("panel_hangs")
                return
        self._device.close()

    def settled(self, timeout_s: float) -> bool:
        """Wait until everything handed over is in the panel; return False if that took too long."""
        with self._wake:
            return self._wake.wait_for(lambda: not self._due() and self._busy_since is None, timeout_s)

    def stuck(self, now: float, limit_s: float = HANGS_S) -> str:
        """Return a sentence, once, when the device has not come back for so long; else ""."""
        since = self._busy_since
        if since is None or now - since <= limit_s:
            self._told_stuck = False
            return ""
        if self._told_stuck:
            return ""
        self._told_stuck = True
        return f"the panel has not taken its picture for {now - since:.0f} s; check its wire and its driver"

    # --- what is to be sent -------------------------------------------------------------------------------------

    @abstractmethod
    def _waiting(self) -> bool:
        """Say whether something new is to be shown; called with the lock held."""

    @abstractmethod
    def _taken(self) -> Callable[[], None]:
        """Take what is to be shown; called with the lock held, the result without it."""

    @abstractmethod
    def _again(self) -> None:
        """Have everything shown again; called with the lock held."""

    # --- the thread ---------------------------------------------------------------------------------------------

    def _begin(self) -> None:
        if self._thread is None and not self._ended:
            self._thread = threading.Thread(target=self._run, name="panel writer", daemon=True)
            self._thread.start()
        self._wake.notify_all()

    def _due(self) -> bool:
        return self._waiting() or (self._holds_picture and self._level != self._lit)

    def _run(self) -> None:
        while True:
            with self._wake:
                wait_s = self._not_before - self._clock()
                if wait_s > 0 and not self._ended:
                    self._wake.wait(wait_s)
                    continue
                ready = self._wake.wait_for(lambda: self._due() or self._ended, None if self._tend is None else TEND_S)
                if self._ended and (not self._due() or self._trouble):
                    return
                jobs = self._jobs(ready)
                self._busy_since = self._clock()
            self._do(jobs)
            with self._wake:
                self._busy_since = None
                self._wake.notify_all()

    def _jobs(self, ready: bool) -> list[Callable[[], None]]:
        jobs: list[Callable[[], None]] = []
        if self._waiting():
            jobs.append(self._taken())
            jobs.append(self._shown)
        if not ready and self._tend is not None:
            jobs.append(self._tend)
        level = self._level
        if level is not None and level != self._lit:
            jobs.append(lambda: self._light(level))
        return jobs

    def _do(self, jobs: Sequence[Callable[[], None]]) -> None:
        try:
            for job in jobs:
                job()
        except Exception as exc:  # any driver, ours or a plug-in's
            self._stumbled(exc)
        else:
            self._trouble, self._retry_s = "", RETRY_S

    def _shown(self) -> None:
        self._holds_picture = True

    def _light(self, level: float) -> None:
        if self._holds_picture:
            self._device.dim(level)
            self._lit = level

    def _stumbled(self, exc: Exception) -> None:
        sentence = f"the panel does not take images: {exc}"
        with self._wake:
            self._again()
            self._holds_picture, self._lit = False, None
            self._not_before = self._clock() + self._retry_s
            self._retry_s = min(self._retry_s * 2, LONGEST_RETRY_S)
            known, self._trouble, failed = self._trouble, sentence, self._failed
        if not known:
            _log.warning("panel_failed", error=repr(exc))
            failed(sentence)


class ImageWriter(_Writer[Panel]):
    """Writes images; a panel itself, so that a renderer need not know."""

    def __init__(
        self, device: Panel, failed: Callable[[str], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        super().__init__(device, failed, clock)
        self._image = Image.new("RGB", device.size)
        self._boxes: list[Box] = []
        self._whole: Box = (0, 0, *device.size)

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Take over the boxes of an image."""
        with self._wake:
            for box in boxes:
                self._image.paste(image.crop(box), box[:2])
            self._boxes = merged([*self._boxes, *boxes])
            self._begin()

    def _waiting(self) -> bool:
        return bool(self._boxes)

    def _taken(self) -> Callable[[], None]:
        image, boxes, self._boxes = self._image.copy(), self._boxes, []
        return lambda: self._device.show(image, boxes)

    def _again(self) -> None:
        self._boxes = [self._whole]


class ContentWriter(_Writer[SelfDrawing]):
    """Tells a panel that draws by itself what the page says."""

    def __init__(
        self, device: SelfDrawing, failed: Callable[[str], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        super().__init__(device, failed, clock)
        self._last: Content | None = None
        self._next: Content | None = None

    def tell(self, content: Content) -> None:
        """Take over what the page says."""
        with self._wake:
            self._last = self._next = content
            self._begin()

    def _waiting(self) -> bool:
        return self._next is not None

    def _taken(self) -> Callable[[], None]:
        content, self._next = self._next, None
        return lambda: self._device.tell(content) if content is not None else None

    def _again(self) -> None:
        self._next = self._last


Writer = ImageWriter | ContentWriter


def writer(device: Panel | SelfDrawing, failed: Callable[[str], None]) -> Writer:
    """Return what writes to a device in a thread of its own; what does so already tells `failed` from now on."""
    if isinstance(device, ImageWriter | ContentWriter):
        device.tell_of_failure(failed)
        return device
    return ContentWriter(device, failed) if isinstance(device, SelfDrawing) else ImageWriter(device, failed)
