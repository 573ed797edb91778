"""The deck: the pages of one panel in their order, and which is on show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches

from ..contract.errors import GivenError, UnderdashError
from ..contract.pages import Canvas, Page, Role
from ..contract.signals import Snapshot

EMPTY = "no_pages"


class UnknownPageError(GivenError):
    """A page was named that nobody brings."""


def find(pages: Iterable[Page], name: str, where: str) -> Page:
    """Return the page of a name.

    Args:
        pages: what there is.
        name: what is wanted.
        where: what names it, such as "panel main: pages".

    Raises:
        UnknownPageError: with the names there are and the nearest of them.
    """
    known = {page.name: page for page in pages}
    if name in known:
        return known[name]
    near = get_close_matches(name, known, n=1, cutoff=0.5)
    guess = f" Did you mean {near[0]!r}?" if near else ""
    there = ", ".join(sorted(known)) or "none"
    raise UnknownPageError(
        f"{where}: there is no page {name!r}; pages are: {there}.{guess} "
        "A page comes with the plug-in that brings it; `underdash plugins` lists them."
    )


class Deck:
    """The pages of one panel.

    Args:
        pages: all pages there are.
        order: names of those in this deck, in order; all if None.
        where: how the deck is named in errors.
        spare: a page that can be shown by its name without being in the deck, and is where nothing else can be.
        apart: more pages that can be shown by their name, until the driver turns on.

    Raises:
        UnknownPageError: `order` names a page that nobody brings.
        UnderdashError: two pages share a name.
    """

    def __init__(
        self,
        pages: Sequence[Page],
        order: Sequence[str] | None = None,
        where: str = "display: pages",
        spare: Page | None = None,
        apart: Sequence[Page] = (),
    ) -> None:
        names = [page.name for page in pages]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise UnderdashError(f"{where}: page {twice[0]!r} is brought twice; rename one of them")
        self._where = where
        others = [page for page in (spare, *apart) if page is not None]
        there = [*pages, *(page for page in others if page.name not in names)]
        self._pages = [find(there, name, where) for name in order] if order is not None else list(pages)
        self._spare = spare
        self._others = others
        self._apart: Page | None = None
        self._index = 0
        self._under: str | None = None
        self.off: dict[str, str] = {}

    @property
    def names(self) -> list[str]:
        """Names of the pages in order."""
        return [page.name for page in self._pages]

    @property
    def pages(self) -> tuple[Page, ...]:
        """The pages in order."""
        return tuple(self._pages)

    @property
    def current(self) -> Page:
        """The page on show; the spare one, or one that says what to do, if the deck is empty."""
        if self._apart is not None:
            return self._apart
        if self._spare is not None and not self._pages:
            return self._spare
        return self._pages[self._index] if self._pages else Page(EMPTY, "No pages", self._say_empty, ())

    def turn(self, step: int = 1) -> Page:
        """Go so many pages on (negative: back), round and round; return the page then on show."""
        self._under = None
        if self._apart is not None:
            self._apart = None
        elif self._pages:
            self._index = (self._index + step) % len(self._pages)
        return self.current

    def show(self, name: str) -> Page:
        """Show the page of a name and return it.

        Raises:
            UnknownPageError: it is not in the deck; one that was taken off is told as such.
        """
        self.check(name)
        self._under = None
        self._apart = next((page for page in self._beside() if page.name == name), None)
        if self._apart is not None:
            return self._apart
        self._index = self._pages.index(find(self._pages, name, self._where))
        return self.current

    def put_up(self, name: str) -> bool:
        """Put a page of the deck over what is on show, until `take_down`; return whether that changed anything."""
        under = self.current.name
        if name not in self.names or name == under:
            return False
        self.show(name)
        self._under = under
        return True

    def take_down(self) -> bool:
        """Show again what was under the page put up; nothing if somebody turned since, or that page is off by now."""
        under, self._under = self._under, None
        if under is None or under in self.off:
            return False
        self.show(under)
        return True

    def take_over(self, before: Deck) -> None:
        """Go on where another deck is: with what is on show and what is under it, and without the pages it took off."""
        for name, why in before.off.items():
            self.take_off(name, why)
        beneath = before._pages[before._index : before._index + 1]
        for page in (*beneath, before._apart):
            if page is not None and self._has(page.name):
                self.show(page.name)
        if before._under is not None and self.current.name == before.current.name and self._has(before._under):
            self._under = before._under

    def _has(self, name: str) -> bool:
        return name in self.names or any(page.name == name for page in self._beside())

    def check(self, name: str) -> None:
        """Raise `UnknownPageError` if `show` would."""
        if name in self.off:
            raise UnknownPageError(f"{self._where}: page {name!r} was taken off: {self.off[name]}")
        find([*self._pages, *self._beside()], name, self._where)

    def _beside(self) -> list[Page]:
        return [page for page in self._others if page.name not in self.names]

    def take_off(self, name: str, why: str) -> None:
        """Take a page off that failed; the next one moves up. A name that is not there is ignored."""
        names = self.names
        if name not in names:
            return
        index = names.index(name)
        del self._pages[index]
        self.off[name] = why
        if index < self._index or self._index >= len(self._pages):
            self._index = max(self._index - 1, 0)

    def notes(self) -> tuple[str, ...]:
        """Return a sentence for each page that was taken off."""
        return tuple(f"{name} off: {why}" for name, why in self.off.items())

    def _say_empty(self, canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title("no pages")
        canvas.remark("underdash check tells why", Role.SOFT)
