"""Backlights, on folders laid out as the kernel's."""

from __future__ import annotations

from pathlib import Path

import pytest

from underdash.contract.errors import UnderdashError
from underdash.display.backlight import BacklightConfig, Light, PwmLight, opened


def pwm(root: Path, chip: str = "pwmchip0", device: str = "fe20c000.pwm", exported: bool = True) -> Path:
    folder = root / chip
    channel = folder / "pwm1"
    (root / "devices" / device).mkdir(parents=True)
    (channel if exported else folder).mkdir(parents=True)
    (folder / "device").symlink_to(root / "devices" / device)
    (folder / "export").write_text("")
    if exported:
        for name in ("period", "duty_cycle", "enable"):
            (channel / name).write_text("0\n")
    return folder


def light(root: Path, **keys: object) -> Light:
    found = opened(BacklightConfig(**keys), pwm=root, backlights=root)  # type: ignore[arg-type]
    assert found is not None
    return found


def test_pwm_is_dark_until_it_is_set_and_after_it_is_closed(tmp_path: Path) -> None:
    channel = pwm(tmp_path) / "pwm1"
    lit = light(tmp_path, kind="pwm", channel=1, frequency_hz=2000.0)
    assert [(channel / name).read_text() for name in ("period", "duty_cycle", "enable")] == ["500000", "0", "1"]
    lit.set(0.25)
    assert (channel / "duty_cycle").read_text() == "125000"
    lit.set(7.0)
    assert (channel / "duty_cycle").read_text() == "500000"
    lit.close()
    assert (channel / "duty_cycle").read_text() == "0"


def test_pwm_that_is_bright_while_low(tmp_path: Path) -> None:
    channel = pwm(tmp_path) / "pwm1"
    lit = light(tmp_path, kind="pwm", channel=1, inverted=True)
    assert (channel / "duty_cycle").read_text() == "1000000"
    lit.set(0.75)
    assert (channel / "duty_cycle").read_text() == "250000"


def test_a_channel_that_is_not_exported_is_exported_and_waited_for(tmp_path: Path) -> None:
    chip = pwm(tmp_path, exported=False)
    waited: list[float] = []

    def pause(seconds: float) -> None:  # the kernel makes the channel, and then udev gives it away
        waited.append(seconds)
        if len(waited) == 3:
            (chip / "pwm1").mkdir()
            for name in ("period", "duty_cycle", "enable"):
                (chip / "pwm1" / name).write_text("0\n")

    PwmLight(chip, 1, 2000.0, pause=pause)
    assert (chip / "export").read_text() == "1"
    assert (chip / "pwm1" / "enable").read_text() == "1"
    assert len(waited) == 3


def test_a_channel_that_is_never_given_to_us_is_told(tmp_path: Path) -> None:
    waited: list[float] = []
    with pytest.raises(UnderdashError, match="period refuses"):
        PwmLight(pwm(tmp_path, exported=False), 1, 2000.0, pause=waited.append)
    assert sum(waited) == pytest.approx(3.0)


def test_the_chip_is_known_by_where_it_is(tmp_path: Path) -> None:
    pwm(tmp_path, "pwmchip0", "other.pwm")
    wanted = pwm(tmp_path, "pwmchip2", "1f00098000.pwm")
    light(tmp_path, kind="pwm", channel=1, device="1f00098000").set(1.0)
    assert (wanted / "pwm1" / "duty_cycle").read_text() == "1000000"
    with pytest.raises(
        UnderdashError, match=r"not the only one; there are: pwmchip0 .*other.*; name one with `device`"
    ):
        light(tmp_path, kind="pwm", channel=1)
    with pytest.raises(UnderdashError, match="'nosuch' is not there"):
        light(tmp_path, kind="pwm", channel=1, device="nosuch")


def kernel(root: Path, name: str = "panel") -> Path:
    folder = root / name
    folder.mkdir()
    for file, text in (("max_brightness", "31\n"), ("brightness", "31\n"), ("bl_power", "0\n")):
        (folder / file).write_text(text)
    return folder


def test_a_backlight_of_the_kernel(tmp_path: Path) -> None:
    folder = kernel(tmp_path)

    def seen() -> list[str]:
        return [(folder / name).read_text() for name in ("brightness", "bl_power")]

    lit = light(tmp_path, kind="kernel")
    assert seen() == ["0", "4"]
    lit.set(0.5)
    assert seen() == ["16", "0"]
    lit.set(0.001)
    assert seen() == ["1", "0"]
    lit.close()
    assert seen() == ["0", "4"]


def test_what_is_missing_is_said(tmp_path: Path) -> None:
    with pytest.raises(
        UnderdashError, match=r"a backlight is not there; there are: none; is its overlay in config.txt"
    ):
        light(tmp_path, kind="kernel")
    (tmp_path / "half").mkdir()
    with pytest.raises(UnderdashError, match="max_brightness cannot be read"):
        light(tmp_path, kind="kernel")


class Line:
    def __init__(self) -> None:
        self.states: list[bool | None] = []

    def set(self, on: bool) -> None:
        self.states.append(on)

    def close(self) -> None:
        self.states.append(None)


def test_a_line_switches_it() -> None:
    taken: list[tuple[str, bool]] = []
    line = Line()

    def take(name: str, *, inverted: bool) -> Line:
        taken.append((name, inverted))
        return line

    lit = opened(BacklightConfig(kind="line", line="GPIO18", inverted=True), line=take)
    assert lit is not None
    for level in (0.01, 0.0):
        lit.set(level)
    lit.close()
    assert taken == [("GPIO18", True)]
    assert line.states == [False, True, False, False, None]


def test_colours_are_scaled_by_no_light() -> None:
    assert opened(BacklightConfig(kind="colours")) is None


@pytest.mark.parametrize("keys", [{"kind": "line"}, {"kind": "pwm", "line": "GPIO18"}])
def test_a_line_is_named_where_there_is_one(keys: dict[str, str]) -> None:
    with pytest.raises(ValueError, match='`line` where kind = "line"'):
        BacklightConfig(**keys)  # type: ignore[arg-type]
