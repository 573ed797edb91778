"""What a page says as frames, for a controller that draws by itself (PROTOCOL.md section 6)."""

from __future__ import annotations

from collections.abc import Iterator

from underdash import Age, Content, Role, Share, Shown, Words

from .messages import Kind, Message

ROLES = (Role.INK, Role.SOFT, Role.ACCENT, Role.CAUTION, Role.WARNING)
AGES = (Age.FRESH, Age.LATE, Age.GONE)
LIT = (False, True, None)
NIGHT = 1
FULL, NOWHERE = 0xFFFE, 0xFFFF
MOST_TEXT = 60
MOST_SENTENCE = 200
"""In bytes of UTF-8."""

Parts = dict[tuple[Kind, int], bytes]
PAGE = (Kind.PAGE, 0)


class Values:
    """What a panel should say and what it says, each as payloads by kind and place."""

    def __init__(self) -> None:
        self._wanted: Parts | None = None
        self._shown: Parts | None = None

    def forget(self) -> None:
        """Begin anew with a controller that shows no page."""
        self._shown = None

    def take(self, content: Content) -> None:
        """Take what the page says now."""
        self._wanted = parts(content)

    def messages(self) -> Iterator[Message]:
        """Yield what makes the panel say what it should; each one has to arrive, and in this order."""
        new, old = self._wanted, self._shown
        if new is None or new == old:
            return
        self._shown = new
        if old is None or new[PAGE] != old[PAGE]:
            yield Kind.PAGE, new[PAGE]
            old = NOTHING
        for place, payload in new.items():
            if place != PAGE and payload != old.get(place):
                yield place[0], payload
        yield Kind.SHOW, b""


def parts(content: Content) -> Parts:
    """Return everything a page says, by kind and place."""
    counts = (len(items) for items in (content.rows, content.columns, content.lamps, content.lines))
    said: Parts = {
        PAGE: text(content.page) + text(content.title) + bytes(counts),
        (Kind.VALUE, 0): _value(content.value) + _share(content.share),
        (Kind.STATE, 0): bytes((NIGHT if content.night else 0, round(255 * content.hold))),
    }
    for place, words in enumerate((content.sentence, content.remark, content.banner)):
        said[Kind.WORDS, place] = bytes((place,)) + _words(words)
    for place, row in enumerate(content.rows):
        said[Kind.ROW, place] = bytes((place,)) + text(row.label) + _value(row)
    for place, column in enumerate(content.columns):
        label = text(column.shown.label)
        said[Kind.COLUMN, place] = bytes((place,)) + label + _value(column.shown) + _share(column.share)
    for place, lamp in enumerate(content.lamps):
        looks = LIT.index(lamp.lit), ROLES.index(lamp.role), AGES.index(lamp.age)
        said[Kind.LAMP, place] = bytes((place, *looks)) + text(lamp.text)
    for place, line in enumerate(content.lines):
        said[Kind.LINE, place] = bytes((place,)) + _words(line)
    return said


def text(said: str, most: int = MOST_TEXT) -> bytes:
    """Return a text with its length in front, cut between characters where it is too long."""
    data = said.encode("utf-8", "replace")
    cut = data[:most].decode("utf-8", "ignore").encode()
    return bytes((len(cut),)) + cut


def _words(words: Words | None) -> bytes:
    return b"\0\0" if words is None else bytes((ROLES.index(words.role),)) + text(words.text, MOST_SENTENCE)


def _value(shown: Shown | None) -> bytes:
    if shown is None:
        return bytes(4)
    return bytes((ROLES.index(shown.role), AGES.index(shown.age))) + text(shown.text) + text(shown.unit)


def _share(share: Share | None) -> bytes:
    """Return where a value stands on its scale; nothing at all where it has none."""
    if share is None:
        return b""
    places = (_place(at) for at in (share.value, share.zero, share.peak, share.average))
    return bytes((ROLES.index(share.role),)) + b"".join(place.to_bytes(2, "big") for place in places)


def _place(share: float | None) -> int:
    return NOWHERE if share is None else round(FULL * min(max(share, 0.0), 1.0))


NOTHING = parts(Content(""))
"""What a page that has just begun says."""
