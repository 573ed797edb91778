"""Pages on a framebuffer of the kernel, in a guest, since build machines have none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


def test_pages_arrive_on_a_framebuffer_pixel_by_pixel(in_guest: Callable[[str], dict[str, Any]]) -> None:
    seen = in_guest("framebuffer.py")
    for bits in (16, 32):
        scene = seen[str(bits)]
        assert (scene["size"], scene["bits"]) == ([320, 240], bits)
        assert scene["equal"] == [True] * 5
        assert scene["black"]
        assert scene["told"] == []
    assert seen["gone"]
