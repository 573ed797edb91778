"""What a page says as frames, for a controller that draws by itself (PROTOCOL.md section 6)."""

from __future__ import annotations

from collections.abc import Iterator

from underdash import Age, Content, Role, Share, Shown, Words

from .messages import Kind, Message

ROLES = (Role.INK, Role.SOFT, Role.ACCENT, Role.CAUTION, Role.WARNING)
AGES = (Age.FRESH, Age.LATE, Age.GONE)
SENTENCE, REMARK, BANNER = 0, 1, 2
NIGHT = 1
FULL, NOWHERE = 0xFFFE, 0xFFFF
MOST_TEXT = 60
MOST_SENTENCE = 200
"""In bytes of UTF-8."""


class Values:
    """What a panel should say and what it says."""

    def __init__(self) -> None:
        self._wanted: Content | None = None
        self._shown: Content | None = None

    def forget(self) -> None:
        """Begin anew with a controller that shows no page."""
        self._shown = None

    def take(self, content: Content) -> None:
        """Take what the page says now."""
        self._wanted = content

    def messages(self) -> Iterator[Message]:
        """Yield what makes the panel say what it should; each one has to arrive, and in this order."""
        new, old = self._wanted, self._shown
        if new is None or new == old:
            return
        self._shown = new
        if old is None or _face(new) != _face(old):
            yield Kind.PAGE, text(new.page) + text(new.title) + bytes((len(new.rows),))
            old = Content(new.page, new.title)
        if (new.value, new.share) != (old.value, old.share):
            yield Kind.VALUE, _value(new.value) + _share(new.share)
        for place, row in enumerate(new.rows):
            if place >= len(old.rows) or row != old.rows[place]:
                yield Kind.ROW, bytes((place,)) + text(row.label) + _value(row)
        words = zip((SENTENCE, REMARK, BANNER), _words(new), _words(old), strict=True)
        for place, said, before in words:
            if said != before:
                yield Kind.WORDS, bytes((place,)) + _said(said)
        if (new.night, new.hold) != (old.night, old.hold):
            yield Kind.STATE, bytes((NIGHT if new.night else 0, round(255 * new.hold)))
        yield Kind.SHOW, b""


def _face(content: Content) -> tuple[object, ...]:
    return content.page, content.title, len(content.rows)


def _words(content: Content) -> tuple[Words | None, ...]:
    return content.sentence, content.remark, content.banner


def text(said: str, most: int = MOST_TEXT) -> bytes:
    """Return a text with its length in front, cut between characters where it is too long."""
    data = said.encode("utf-8", "replace")
    cut = data[:most].decode("utf-8", "ignore").encode()
    return bytes((len(cut),)) + cut


def _said(words: Words | None) -> bytes:
    return b"\0\0" if words is None else bytes((ROLES.index(words.role),)) + text(words.text, MOST_SENTENCE)


def _value(shown: Shown | None) -> bytes:
    if shown is None:
        return bytes(4)
    return bytes((ROLES.index(shown.role), AGES.index(shown.age))) + text(shown.text) + text(shown.unit)


def _share(share: Share | None) -> bytes:
    """Return where a value stands on its scale; nothing at all where it has none."""
    if share is None:
        return b""
    places = (_place(share.value), _place(share.zero), _place(share.peak))
    return bytes((ROLES.index(share.role),)) + b"".join(place.to_bytes(2, "big") for place in places)


def _place(share: float | None) -> int:
    return NOWHERE if share is None else round(FULL * min(max(share, 0.0), 1.0))
