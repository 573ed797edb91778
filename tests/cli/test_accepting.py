"""A finding written into a description, and tried on the panels."""

from __future__ import annotations

import argparse
import threading
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.cli import accepting
from underdash.cli.accepting import add_accept, finish, look_ahead, trial_tables
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.errors import GivenError, UnderdashError
from underdash.contract.layout import Bits, ByteOrder, Select
from underdash.finding.found import Answer, Candidate, Where
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
from underdash.service.messages import Reply
from underdash.wiring.trying import what_is_tried

CAR = 'format = 1\nname = "c"\ntitle = "C"\ncounting = "from 0"\n[bus.comfort]\nbitrate = 125_000 # measured\n'
MENU = Candidate(Where("comfort", 0x2C1, False, Bits(1, 1, 0)), 0.97, 4.0, ("5 of 5",), {0: "released", 1: "menu"})
OTHER = Candidate(Where("comfort", 0x2C1, False, Bits(1, 1, 3)), 0.48, 4.0, (), {0: "released", 1: "menu"})
SPEED = Candidate(Where("comfort", 0x2C1, False, Bits(0, 16)), 0.9, 1.0, (), {}, {"scale": 0.01, "offset": -1.0})
STEPS = Candidate(Where("comfort", 0x2C1, False, Bits(0)), 0.9, 1.0, (), {0: "off", 1: "low", 2: "high"})
ONE, TIED = Answer("menu", ((MENU,), (OTHER,))), Answer("menu", ((OTHER, MENU),))


@pytest.fixture
def heard() -> Heard:
    return heard_from([("comfort", Frame(0x2C1, bytes([0, n % 2]), at=0.1 * n)) for n in range(20)])


@pytest.fixture
def car(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    path = tmp_path / "mine.toml"
    path.write_text(CAR)
    return path


def given(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    add_accept(parser)
    return parser.parse_args(words)


def into(car: Path, *words: str) -> argparse.Namespace:
    return given("--into", str(car), *words)


def test_the_best_answer_goes_into_the_file_with_its_evidence(
    car: Path, heard: Heard, capsys: pytest.CaptureFixture[str]
) -> None:
    finish(into(car, "--as", "button.menu", "--use", "comfort"), heard, [ONE], "find pressed menu")
    text = car.read_text()
    assert text.startswith(CAR)
    (broadcast,) = tomllib.loads(text)["broadcast"]
    assert broadcast["fields"][0]["found_by"] == "find pressed menu"
    told = capsys.readouterr().err.splitlines()
    assert told == [
        f"{car}: button.menu is read from comfort 2C1 byte 1 bit 0",
        f"next: underdash car check {car} --against TRACE, with a recording of a whole journey",
    ]


def test_of_a_tie_one_is_chosen_by_its_number(car: Path, heard: Heard) -> None:
    words = ("--as", "button.menu", "--use", "comfort")
    with pytest.raises(GivenError, match=r"2 places cannot be told apart .* choose one with --number"):
        finish(into(car, *words), heard, [TIED], "find pressed menu")
    assert car.read_text() == CAR
    finish(into(car, *words, "--number", "1"), heard, [TIED], "find pressed menu")
    assert tomllib.loads(car.read_text())["broadcast"][0]["fields"][0]["bit"] == 3


@pytest.mark.parametrize(
    ("words", "answers", "says"),
    [
        (("--as", "button.menu"), [ONE], "say --use comfort or --use driving"),
        ((), [ONE], "--into goes with --as SIGNAL"),
        (("--as", "engine.sped"), [ONE], "engine.speed.*one that only this car has begins with car"),
        (("--as", "car.x", "--unit", "furlong"), [ONE], "--unit furlong: units are Pa"),
        (("--as", "car.x", "--number", "3"), [ONE], "the answers have the numbers 1 to 2"),
        (("--as", "car.x"), [Answer("menu")], "nothing was found that could be written down"),
        (("--as", "car.x"), [ONE, Answer("ok", ((OTHER,),))], r"several answers \(menu, ok\)"),
    ],
)
def test_what_is_not_clear_is_asked_for_and_the_file_left_alone(
    car: Path, heard: Heard, words: tuple[str, ...], answers: list[Answer], says: str
) -> None:
    with pytest.raises(GivenError, match=says):
        finish(into(car, *words), heard, answers, "find pressed menu")
    assert car.read_text() == CAR


def test_what_is_only_possible_has_to_be_chosen(car: Path, heard: Heard) -> None:
    words, doubtful = ("--as", "car.x"), [Answer("menu", ((OTHER,), (SPEED,)))]
    with pytest.raises(GivenError, match=r"no more than possible \(48 %\); try it with --try"):
        finish(into(car, *words), heard, doubtful, "find pressed menu")
    assert car.read_text() == CAR
    finish(into(car, *words, "--number", "1"), heard, doubtful, "find pressed menu")
    assert "car.x" in car.read_text()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--as", "button.menu", "--use", "comfort"), "--as goes with --into F.toml, which says what to do"),
        (("--unit", "bar"), "--unit goes with --into F.toml"),
        (("--number", "1"), "--number goes with --into F.toml or --try"),
        (("--try-seconds", "3"), "--try-seconds goes with --try"),
        (("--into", "{gone}", "--as", "car.x"), "gone.toml cannot be read: no such file"),
        (("--into", "{car}", "--as", "button.menu"), "say --use comfort or --use driving"),
        (("--into", "{car}"), "--into goes with --as SIGNAL"),
        (("--number", "0"), "--number goes with --into F.toml or --try"),
        (("--try", "--number", "0"), "--number 0: the answers are numbered from 1 on"),
        (("--into", "{car}", "--as", "engine.sped"), "--as engine.sped: .*engine.speed"),
        (("--into", "{car}", "--as", "car.X y!"), "--as car.X y!: small words with dots between them are wanted"),
        (("--into", "{car}", "--as", "car.x", "--unit", "furlong"), "--unit furlong: units are Pa"),
        (("--into", "{car}", "--as", "engine.speed", "--unit", "bar"), "engine.speed has its own"),
    ],
)
def test_what_is_wrong_in_any_case_is_said_before_the_search(car: Path, words: tuple[str, ...], says: str) -> None:
    gone = car.with_name("gone.toml")
    with pytest.raises(GivenError, match=says):
        look_ahead(given(*(word.format(car=car, gone=gone) for word in words)))


