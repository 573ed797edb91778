"""Text files that a person typed or exported: marks, readings, references."""

from __future__ import annotations

from pathlib import Path

from ..contract.errors import GivenError

LARGEST_BYTES = 16_000_000
"""More than a day of satellite speeds; what is larger is a recording that was named by mistake."""


def typed_text(path: Path, named: str, wanted: str) -> str:
    """Return the text of a file, or of what comes out of a pipe.

    Args:
        path: the file.
        named: how a person said so, for messages: ``--marks a.marks``.
        wanted: what to do about it: ``name a file of lines SECONDS WORD``.

    Raises:
        GivenError: it cannot be read, is too large, or is no text in UTF-8.
    """
    raw = typed_bytes(path, named, wanted, LARGEST_BYTES)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise GivenError(f"{named} cannot be read: it is no text in UTF-8; save it as such, or {wanted}") from exc
    if "\0" in text:
        raise GivenError(f"{named} cannot be read: there are zero bytes in it, so it is no text; {wanted}")
    return text


def typed_bytes(path: Path, named: str, wanted: str, largest: int) -> bytes:
    """Return what is in a file, or comes out of a pipe, if that is not more than so many bytes; see `typed_text`."""
    try:
        with path.open("rb") as file:
            raw = file.read(largest + 1)
    except (OSError, ValueError) as exc:  # a ValueError is a name with a zero byte
        reason = (getattr(exc, "strerror", None) or str(exc)).lower()
        raise GivenError(f"{named} cannot be read: {reason}; {wanted}") from exc
    if len(raw) > largest:
        raise GivenError(f"{named} is over {largest // 1_000_000} MB, as a recording is, not such a file; {wanted}")
    return raw
