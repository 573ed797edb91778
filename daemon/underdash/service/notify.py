"""Tell systemd how the service is doing (protocol: sd_notify(3) of systemd 252)."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping


def notify(*assignments: str, environment: Mapping[str, str] = os.environ) -> bool:
    """Send assignments such as ``READY=1`` or ``STATUS=awake``.

    Returns:
        True if they were sent; False where no service manager listens or it cannot be reached.
    """
    address = environment.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return False
    message = "\n".join(line.replace("\n", " ") for line in assignments).encode()
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as end:
            end.connect("\0" + address[1:] if address.startswith("@") else address)
            end.sendall(message)
    except OSError:
        return False
    return True