def test_what_may_be_right_is_left_to_the_answer(car: Path) -> None:
    for words in ((), ("--try", "--number", "2"), ("--into", str(car), "--as", "car.x")):
        look_ahead(given(*words))
    for says_which in ({"question": "ignition"}, {"question": "like", "reference": "vehicle.speed"}):
        look_ahead(argparse.Namespace(**vars(given("--into", str(car))), **says_which))


def test_a_number_is_not_made_of_a_flag(car: Path, heard: Heard) -> None:
    with pytest.raises(
        GivenError, match=r"engine\.speed is a number in rpm, and this finding only tells apart released, m"
    ):
        finish(into(car, "--as", "engine.speed"), heard, [ONE], "find pressed menu")
    assert car.read_text() == CAR


def test_a_bus_of_another_name_is_told_with_the_way_to_name_it(car: Path, heard: Heard) -> None:
    car.write_text(CAR.replace("comfort", "body"))
    with pytest.raises(GivenError, match=r"it has no bus 'comfort', but body; .* such as --bus body=comfort"):
        finish(into(car, "--as", "car.x"), heard, [ONE], "find pressed menu")


def test_a_file_that_is_not_there_is_told(car: Path, heard: Heard) -> None:
    gone = car.with_name("gone.toml")
    with pytest.raises(GivenError, match=r"gone\.toml cannot be read: no such file .* `underdash car draft`"):
        finish(into(gone, "--as", "car.x"), heard, [ONE], "find pressed menu")


@pytest.mark.parametrize(
    ("candidate", "kind"), [(MENU, "switch"), (STEPS, "choice"), (SPEED, "number")], ids=["two", "three", "scale"]
)
def test_what_only_this_car_has_is_declared_as_what_it_looks_like(
    car: Path, heard: Heard, candidate: Candidate, kind: str
) -> None:
    finish(into(car, "--as", "car.x", "--unit", "%"), heard, [Answer("x", ((candidate,),))], "find x")
    (signal,) = tomllib.loads(car.read_text())["signal"]
    assert signal.get("kind", "number") == kind


# --- on the panels ----------------------------------------------------------------------------------------------


class FakeClient:
    """A daemon that reports two changes and takes the end."""

    asked: tuple[str, Mapping[str, Any]] = "", {}
    first: Mapping[str, Any] = {}

    def __init__(self, stop: threading.Event) -> None:
        self._stop = stop
        self._replies = [
            Reply({"changes": [{"signal": "car.trial_1", "value": "menu", "at": 1.0}], **self.first}, last=False),
            Reply({"changes": [{"signal": "car.trial_2", "value": "released", "at": 2.0}]}, last=False),
        ]

    def begin(self, ask: str, table: Mapping[str, Any]) -> None:
        FakeClient.asked = ask, table

    def next(self, within_s: float) -> Reply | None:
        if self._replies:
            return self._replies.pop(0)
        self._stop.set()
        return None

    def stop(self) -> None:
        self._replies.append(Reply({"changes": [], "values": {}}, last=True))

    def __enter__(self) -> FakeClient:
        return self

    def __exit__(self, *_: object) -> None:
        return None


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch) -> None:
    stop = threading.Event()

    @contextmanager
    def told() -> Iterator[threading.Event]:
        yield stop

    monkeypatch.setattr(accepting, "told_to_stop", told)
    monkeypatch.setattr("underdash.service.client.Client.connect", lambda paths: FakeClient(stop))


