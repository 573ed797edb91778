"""How the daemon ends: at once, except where the machine goes off and the key may still come back."""

from __future__ import annotations

from math import inf
from pathlib import Path

import pytest

from underdash.cli.running import KEY_S, _end
from underdash.pace import paced_loop
from underdash.service.power_off import PowerOff


@pytest.mark.parametrize(("under_way", "back_at", "ends_at"), [(False, 9.0, 0.0), (True, 9.0, KEY_S), (True, 1.0, 1.0)])
def test_the_key_is_watched_for_a_while_once_the_machine_goes_off(
    tmp_path: Path, under_way: bool, back_at: float, ends_at: float
) -> None:
    loop = paced_loop(inf)
    power_off = PowerOff(tmp_path, {})
    power_off.under_way = under_way
    begun = loop.time()
    loop.call_later(back_at, setattr, power_off, "under_way", False)
    loop.call_soon(_end, loop, power_off)
    loop.run_forever()
    took = loop.time() - begun
    loop.close()
    assert ends_at <= took <= ends_at + 0.2
