"""The daemon's end: hands an order to the helper and waits for it, in whatever thread may wait."""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Mapping
from pathlib import Path

from .orders import MOST_BYTES, Order, SwitchError, spell

SOCKET = Path("/run/underdash-switch.socket")
WITHIN_S = 20.0


class NoHelperError(SwitchError):
    """There is no helper on this machine."""


def socket_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Return where the helper listens."""
    return Path(environment.get("UNDERDASH_SWITCH", SOCKET))


def switch(order: Order, path: Path | None = None) -> str:
    """Have an order carried out; returns the interface's name.

    Raises:
        NoHelperError: nobody listens.
        SwitchError: the helper says why not.
    """
    place = path or socket_path()
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC) as opened:
        opened.settimeout(WITHIN_S)
        try:
            opened.connect(str(place))
        except PermissionError as exc:
            raise SwitchError(f"the helper's socket {place} is for group underdash; run this with sudo") from exc
        except OSError as exc:
            raise NoHelperError("there is no helper that switches interfaces; systemd/install brings it") from exc
        try:
            opened.sendall(spell(order))
            answer = _answer(opened)
        except OSError as exc:
            raise SwitchError(f"the helper does not answer ({exc.strerror or exc}); its log may say why") from exc
    if "done" not in answer:
        raise SwitchError(str(answer.get("error", "the helper ended without an answer; its log may say why")))
    return str(answer["done"])


def _answer(opened: socket.socket) -> dict[str, object]:
    line = b""
    while data := opened.recv(8 * MOST_BYTES):
        line += data
        if b"\n" in line:
            break
    try:
        answer = json.loads(line)
    except ValueError:
        return {}
    return answer if isinstance(answer, dict) else {}
