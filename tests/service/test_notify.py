"""What systemd hears, over a real datagram socket."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from underdash.service.notify import notify


@pytest.mark.parametrize("abstract", [False, True])
def test_assignments_arrive_as_lines_of_one_datagram(tmp_path: Path, abstract: bool) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        name = "@underdash-test-" + tmp_path.name if abstract else str(tmp_path / "notify")
        manager.bind("\0" + name[1:] if abstract else name)
        manager.settimeout(5)
        assert notify("READY=1", "STATUS=two\nlines", environment={"NOTIFY_SOCKET": name})
        assert manager.recv(1000) == b"READY=1\nSTATUS=two lines"


@pytest.mark.parametrize("environment", [{}, {"NOTIFY_SOCKET": ""}, {"NOTIFY_SOCKET": "/no/such/socket"}])
def test_without_a_manager_nothing_is_sent_and_nothing_breaks(environment: dict[str, str]) -> None:
    assert not notify("READY=1", environment=environment)
