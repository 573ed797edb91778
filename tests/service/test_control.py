"""The daemon's socket, over a real one: who gets an answer, and that nobody can hold the loop up."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import socket
import stat
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

import pytest

from underdash.contract.errors import GivenError, UnderdashError
from underdash.service import control as module
from underdash.service.client import Client, DaemonError, NoDaemonError
from underdash.service.control import MOST_CLIENTS, Control, ControlError, Conversation
from underdash.service.messages import MOST_ANSWER_BYTES, MOST_REQUEST_BYTES

T = TypeVar("T")
LONG_S = 60.0


class Daemon:
    """A control socket on a loop of its own; `inside` runs something on it, `loop` shows that it is not held up."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.loop = asyncio.SelectorEventLoop()
        self.talks: list[Conversation] = []
        self.ended: list[bool] = []
        self.ends = threading.Event()
        self.control = Control(
            path, {"echo": self.echo, "long": self.long, "fail": self.fail, "huge": self.huge}, self.loop
        )
        self.control.open()
        self._thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self._thread.start()

    def echo(self, talk: Conversation) -> Mapping[str, Any]:
        return dict(talk.given)

    def long(self, talk: Conversation) -> None:
        def end(gone: bool) -> None:
            self.ended.append(gone)
            talk.done({"ended": True})
            self.ends.set()

        talk.on_end = end
        self.talks.append(talk)
        talk.more({"begun": True})

    def fail(self, talk: Conversation) -> Mapping[str, Any]:
        raise {"person": GivenError("give another"), "car": UnderdashError("not now")}.get(
            talk.given.get("how", ""), KeyError("a bug")
        )

    def huge(self, talk: Conversation) -> Mapping[str, Any]:
        return {"text": "x" * talk.given["size"]}

    def inside(self, call: Callable[[], T]) -> T:
        async def run() -> T:
            return call()

        return asyncio.run_coroutine_threadsafe(run(), self.loop).result(LONG_S)

    def stop(self) -> None:
        self.inside(self.control.close)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(LONG_S)
        self.loop.close()


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    one = Daemon(tmp_path / "underdash.sock")
    yield one
    one.stop()


def client(daemon: Daemon, timeout_s: float = LONG_S) -> Client:
    return Client.connect([daemon.path], timeout_s)


def raw(daemon: Daemon) -> socket.socket:
    end = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    end.settimeout(LONG_S)
    end.connect(str(daemon.path))
    return end


# --- asking -----------------------------------------------------------------------------------------------------------


def test_a_request_is_answered_and_so_is_the_next(daemon: Daemon) -> None:
    with client(daemon) as one:
        assert one.ask("echo", {"a": 1, "line": "two\nlines"}) == {"a": 1, "line": "two\nlines"}
        assert one.ask("echo") == {}


def test_errors_come_back_as_what_they_were(daemon: Daemon) -> None:
    with client(daemon) as one:
        with pytest.raises(GivenError, match="give another"):
            one.ask("fail", {"how": "person"})
        with pytest.raises(UnderdashError, match="not now") as told:
            one.ask("fail", {"how": "car"})
        assert told.value.exit_status == 1
        with pytest.raises(UnderdashError, match="a mistake in underdash itself"):
            one.ask("fail")
        assert one.ask("echo", {"still": "here"}) == {"still": "here"}


def test_what_nobody_handles_is_answered_with_what_there_is(daemon: Daemon) -> None:
    with client(daemon) as one, pytest.raises(GivenError, match="there are: echo, fail, huge, long"):
        one.ask("dance")


def test_handlers_can_be_added_while_it_runs(daemon: Daemon) -> None:
    handlers = daemon.control.handlers
    assert isinstance(handlers, dict)
    handlers["new"] = lambda talk: {"new": True}
    with client(daemon) as one:
        assert one.ask("new") == {"new": True}


def test_an_answer_beyond_the_limit_becomes_an_error(daemon: Daemon) -> None:
    with client(daemon) as one:
        assert len(one.ask("huge", {"size": MOST_ANSWER_BYTES - 100})["text"]) == MOST_ANSWER_BYTES - 100
        with pytest.raises(UnderdashError, match="longer than"):
            one.ask("huge", {"size": MOST_ANSWER_BYTES})


def test_several_clients_are_answered_at_once(daemon: Daemon) -> None:
    def ask(number: int) -> Any:
        with client(daemon) as one:
            return [one.ask("echo", {"n": number})["n"] for _ in range(20)]

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(ask, range(8))) == [[number] * 20 for number in range(8)]


# --- what goes on -----------------------------------------------------------------------------------------------------


def test_a_long_request_tells_on_the_way_and_ends_when_asked_to(daemon: Daemon) -> None:
    with client(daemon) as one:
        one.begin("long")
        first = one.next(LONG_S)
        assert first is not None
        assert (first.table, first.last) == ({"begun": True}, False)
        daemon.inside(lambda: daemon.talks[0].more({"n": 1}))
        second = one.next(LONG_S)
        assert second is not None
        assert second.table == {"n": 1}
        one.stop()
        last = one.next(LONG_S)
        assert last is not None
        assert (last.table, last.last) == ({"ended": True}, True)
    assert daemon.ended == [False]


