"""``underdash page``."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageChops

from underdash import loading
from underdash.display import fonts

Typed = Callable[..., Any]

RECORDING = Path(__file__).parents[3] / "shared" / "recordings" / "obd_drive.log.gz"
STANDARD = Path(__file__).parents[2] / "config" / "cars" / "obd2_11bit.toml"
real = pytest.mark.skipif(not RECORDING.exists(), reason=f"the recordings are not beside the project ({RECORDING})")


def differ(one: Path, other: Path) -> bool:
    with Image.open(one) as first, Image.open(other) as second:
        return ImageChops.difference(first, second).getbbox() is not None


def size(picture: Path) -> tuple[int, int]:
    with Image.open(picture) as image:
        return image.size


def test_a_page_is_drawn_from_given_values(typed: Typed, tmp_path: Path) -> None:
    low, high = tmp_path / "low.png", tmp_path / "high.png"
    for value, out in (("0.1 bar", low), ("0.9 bar", high)):
        done = typed("page", "boost", "--set", f"engine.boost_pressure={value}", "--out", out)
        assert done.status == 0
    assert size(low) == (240, 240)
    assert differ(low, high)


def test_size_and_night_are_as_asked_for(typed: Typed, tmp_path: Path) -> None:
    day, night = tmp_path / "day.png", tmp_path / "night.png"
    common = ("page", "temperatures", "--set", "engine.coolant_temperature=90", "--size", "320x240")
    assert typed(*common, "--out", day).status == 0
    assert typed(*common, "--night", "--out", night).status == 0
    assert size(day) == (320, 240)
    assert differ(day, night)


@real
def test_the_night_of_a_configuration_has_its_hue_unless_another_is_given(typed: Typed, tmp_path: Path) -> None:
    shipped = Path(__file__).parents[2] / "config" / "examples" / "hybrid.toml"
    mine = tmp_path / "mine.toml"
    mine.write_text(f"{shipped.read_text()}\n[dimming]\nnight_hue = 32\n")
    pictures = {}
    for name, more in {
        "mine": ("--config", mine),
        "given": ("--config", shipped, "--hue", "32"),
        "shipped": ("--config", shipped),
        "other": ("--config", mine, "--hue", "240"),
    }.items():
        pictures[name] = tmp_path / f"{name}.png"
        given = ("--set", "traction_battery.temperature=36", "--night", "--out", pictures[name])
        assert typed("page", "warmth", *given, *more).status == 0
    assert not differ(pictures["mine"], pictures["given"])
    assert differ(pictures["mine"], pictures["shipped"])
    assert differ(pictures["mine"], pictures["other"])


@real
def test_a_page_of_ones_own_configuration(typed: Typed, tmp_path: Path) -> None:
    out = tmp_path / "own.png"
    config = Path(__file__).parents[2] / "config" / "examples" / "hybrid.toml"
    done = typed("page", "warmth", "--config", config, "--set", "traction_battery.temperature=36", "--out", out)
    assert (done.status, size(out)) == (0, (240, 240))


def test_pages_of_the_recorded_drive_differ_by_page_and_moment(typed: Typed, tmp_path: Path) -> None:
    pictures = []
    for page, at in (("boost", 3), ("boost", 234), ("temperatures", 234)):
        out = tmp_path / f"{page}{at}.png"
        assert typed("page", page, "--trace", RECORDING, "--car", STANDARD, "--at", at, "--out", out).status == 0
        pictures.append(out)
    assert differ(pictures[0], pictures[1])
    assert differ(pictures[1], pictures[2])


def test_a_signal_without_a_source_is_named(typed: Typed, tmp_path: Path, car: Path, trace: Path) -> None:
    done = typed("page", "boost", "--car", car, "--trace", trace, "--out", tmp_path / "out.png")
    assert done.status == 0
    assert "engine.boost_pressure has no value here" in done.err
    assert "nobody provides engine.manifold_pressure" in done.err
    done = typed("page", "temperatures", "--car", car, "--trace", trace, "--out", tmp_path / "out.png")
    assert "nobody provides engine.coolant_temperature" not in done.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["bost"], "Did you mean 'boost'?"),
        (["boost", "--size", "nonsense"], "as in 240x240; found 'nonsense'"),
        (["boost", "--size", "1x1"], "from 64x64 to 2048x2048"),
        (["boost", "--size", "99999x99999"], "from 64x64 to 2048x2048"),
        (["boost", "--size", "٣٠٠x٣٠٠"], ""),
        (["boost", "--set", "nonsense"], "--set takes signal=value"),
        (["boost", "--set", "engine.bost_pressure=1"], "did you mean 'engine.boost_pressure'?"),
        (["boost", "--set", "engine.boost_pressure=much"], "takes a number"),
        (["boost", "--at", "3"], "give --trace as well"),
        (["boost", "--trace", "TRACE"], "--trace needs --car"),
        (["boost", "--trace", "TRACE", "--car", "CAR", "--at", "-1"], "seconds from 0"),
        (["boost", "--trace", "TRACE", "--car", "CAR", "--at", "99"], "beyond the end"),
        (["boost", "--trace", "TRACE", "--car", "CAR", "--at", "soon"], "a number is wanted"),
        (["boost", "--hue", "inf"], "a number is wanted"),
        (["boost", "--config", "nosuch.toml"], "nosuch.toml cannot be read"),
        (["boost", "--config", "nosuch.toml", "--unit", "kPa=psi"], "it is said in the configuration"),
        (["boost", "--config", "nosuch.toml", "--car", "loris"], "not allowed with"),
        (["boost", "--car", "loriss"], "Did you mean loris?"),
        (["boost", "--out", "picture.jpg"], "name a file ending in .png"),
        ([], "NAME"),
    ],
)
def test_a_wrong_argument_is_told_and_ends_with_two(
    typed: Typed, car: Path, trace: Path, arguments: list[str], says: str
) -> None:
    tmp_path = trace.parent
    stand = {"CAR": str(car), "TRACE": str(trace)}
    given = [stand.get(one, one) for one in arguments]
    out = tmp_path / "out.png"
    done = typed("page", *given, *([] if "--out" in given else ["--out", out]))
    if says:
        assert done.status == 2
    assert says in done.err
    assert done.status == 0 or not out.exists()


def test_the_very_end_of_a_trace_can_be_asked_for(typed: Typed, tmp_path: Path, car: Path, trace: Path) -> None:
    done = typed("page", "boost", "--car", car, "--trace", trace, "--at", "9.95", "--out", tmp_path / "out.png")
    assert done.status == 0


def test_a_picture_that_cannot_be_written_is_told(typed: Typed, tmp_path: Path) -> None:
    folder = tmp_path / "folder.png"
    folder.mkdir()
    for out in (folder, tmp_path / "no" / "such.png"):
        done = typed("page", "boost", "--out", out)
        assert done.status == 1
        assert f"--out {out} cannot be written" in done.err
        assert done.err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["folder.png"]


def test_a_missing_font_costs_a_word_and_not_the_picture(
    typed: Typed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "fonts").mkdir()
    monkeypatch.setattr(fonts, "__file__", str(tmp_path / "fonts.py"))
    out = tmp_path / "out.png"
    done = typed("page", "boost", "--set", "engine.boost_pressure=0.5 bar", "--out", out)
    assert (done.status, out.exists()) == (0, True)
    assert "the font file" in done.err
    assert "Install underdash again" in done.err


def test_the_car_that_was_taken_is_told_where_none_was_named(typed: Typed, tmp_path: Path) -> None:
    out = tmp_path / "p.png"
    assert "the car is tarn; --car or --config takes another" in typed("page", "boost", "--out", out).err
    assert "the car is" not in typed("page", "boost", "--car", "loris", "--out", out).err


def test_a_page_of_an_installed_plugin_that_does_not_run_names_the_remedy(
    typed: Typed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = [*entry_points(group=loading.GROUP), EntryPoint("template", "underdash_template", loading.GROUP)]
    monkeypatch.setattr(loading, "entry_points", lambda group: found)
    monkeypatch.syspath_prepend(str(Path(__file__).parents[2] / "plugins" / "template"))
    out = tmp_path / "p.png"
    done = typed("page", "template", "--out", out)
    assert done.status == 2
    assert (
        "there is no page 'template'. The plug-in 'template' is installed but does not run here: "
        "add --config F or --plugin template\n" in done.err
    )
    said = typed("page", "clim", "--out", out).err
    assert "Installed plug-ins that do not run here: round_panel, serial_panel, template" in said
    assert typed("page", "template", "--plugin", "template", "--out", out).status == 0
    assert size(out) == (240, 240)


def test_plugins_of_a_configuration_are_named_there(typed: Typed, tmp_path: Path) -> None:
    config = Path(__file__).parents[2] / "config" / "examples" / "hybrid.toml"
    done = typed("page", "warmth", "--config", config, "--plugin", "boost", "--out", tmp_path / "p.png")
    assert done.status == 2
    assert "--plugin goes with --car; with --config it is said in the configuration" in done.err
