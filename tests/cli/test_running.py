"""How the daemon ends: at once, except where the machine goes off and the key may still come back."""

from __future__ import annotations

import gc
import weakref
from math import inf
from pathlib import Path

import pytest
import structlog

from underdash.cli import running
from underdash.cli.life import life
from underdash.cli.running import KEY_S, _end, _reloaded, serve
from underdash.config.reading import parse_config
from underdash.pace import paced_loop
from underdash.service.power_off import PowerOff
from underdash.wiring.first_page import FirstPage


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


class Counts:
    """Stands for what looks after the memory."""

    count = 0

    def reloaded(self) -> None:
        self.count += 1


def test_what_was_there_before_a_description_was_read_again_is_gone_at_once() -> None:
    class Ring:
        def __init__(self) -> None:
            self.itself = self

    gc.disable()
    try:
        gone, growing = weakref.ref(Ring()), Counts()
        assert gone() is not None
        _reloaded(growing)  # type: ignore[arg-type]
        assert (gone(), growing.count) == (None, 1)
    finally:
        gc.enable()


def test_what_the_log_kept_back_is_counted_when_the_daemon_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*_: object) -> None:
        for number in range(14):
            structlog.get_logger().warning("bus_failed", role="drive", error=str(number))

    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path / "run"))
    monkeypatch.delenv("JOURNAL_STREAM", raising=False)
    monkeypatch.setattr(running, "_run", run)
    config = parse_config('format = 1\n[car]\nname = "tarn"\n', "mine.toml")
    try:
        with life(config.plugins.enabled) as begun:
            serve(config, FirstPage(), begun, attended=False)
    finally:
        structlog.reset_defaults()
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 11
    assert said[-1] == "level=info event=left_out count=4 of=bus_failed role=drive"