def test_a_long_request_ends_with_its_client(daemon: Daemon) -> None:
    one = client(daemon)
    one.begin("long")
    one.next(LONG_S)
    one.close()
    assert daemon.ends.wait(LONG_S)
    assert daemon.ended == [True]


def test_one_request_is_open_on_a_connection(daemon: Daemon) -> None:
    with client(daemon) as one:
        one.begin("long")
        one.next(LONG_S)
        with pytest.raises(GivenError, match="still open"):
            one.ask("echo")


def test_a_stop_with_nothing_open_is_harmless(daemon: Daemon) -> None:
    with client(daemon) as one:
        one.stop()
        assert one.ask("echo") == {}


def test_an_open_file_comes_along_with_a_request(daemon: Daemon, tmp_path: Path) -> None:
    taken: list[int | None] = []

    def take(talk: Conversation) -> Mapping[str, Any]:
        number = talk.take_file()
        taken.append(talk.take_file())
        assert number is not None
        os.write(number, b"hello")
        os.close(number)
        return {}

    handlers = daemon.control.handlers
    assert isinstance(handlers, dict)
    handlers["take"] = take
    with client(daemon) as one, (tmp_path / "given").open("wb") as file:
        one.begin("take", files=[file.fileno()])
        one.next(LONG_S)
    assert (tmp_path / "given").read_bytes() == b"hello"
    assert taken == [None]


def test_a_file_that_nobody_takes_is_closed(daemon: Daemon, tmp_path: Path) -> None:
    def open_files() -> int:
        return len(os.listdir("/proc/self/fd"))

    with client(daemon) as one, (tmp_path / "given").open("wb") as file:
        one.ask("echo")
        before = open_files()
        for _ in range(3):
            one.begin("echo", files=[file.fileno()])
            one.next(LONG_S)
        assert open_files() == before


# --- bad clients ------------------------------------------------------------------------------------------------------


def test_files_that_come_without_a_request_are_not_gathered(daemon: Daemon, tmp_path: Path) -> None:
    with (tmp_path / "file").open("wb") as file, raw(daemon) as end:
        with contextlib.suppress(OSError):  # it is dropped before the last
            for _ in range(20):
                socket.send_fds(end, [b" "], [file.fileno()])
                daemon.inside(lambda: None)
        with contextlib.suppress(ConnectionError):
            assert end.recv(1) == b""
    with client(daemon) as other:
        assert other.ask("echo", {"n": 1}) == {"n": 1}


class Exhausted:
    """A listening socket in a process that has no descriptors left for a while."""

    def __init__(self, its: socket.socket) -> None:
        self._its = its
        self.tries = 0

    def accept(self) -> tuple[socket.socket, Any]:
        self.tries += 1
        if self.tries == 1:
            raise OSError(errno.EMFILE, "Too many open files")
        return self._its.accept()

    def fileno(self) -> int:
        return self._its.fileno()

    def close(self) -> None:
        self._its.close()


