"""The first page, before there is a daemon."""

from __future__ import annotations

import asyncio
import gc
import signal
import subprocess
import sys
from argparse import Namespace
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint, entry_points
from math import inf
from pathlib import Path

import pytest

from underdash import loading
from underdash.bus.lock import BusLock
from underdash.bus.runtime import any_held, runtime_directory
from underdash.cli.run import run
from underdash.config.mistakes import ConfigError
from underdash.config.reading import read_config
from underdash.config.schema import Config
from underdash.contract.content import Content
from underdash.display.panels.picture import PicturePanel
from underdash.display.writer import ImageWriter
from underdash.pace import PacedLoop, paced_loop
from underdash.wiring.building import build
from underdash.wiring.first_page import FirstPage, put, starting
from underdash.wiring.measuring.starting import BEFORE_FIRST_PAGE

TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures"]
[bus.drive]
interface = "virtual"
channel = "one"
[power]
supply = "switched"
[dimming]
night = 0.25
[panel.main]
driver = "picture"
deck = ["boost", "temperatures"]
settings = { file = "panel.png" }
[panel.second]
driver = "{second}"
deck = ["temperatures"]
"""


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Config:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "underdash.toml"
    path.write_text(TEXT.replace("{second}", "picture"))
    return read_config(path)


@pytest.fixture
def loop() -> Iterator[PacedLoop]:
    made = paced_loop(inf)
    yield made
    made.close()


@dataclass
class Telling:
    """A panel that draws by itself."""

    size: tuple[int, int] = (240, 240)
    told: list[Content] = field(default_factory=list)

    def tell(self, content: Content) -> None:
        self.told.append(content)

    def dim(self, level: float) -> None:
        pass

    def close(self) -> None:
        pass


def test_it_names_the_page_that_is_coming_and_says_nothing_that_could_be_wrong(config: Config) -> None:
    panel = Telling()
    put(panel, starting(config.panel["second"]), True)
    (content,) = panel.told
    assert content.page == content.title == "temperatures"
    assert content.value is not None
    assert content.value.text == "--"
    assert content.remark is not None
    assert content.remark.text == "starting"


def test_every_panel_shows_it_in_the_light_of_the_night(config: Config) -> None:
    first = FirstPage()
    first.show(config)
    for name in config.panel:
        lit = first.take(name)
        assert lit is not None
        assert isinstance(lit.device, PicturePanel)
        assert lit.device.frames == 1
        assert lit.device.seen().getbbox() is not None
        assert lit.device.level == lit.level == 0.25
        assert first.take(name) is None
    assert (config.path.parent / "panel.png").exists()


def test_the_daemon_takes_the_open_panels_over_and_fades_from_their_light(config: Config, loop: PacedLoop) -> None:
    first = FirstPage()
    first.show(config)
    built = build(config, loop, first=first)
    built.daemon.start()
    assert first.take("main") is None
    assert [screen.name for screen in built.daemon.screens] == ["main", "second"]
    assert all(screen.dimmed.level > 0.24 for screen in built.daemon.screens)
    built.daemon.stop()
    built.release()


def test_a_panel_that_cannot_be_opened_yet_is_left_to_the_daemon(config: Config) -> None:
    config.path.write_text(TEXT.replace("{second}", "nosuch"))
    first = FirstPage()
    first.show(read_config(config.path))
    assert first.take("second") is None
    assert first.take("main") is not None


def test_panels_that_nobody_took_are_given_back(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    closed: list[PicturePanel] = []

    def close(panel: PicturePanel) -> None:
        closed.append(panel)

    monkeypatch.setattr(PicturePanel, "close", close)
    first = FirstPage()
    first.show(config)
    taken = first.take("main")
    first.close()
    assert taken is not None
    assert len(closed) == 1
    assert taken.device not in closed
    assert first.take("second") is None


def test_the_panels_of_a_daemon_that_runs_already_are_left_alone(config: Config) -> None:
    with BusLock("virtual-one", runtime_directory()):
        assert any_held(runtime_directory())
        FirstPage().show(config)
        assert not (config.path.parent / "panel.png").exists()
    assert not any_held(runtime_directory())
    FirstPage().show(config)
    assert (config.path.parent / "panel.png").exists()


def test_looking_for_another_daemon_makes_nothing(tmp_path: Path) -> None:
    assert not any_held(tmp_path / "runtime")
    assert not (tmp_path / "runtime").exists()


UP_TO_IT = """
import gc, sys, types
from pathlib import Path
def make_config(table, source):
    assert Path("panel.png").exists() and not gc.isenabled()
    print(*sorted(sys.modules))
    sys.exit()