@pytest.mark.usefixtures("daemon")
def test_a_daemon_without_panels_is_told_as_such(
    heard: Heard, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(FakeClient, "first", {"panels": []})
    finish(given("--try"), heard, [TIED], "find pressed menu")
    assert capsys.readouterr().err.startswith("decoded now, and no panel is there: menu. Do it, and look")


@pytest.mark.usefixtures("daemon")
def test_what_a_daemon_cannot_try_is_told_with_the_way_to_name_a_bus(
    heard: Heard, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def refused(self: FakeClient, within_s: float) -> Reply | None:
        raise GivenError("found 'comfort', allowed: body")

    monkeypatch.setattr(FakeClient, "next", refused)
    with pytest.raises(GivenError, match=r"cannot try it: found 'comfort'.*\(comfort\), say .* --bus ROLE=CHANNEL"):
        finish(given("--try"), heard, [TIED], "find pressed menu")
    assert capsys.readouterr().err == ""


@pytest.mark.usefixtures("daemon")
def test_each_change_is_told_while_it_is_tried(heard: Heard, capsys: pytest.CaptureFixture[str]) -> None:
    finish(given("--try"), heard, [TIED], "find pressed menu")
    assert capsys.readouterr().err.splitlines() == [
        "on the panels now: menu. Do it, and look whether it is seen; Ctrl-C ends this",
        "seen: comfort 2C1 byte 1 bit 3 is menu",
        "seen: comfort 2C1 byte 1 bit 0 is released",
    ]
    assert FakeClient.asked[0] == "try"


def test_without_a_daemon_nothing_can_be_tried(car: Path, heard: Heard) -> None:
    with pytest.raises(UnderdashError, match="no daemon runs"):
        finish(given("--try"), heard, [ONE], "find pressed menu")


def test_the_daemon_understands_what_it_is_sent(short_car: Any) -> None:
    tables = trial_tables([MENU, SPEED, STEPS], "menu")
    signals, listeners = what_is_tried(tables, short_car)
    assert [one.name for one in signals] == ["car.trial_1", "car.trial_2", "car.trial_3"]
    assert [one.fields[0].scale for one in listeners] == [1.0, 0.01, 1.0]
    assert listeners[2].fields[0].values == ((0, "off"), (1, "low"), (2, "high"))


def test_the_daemon_understands_a_place_under_a_multiplexer_and_one_over_a_border(short_car: Any) -> None:
    select = Select(Bits(0, 2, 0, ByteOrder.LITTLE), (2,))
    under = Where("comfort", 0x511, False, Bits(5, 1, 2, ByteOrder.LITTLE), select=select)
    over = Where("comfort", 0x512, False, Bits(0, 3, 1))
    tables = trial_tables([Candidate(where, 0.9, 1.0) for where in (under, over)], "menu")
    signals, listeners = what_is_tried(tables, short_car)
    assert signals[0].meaning == "511 byte 5 bit 2 while byte 0 bits 0 to 1 is 2"
    assert [(one.fields[0].bits, one.fields[0].select) for one in listeners] == [
        (under.bits, under.select), (over.bits, None)
    ]  # fmt: skip


COMES = Candidate(Where("comfort", 0x2C1, False, Bits(0), comes=True), 0.97, 1.0)


@pytest.mark.usefixtures("daemon")
def test_of_frames_that_only_come_nothing_can_be_tried_or_written_down(
    car: Path, heard: Heard, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = Answer("menu", ((COMES,),))
    with pytest.raises(GivenError, match=r"comfort 2C1 being sent at all is what answers, .* nothing to show"):
        finish(given("--try"), heard, [answer], "find pressed menu")
    before = car.read_bytes()
    with pytest.raises(GivenError, match="cannot be written down"):
        finish(given("--into", str(car), "--as", "button.menu", "--use", "comfort"), heard, [answer], "find pressed")
    assert car.read_bytes() == before
    finish(given(), heard, [answer], "find pressed menu")
    assert capsys.readouterr().err.startswith("next: that frames are sent at all can be neither tried nor written")


@pytest.fixture
def short_car() -> Any:
    return CarDescription("c", "C", (BusDescription("comfort", 125_000),))


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ([ONE], "next: the same with --try shows it on the running daemon's panels; --into F.toml --as SIGNAL writes"),
        ([ONE, ONE], "next: the same, with --word menu or another one, with --try"),
        ([TIED], "next: the same with --try shows up to four of them"),
    ],
)
def test_what_can_be_done_with_an_answer_is_said(
    heard: Heard, answers: list[Answer], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    finish(given(), heard, answers, "find pressed menu")
    assert capsys.readouterr().err.startswith(says)


def test_nothing_is_said_to_come_next_where_nothing_was_found(heard: Heard, capsys: pytest.CaptureFixture[str]) -> None:
    finish(given(), heard, [Answer("menu")], "find pressed menu")
    assert capsys.readouterr().err == ""
