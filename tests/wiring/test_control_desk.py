"""What the daemon's socket answers, with the daemon on a loop of its own and frames on its bus."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from time import monotonic
from typing import Any, TypeVar

import pytest

from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.bus.trace import read_trace
from underdash.cli import main
from underdash.config.reading import parse_config
from underdash.contract.errors import GivenError, UnderdashError
from underdash.service.client import Client
from underdash.wiring.building import build
from underdash.wiring.chain import Cause, Chain
from underdash.wiring.control import Desk, socket_path, socket_paths

T = TypeVar("T")
LONG_S = 60.0
TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures"]
[bus.drive]
interface = "memory"
[bus.comfort]
interface = "memory"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost", "temperatures"]
[panel.rear]
driver = "picture"
deck = ["boost", "temperatures"]
"""


class Running:
    """A daemon on real time in a thread, with its socket."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.loop = asyncio.SelectorEventLoop()
        self.buses = {role: MemoryBus(role) for role in ("drive", "comfort")}
        self.built = build(parse_config(TEXT, "mine.toml"), self.loop, memory=self.buses)
        self.desk = Desk(self.built.daemon, self.loop)
        self.control = self.desk.control(path)
        self.control.open()
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def _run(self) -> None:
        self.loop.call_soon(self.built.daemon.start)
        self.loop.run_forever()

    def inside(self, call: Callable[[], T]) -> T:
        async def run() -> T:
            return call()

        return asyncio.run_coroutine_threadsafe(run(), self.loop).result(LONG_S)

    def stop(self) -> None:
        for end in (self.desk.close, self.control.close, self.built.daemon.stop):
            self.inside(end)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(LONG_S)
        self.loop.run_until_complete(self.loop.shutdown_default_executor())
        self.loop.close()


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    one = Running(tmp_path_factory.mktemp("run") / "underdash.sock")
    yield one
    one.stop()


@pytest.fixture
def client(running: Running) -> Iterator[Client]:
    with Client.connect([running.path], LONG_S) as one:
        yield one


def test_status_is_plain_json_with_everything_in_it(client: Client) -> None:
    table = client.ask("status")
    assert json.loads(json.dumps(table)) == table
    assert {bus["role"] for bus in table["buses"]} <= {"drive", "comfort"}
    assert table["polls"][0].keys() == {"name", "signals", "wanted", "parked", "how", "sentence"}
    assert "tarn" in table["plugins"]["running"]


def test_why_travels_as_a_chain(client: Client) -> None:
    end = monotonic() + LONG_S
    while True:
        chain = Chain.of(client.ask("why", {"signal": "engine.coolant_temperature"}))
        if chain.fault.cause is Cause.BUS_SILENT or monotonic() > end:
            break
    assert chain.sentence == "bus drive is silent: wake the car, check the plug"


def test_quiet_is_taken_to_the_guard(running: Running, client: Client) -> None:
    assert client.ask("quiet", {"on": True}) == {"quiet": True, "kept": False}
    assert running.built.daemon.sending.guard.quiet
    assert client.ask("quiet", {"on": False}) == {"quiet": False, "kept": False}
    assert not running.built.daemon.sending.guard.quiet


def on_both(page: str) -> dict[str, dict[str, str]]:
    return {"pages": {"main": page, "rear": page}}


def test_pages_are_shown_by_name_and_turned(client: Client) -> None:
    assert client.ask("page", {"show": "status"}) == on_both("status")
    assert client.ask("page", {"turn": 1}) == on_both("boost")
    assert client.ask("page", {"turn": 1}) == on_both("temperatures")
    assert client.ask("page", {"show": "boost"}) == on_both("boost")
    assert client.ask("page", {"show": "test-card"}) == on_both("test-card")
    assert client.ask("page", {"turn": 1}) == on_both("boost")
    with pytest.raises(GivenError, match="Did you mean 'boost'"):
        client.ask("page", {"show": "bost"})


def test_a_page_is_shown_on_one_panel_only_if_it_is_named(client: Client) -> None:
    client.ask("page", {"show": "boost"})
    assert client.ask("page", {"show": "test-card", "panel": "rear"}) == {
        "pages": {"main": "boost", "rear": "test-card"}
    }
    with pytest.raises(GivenError, match="panel 'roof' is not open in the running daemon; open are: main, rear"):
        client.ask("page", {"show": "test-card", "panel": "roof"})
    client.ask("page", {"show": "boost"})


def test_the_command_shows_the_test_card_through_the_daemon(
    client: Client, running: Running, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("underdash.wiring.control.socket_paths", lambda: [running.path])
    client.ask("page", {"show": "boost"})
    assert main(["page", "test-card", "--panel", "rear"]) == 0
    assert "the running daemon shows the card on rear; turning the page ends it" in capsys.readouterr().out
    assert main(["page", "test-card"]) == 0
    assert "shows the card on main, rear;" in capsys.readouterr().out
    assert main(["page", "test-card", "--panel", "roof"]) == 2
    assert "open are: main, rear" in capsys.readouterr().err
    client.ask("page", {"show": "boost"})


@pytest.mark.parametrize(
    ("ask", "given"),
    [
        ("why", {}),
        ("why", {"signal": 7}),
        ("quiet", {}),
        ("quiet", {"on": "yes"}),
        ("page", {}),
        ("page", {"turn": True}),
        ("page", {"turn": "1"}),
        ("record", {}),
        ("mark", {}),
        ("ask_nicely", {}),
    ],
)
def test_a_request_that_lacks_something_says_what(client: Client, ask: str, given: dict[str, Any]) -> None:
    with pytest.raises(GivenError):
        client.ask(ask, given)
    assert client.ask("quiet", {"on": False}) == {"quiet": False, "kept": False}


def test_a_recording_holds_every_frame_from_its_begin_to_its_stop(
    running: Running, client: Client, tmp_path: Path
) -> None:
    frames = [Frame(0x100 + n, bytes([n] * 4)) for n in range(50)]
    with (tmp_path / "new.log").open("xb") as file:
        client.begin("record", files=[file.fileno()])
        assert client.next(LONG_S) is not None
        for frame in frames:
            running.inside(partial(running.buses["drive"].inject, frame))
        client.stop()
        while (reply := client.next(LONG_S)) is not None and not reply.last:
            pass
    assert reply is not None
    assert (reply.table["frames"], reply.table["dropped"], reply.table["failure"]) == (50, 0, "")
    found = list(read_trace(tmp_path / "new.log"))
    assert [(role, frame.id, frame.data) for role, frame in found] == [("drive", f.id, f.data) for f in frames]
    assert all(link.tap is None for link in running.built.daemon.links.values())


def test_a_mark_goes_into_what_is_being_recorded(running: Running, client: Client, tmp_path: Path) -> None:
    with Client.connect([running.path], LONG_S) as second:
        with pytest.raises(UnderdashError, match="nothing is being recorded; begin with underdash record"):
            second.ask("mark", {"text": "menu"})
        with (tmp_path / "new.log").open("xb") as file:
            client.begin("record", files=[file.fileno()])
            assert client.next(LONG_S) is not None
            at = second.ask("mark", {"text": "menu"})["at"]
            client.stop()
            while (reply := client.next(LONG_S)) is not None and not reply.last:
                pass
    trace = read_trace(tmp_path / "new.log")
    assert list(trace) == []
    ((marked, word),) = trace.marks
    assert marked == pytest.approx(at, abs=1e-5)
    assert word == "menu"


def test_a_recorder_that_is_gone_is_taken_off_the_buses(running: Running, tmp_path: Path) -> None:
    with (tmp_path / "new.log").open("xb") as file, Client.connect([running.path], LONG_S) as one:
        one.begin("record", files=[file.fileno()])
        assert one.next(LONG_S) is not None
        assert any(link.tap is not None for link in running.built.daemon.links.values())
    end = monotonic() + LONG_S
    while any(link.tap is not None for link in running.built.daemon.links.values()):
        assert monotonic() < end


def test_a_file_that_cannot_be_written_is_told(running: Running, client: Client, tmp_path: Path) -> None:
    (tmp_path / "read_only").write_bytes(b"")
    with (tmp_path / "read_only").open("rb") as file:
        client.begin("record", files=[file.fileno()])
        while (reply := client.next(LONG_S)) is not None and not reply.last:
            pass
    assert reply is not None
    assert reply.table["failure"].startswith("recording ended: ")
    end = monotonic() + LONG_S
    while any(link.tap is not None for link in running.built.daemon.links.values()):
        assert monotonic() < end


def test_the_socket_is_looked_for_at_this_users_place_and_then_at_the_services(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    assert socket_path() == tmp_path / "underdash.sock"
    assert socket_paths() == [tmp_path / "underdash.sock", Path("/run/underdash/underdash.sock")]
    monkeypatch.setenv("RUNTIME_DIRECTORY", "/run/underdash")
    assert len(socket_paths()) == 1


def test_a_persons_word_is_taken_only_as_such_and_for_ten_minutes(running: Running, client: Client) -> None:
    for wrong in ({}, {"standing": False}, {"standing": 1}):
        with pytest.raises(GivenError, match="standing"):
            client.ask("attended", wrong)
    ignition = running.built.daemon.key.ignition
    running.inside(lambda: ignition.heard(running.loop.time()))
    told = client.ask("attended", {"standing": True})
    assert told == {"ignition": "a person at the keyboard says that the ignition is on", "seconds": 600.0}
    assert running.inside(lambda: ignition.vouched(running.loop.time()))
    running.inside(ignition.end_vouching)