sys.modules["underdash.config.reading"] = types.SimpleNamespace(make_config=make_config)
from underdash.cli import main
main(["run", "--config", "underdash.toml"])
"""


def modules_after(code: str, folder: Path) -> set[str]:
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=folder)
    return set(done.stdout.split()) - {"underdash.config.reading"}


def test_it_is_drawn_before_anything_else_is_imported(config: Config) -> None:
    loaded = modules_after(UP_TO_IT, config.path.parent)
    assert {"PIL", "underdash.display.kit"} <= loaded
    assert not loaded & {"can", "serial", "pyroute2", "asyncio", "structlog", "pluggy", "importlib.metadata"}
    assert not [name for name in loaded if name.startswith("underdash_")]
    own = {name.removeprefix("underdash.") for name in loaded if name.startswith("underdash.")}
    rooms = {name.split(".")[0] for name in own}
    assert rooms == {"bus", "cli", "config", "contract", "display", "wiring"}
    assert {name for name in own if name.startswith("bus.")} == {"bus.runtime"}
    assert not own & {"config.schema", "contract.content", "contract.sources", "contract.units", "config.lines"}
    assert not own & {"display.panels.lcd", "display.panels.framebuffer", "display.panels.lit", "display.card"}


def test_what_the_benchmark_imports_is_what_a_start_has_imported_by_then(config: Config) -> None:
    loaded = modules_after(UP_TO_IT, config.path.parent)
    measured = modules_after(f"{BEFORE_FIRST_PAGE}; import sys; print(*sys.modules)", config.path.parent)
    own = {name for name in loaded if name.startswith("underdash")}
    assert own == {name for name in measured if name.startswith("underdash")}


def test_a_mistake_elsewhere_is_told_while_it_is_shown_and_one_of_a_panel_shows_nothing(config: Config) -> None:
    picture, text = config.path.parent / "panel.png", config.path.read_text()
    for wrong, shown in (('deck = ["temperatures"]', False), ('supply = "switched"', True)):
        picture.unlink(missing_ok=True)
        config.path.write_text(text.replace(wrong, "colour = 1") + "\n[limits]\nload_percent = 11\n")
        with pytest.raises(ConfigError) as caught:
            run(Namespace(config=str(config.path), attended=False))
        assert [one.found for one in caught.value.mistakes if one.key.endswith("colour")] == ["'colour'"]
        assert caught.value.mistakes[-1].key == "limits.load_percent"
        assert picture.exists() == shown
        assert gc.isenabled()


MIRROR = """
from pathlib import Path
from underdash import PanelDriver, PluginInfo, hookimpl
class Mirror:
    size = (240, 240)
    def show(self, image, boxes): image.save(FOLDER / "mirror.png")
    def dim(self, level): (FOLDER / "level").write_text(str(level))
    def close(self): (FOLDER / "closed").touch()
