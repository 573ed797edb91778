"""A text file that a person keeps, changed in place: byte mark, line ends, rights and owner stay as they were."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from stat import S_IMODE

from ..contract.errors import GivenError
from .common import put_in_place

MARK = b"\xef\xbb\xbf"
"""Byte order mark, which editors on other systems put in front (RFC 3629, section 6)."""
LARGEST_BYTES = 4_000_000


@dataclass(slots=True)
class Kept:
    """The text of a file, without its mark; lines end as they do in the file."""

    text: str


@contextlib.contextmanager
def changed(path: Path, option: str) -> Iterator[Kept]:
    """Yield a file's text, and write what became of it.

    Args:
        path: the file.
        option: how a person said so, for messages.

    Raises:
        GivenError: it cannot be read, may not be written, or somebody else wrote it meanwhile; it stays as it is then.
        UnderdashError: it cannot be written.
    """
    path = Path(os.path.realpath(path))
    _read(path, option)
    with _alone(path):
        yield from _changed(path, option)


def look_at(path: Path, option: str) -> None:
    """Raise what `changed` and who writes a description would, before there is anything to write."""
    from ..config.writing import vetted

    path = Path(os.path.realpath(path))
    vetted(_decoded(_read(path, option), path, option)[1], str(path))


def _changed(path: Path, option: str) -> Iterator[Kept]:
    before = _read(path, option)
    mark, text = _decoded(before, path, option)
    kept = Kept(text)
    yield kept
    with put_in_place(path, option) as part:
        with part.open("wb") as file:
            file.write(mark + kept.text.encode())
            file.flush()
            os.fsync(file.fileno())
        there = path.stat()
        with contextlib.suppress(PermissionError):  # only root may give a file away; it is this person's then
            os.chown(part, there.st_uid, there.st_gid)
        part.chmod(S_IMODE(there.st_mode))
        if _read(path, option) != before:
            raise GivenError(
                f"{option} {path} was changed by somebody else meanwhile and is left alone; say this again"
            )


def _decoded(raw: bytes, path: Path, option: str) -> tuple[bytes, str]:
    """Split the byte mark, if there is one, from the text."""
    mark = MARK if raw.startswith(MARK) else b""
    try:
        return mark, raw[len(mark) :].decode()
    except UnicodeDecodeError as exc:
        line = raw[: exc.start].count(b"\n") + 1
        raise GivenError(f"{option} {path} cannot be read: line {line} is no text in UTF-8; save it as such") from exc


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Have a second run of such a command wait until the first has put its file in place."""
    while True:
        with path.open("rb") as file:
            with contextlib.suppress(OSError):  # not every file system can
                fcntl.flock(file, fcntl.LOCK_EX)
            if os.path.samestat(os.fstat(file.fileno()), path.stat()):
                yield
                return


def _read(path: Path, option: str) -> bytes:
    try:
        found = path.stat()
        if path.is_file() and found.st_size > LARGEST_BYTES:
            raise GivenError(
                f"{option} {path} is over 4 MB; a description has some kilobytes of text: name another file"
            )
        if path.exists() and not path.is_file():
            raise GivenError(f"{option} {path} is no file; name a description")
        text = path.read_bytes()
    except (OSError, ValueError) as exc:  # a ValueError is a name with a zero byte
        reason = getattr(exc, "strerror", None) or str(exc)
        raise GivenError(
            f"{option} {path} cannot be read: {reason.lower()}; `underdash car draft` makes a new one"
        ) from exc
    if not (found.st_mode & 0o222 and os.access(path, os.W_OK)):
        raise GivenError(f"{option} {path} may not be written; give yourself the right (chmod u+w), or use a copy")
    return text