def test_without_descriptors_it_waits_before_it_takes_the_next_one_in(
    daemon: Daemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PAUSE_S", 0.05)
    later: list[float] = []
    call_later = daemon.loop.call_later

    def noted(seconds: float, *call: Any) -> Any:
        later.append(seconds)
        return call_later(seconds, *call)

    monkeypatch.setattr(daemon.loop, "call_later", noted)
    listening = Exhausted(daemon.control._socket)  # type: ignore[arg-type]
    daemon.inside(lambda: setattr(daemon.control, "_socket", listening))

    with client(daemon) as other:
        assert other.ask("echo", {"n": 1}) == {"n": 1}
    assert listening.tries == 2
    assert later[0] == 0.05


def test_garbage_is_answered_and_its_sender_dropped(daemon: Daemon) -> None:
    with raw(daemon) as end:
        end.sendall(b"\x00\xffGET / HTTP/1.1\r\n\r\n")
        assert b"no JSON object" in end.recv(4096)
        assert end.recv(4096) == b""
    with client(daemon) as one:
        assert one.ask("echo") == {}


def test_a_line_without_end_is_cut_off(daemon: Daemon) -> None:
    with raw(daemon) as end, pytest.raises((BrokenPipeError, ConnectionResetError)):
        end.sendall(b"x" * MOST_REQUEST_BYTES * 1000)
    with client(daemon) as one:
        assert one.ask("echo") == {}


def test_a_client_that_does_not_read_is_dropped_and_holds_nobody_up(daemon: Daemon) -> None:
    with raw(daemon) as deaf, client(daemon) as one:
        deaf.sendall(b'{"v":1,"ask":"long"}\n')
        one.ask("echo")
        while not daemon.talks:
            one.ask("echo")
        for _ in range(8):
            daemon.inside(lambda: daemon.talks[0].more({"text": "x" * (MOST_ANSWER_BYTES // 2)}))
            assert one.ask("echo", {"quick": True}) == {"quick": True}
        assert daemon.ends.wait(LONG_S)
        assert daemon.ended == [True]


def test_a_half_line_holds_nobody_up(daemon: Daemon) -> None:
    with raw(daemon) as end, client(daemon) as one:
        end.sendall(b'{"v":1,"ask":')
        assert one.ask("echo") == {}
        end.sendall(b'"echo"}\n')
        assert end.recv(4096) == b'{"v":1,"answer":{}}\n'


def test_a_client_that_says_nothing_is_dropped_after_a_while(daemon: Daemon, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "IDLE_S", 0.01)
    with raw(daemon) as end:
        assert end.recv(4096) == b""


def test_an_open_request_is_not_idle(daemon: Daemon, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "IDLE_S", 0.01)
    with client(daemon) as one:
        one.begin("long")
        one.next(LONG_S)
        assert one.next(0.1) is None
        daemon.inside(lambda: daemon.talks[0].done({"late": True}))
        reply = one.next(LONG_S)
        assert reply is not None
        assert reply.table == {"late": True}


def test_more_clients_than_there_is_room_for_are_told_so(daemon: Daemon) -> None:
    ends = [raw(daemon) for _ in range(MOST_CLIENTS)]
    with pytest.raises(UnderdashError, match=r"end one of them|has ended|gone|does not listen"), client(daemon) as one:
        one.ask("echo")
    ends.pop().close()
    for _ in range(1000):
        try:
            with client(daemon) as one:
                assert one.ask("echo") == {}
                break
        except UnderdashError:
            continue
    else:
        pytest.fail("room was not given back")
    for end in ends:
        end.close()


# --- owning it --------------------------------------------------------------------------------------------------------


def test_only_its_own_user_may_connect(daemon: Daemon) -> None:
    mode = daemon.path.stat().st_mode
    assert stat.S_ISSOCK(mode)
    assert stat.S_IMODE(mode) == 0o600


def test_a_second_daemon_is_refused_and_the_first_goes_on(daemon: Daemon) -> None:
    second = Control(daemon.path, {}, daemon.loop)
    with pytest.raises(ControlError, match=f"runs already, as process {os.getpid()}"):
        second.open()
    second.close()
    with client(daemon) as one:
        assert one.ask("echo") == {}


def test_the_socket_of_a_daemon_that_was_killed_is_replaced(tmp_path: Path) -> None:
    path = tmp_path / "underdash.sock"
    code = (
        "import asyncio, os, sys; from pathlib import Path; from underdash.service.control import Control\n"
        "Control(Path(sys.argv[1]), {}, asyncio.SelectorEventLoop()).open(); os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", code, str(path)], check=False)
    assert path.is_socket()
    with pytest.raises(NoDaemonError):
        Client.connect([path])
    one = Daemon(path)
    with client(one) as asking:
        assert asking.ask("echo") == {}
    one.stop()
    assert not path.exists()


def test_a_path_that_is_too_long_for_a_socket_is_told_as_such(tmp_path: Path) -> None:
    loop = asyncio.new_event_loop()
    with pytest.raises(ControlError, match="107 is the most"):
        Control(tmp_path / ("x" * 120), {}, loop).open()
    loop.close()


def test_a_place_that_cannot_be_written_is_told_as_such(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    loop = asyncio.new_event_loop()
    with pytest.raises(ControlError, match="set RUNTIME_DIRECTORY"):
        Control(tmp_path / "file" / "underdash.sock", {}, loop).open()
    loop.close()


def test_a_daemon_with_too_many_waiting_is_not_taken_for_none(tmp_path: Path) -> None:
    path = tmp_path / "busy.sock"
    with socket.socket(socket.AF_UNIX) as busy, contextlib.ExitStack() as waiting:
        busy.bind(str(path))
        busy.listen(0)
        for _ in range(2):
            end = waiting.enter_context(socket.socket(socket.AF_UNIX))
            end.setblocking(False)
            with contextlib.suppress(BlockingIOError):
                end.connect(str(path))
        with pytest.raises(DaemonError, match="more commands waiting"):
            Client.connect([path], 0.1)


def test_without_a_daemon_the_client_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(NoDaemonError, match="underdash run"):
        Client.connect([tmp_path / "none.sock", tmp_path / ("x" * 200)])


def test_a_daemon_that_does_not_answer_is_not_waited_for_for_ever(daemon: Daemon) -> None:
    handlers = daemon.control.handlers
    assert isinstance(handlers, dict)
    handlers["mute"] = lambda talk: None
    with client(daemon, 0.05) as one, pytest.raises(DaemonError, match="did not answer within"):
        one.ask("mute")


def test_a_daemon_that_ends_is_told_as_such(daemon: Daemon) -> None:
    with client(daemon) as one:
        one.begin("long")
        one.next(LONG_S)
        daemon.inside(daemon.control.close)
        with pytest.raises(DaemonError, match="has ended"):
            one.next(LONG_S)
