"""A whole description as text, for one that begins: from a DBC file, or from a recording."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TextIO

from ..bus.frames import id_text, key_of
from ..contract.cars import CarDescription, ExpectedFrame
from ..contract.errors import GivenError, UnderdashError
from .spelling import Table, listener_table, signal_table
from .writing import block, key_text, vetted


def description(car: CarDescription, remarks: Iterable[str] = (), below: Iterable[str] = ()) -> str:
    """Return the text of a description that counts bytes from 0.

    Args:
        car: its buses, broadcasts, signals, buttons and fingerprint are written; nothing else is known of a new one.
        remarks: lines at the top.
        below: remarks at the end.

    Raises:
        ConfigError: it would have mistakes, such as a bit rate that no bus has.
    """
    lines = [f"# {remark}".rstrip() for remark in remarks]
    lines += ["", "format = 1", *block("", _head(car))[1:]] if lines else ["format = 1", *block("", _head(car))[1:]]
    for bus in car.buses:
        keys: Table = {"bitrate": bus.bitrate} | ({"silent": True} if bus.silent else {})
        lines += ["", *block(f"[bus.{key_text(bus.role)}]", keys | ({"meaning": bus.meaning} if bus.meaning else {}))]
    for signal in car.signals:
        lines += ["", *block("[[signal]]", signal_table(signal))]
    for listener in car.broadcasts:
        lines += ["", *block("[[broadcast]]", listener_table(listener))]
    if car.buttons:
        lines += ["", *block("[buttons]", dict(car.buttons))]
    for frame in car.fingerprint:
        lines += ["", *block("[[fingerprint]]", _expected(frame))]
    below = [f"# {remark}".rstrip() for remark in below]
    return vetted("\n".join([*lines, *(["", *below] if below else [])]) + "\n", f"{car.name}.toml")


def save_new(path: Path, text: str) -> None:
    """Write a file that must not exist yet.

    Raises:
        GivenError: it is there.
        UnderdashError: it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", errors="replace") as file:  # the name of a file may be no text
            _write_whole(file, path, text)
    except FileExistsError as exc:
        raise GivenError(f"--out {path} exists already; name another file, or move that one away") from exc
    except OSError as exc:
        reason = (exc.strerror or str(exc)).lower()
        raise UnderdashError(f"--out {path} cannot be written: {reason}; name another place") from exc


def _write_whole(file: TextIO, path: Path, text: str) -> None:
    """Write and flush, and leave nothing behind where that fails."""
    try:
        file.write(text)
        file.flush()
    except OSError:
        path.unlink(missing_ok=True)
        raise


def _head(car: CarDescription) -> Table:
    head: Table = {"name": car.name, "title": car.title, "counting": "from 0"}
    return head | ({"origin": car.origin} if car.origin else {})


def _expected(frame: ExpectedFrame) -> Table:
    table: Table = {"bus": frame.bus, "id": id_text(key_of(frame.id, frame.extended)), "length": frame.length}
    return table | ({"period_s": frame.period_s} if frame.period_s is not None else {})