FOLDER = Path(__file__).parent
@hookimpl
def plugin(): return PluginInfo("mirror: a panel for a test")
@hookimpl
def panel_drivers(): return [PanelDriver("mirror", lambda table: Mirror())]
"""


@pytest.fixture
def mirrored(config: Config, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Config:
    """A configuration whose second panel is a plug-in's."""
    (tmp_path / "mirror_of_a_test.py").write_text(MIRROR)
    monkeypatch.syspath_prepend(str(tmp_path))
    sys.modules.pop("mirror_of_a_test", None)
    found = [*entry_points(group="underdash"), EntryPoint("mirror", "mirror_of_a_test", "underdash")]
    monkeypatch.setattr(loading, "entry_points", lambda group: found)
    text = TEXT.replace("{second}", "mirror").replace('enabled = ["tarn"', 'enabled = ["mirror", "tarn"')
    config.path.write_text(text)
    return read_config(config.path)


def test_a_plugins_own_panel_shows_it_too_from_a_thread_of_its_own(mirrored: Config, loop: PacedLoop) -> None:
    first = FirstPage()
    first.show(mirrored)
    loaded: list[str] = []

    def left_out(name: str, bundled: bool) -> str:
        loaded.append(name)
        return ""

    first.show_brought(mirrored, left_out)
    assert loaded == ["mirror"]
    built = build(mirrored, loop, first=first)
    built.daemon.start()
    assert first.take("second") is None
    (screen,) = (one for one in built.daemon.screens if one.name == "second")
    assert screen.dimmed.level > 0.24
    assert screen.settled(20.0)
    assert (mirrored.path.parent / "mirror.png").exists()
    panel = screen.__dict__["_panel"]
    assert isinstance(panel, ImageWriter)
    assert not isinstance(panel.__dict__["_device"], ImageWriter)
    built.daemon.stop()
    built.release()


def test_a_plugin_that_earlier_lives_speak_against_shows_nothing_early(mirrored: Config) -> None:
    first = FirstPage()
    first.show_brought(mirrored, lambda name, bundled: "it hung")
    assert first.take("second") is None
    assert not (mirrored.path.parent / "mirror.png").exists()


def test_a_plugins_panel_that_nobody_took_is_closed_once_it_has_its_picture(mirrored: Config) -> None:
    first = FirstPage()
    first.show_brought(mirrored, lambda name, bundled: "")
    first.close()
    assert (mirrored.path.parent / "mirror.png").exists()
    assert float((mirrored.path.parent / "level").read_text()) == 0.25
    assert (mirrored.path.parent / "closed").exists()


def test_what_an_early_panel_fails_at_is_told_by_the_daemon_that_took_it(mirrored: Config, loop: PacedLoop) -> None:
    (mirrored.path.parent / "mirror_of_a_test.py").write_text(MIRROR.replace("image.save(", "open("))
    first = FirstPage()
    first.show_brought(mirrored, lambda name, bundled: "")
    lit = first.__dict__["_lit"]["second"].device
    assert isinstance(lit, ImageWriter)
    with lit._wake:
        assert lit._wake.wait_for(lambda: lit._trouble and lit._busy_since is None, 20.0)
    built = build(mirrored, loop, first=first)
    built.daemon.start()
    (screen,) = (one for one in built.daemon.screens if one.name == "second")
    loop.run_until_complete(asyncio.sleep(0))
    assert "the panel does not take images" in screen.faults[0]
    built.daemon.stop()
    built.release()


ENDED_EARLY = """
import os, signal, sys
from pathlib import Path
from underdash.cli.run import _dark_at_the_end
from underdash.service.ledger import Ledger

class First:
    def close(self):
        print("dark", flush=True)

with _dark_at_the_end(First()):
    with Ledger(Path(sys.argv[1]), {}).told_to_end():
        os.kill(os.getpid(), signal.SIGTERM)
"""


def test_panels_go_dark_where_the_end_is_asked_for_before_the_daemon_listens_for_it(tmp_path: Path) -> None:
    command = [sys.executable, "-c", ENDED_EARLY, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert (done.stdout, done.returncode) == ("dark\n", -signal.SIGTERM), done.stderr
