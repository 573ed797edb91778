"""People write TOML in many ways: whichever it is, nothing of theirs is lost, and only what was added is new."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from underdash.config.cars import make_car
from underdash.config.mistakes import ConfigError, Source
from underdash.config.writing import Addition, with_addition
from underdash.contract.cars import CarDescription
from underdash.contract.errors import GivenError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.signals import Signal

ROOT = Path(__file__).parents[2]
CARS = [*sorted((ROOT / "config" / "cars").glob("*.toml")), *sorted((ROOT / "plugins").glob("*/underdash_*/*.toml"))]
HEAD = 'format = 1\nname = "c"\ntitle = "C"\ncounting = "from 1"\n[bus.drive]\nbitrate = 500_000\n'
REMARKS = ("", " # [[broadcast]] ]", ' # it\'s """ { fields = [', " # a\u2028b\u0085c", "  #\t'''")
LINES_OF_OWN = ("# [buttons]", "\t# }, ''' \u2028 [[signal]]", "", "   ")
TITLE = 'title = """\n[[broadcast]]\nfields = [\n  { signal = "a" }\n[buttons]\n# """'
MENU = Addition(BroadcastListener("drive", 0x100, (Field("button.menu", Bits(3), values=((0, False), (2, True))),)))
SPEED = Addition(BroadcastListener("drive", 0x200, (Field("engine.speed", Bits(0)),)))
TABLES_BELOW = """\
[[broadcast]]
bus = "drive"
id = "0x100"
[[broadcast.fields]]
signal = "engine.speed"
byte = 1
[broadcast.counter]
byte = 8
"""


def car_of(text: str, path: Path = Path("car.toml")) -> CarDescription:
    table = tomllib.loads(text)
    return make_car(table, Source(), path.parent, variant=next(iter(table.get("variant", {})), None))


def feeds(car: CarDescription) -> set[tuple[str, str, int, str]]:
    return {(one.bus, hex(one.id), field.bits.byte, field.signal) for one in car.broadcasts for field in one.fields}


def line_restyled(draw: st.DrawFn, line: str) -> str:
    remark = "" if "#" in line else draw(st.sampled_from(REMARKS))
    if line.startswith("[["):
        name, _, rest = line[2:].partition("]]")
        quoted = ".".join(f'"{word}"' for word in name.split("."))
        return draw(st.sampled_from([f"[[ {name}\t]]", f"  [[{name}]]", f"[[{quoted}]]"])) + rest + remark
    return ("\t" + line[2:] if line.startswith("  ") else line) + remark


@st.composite
def restyled(draw: st.DrawFn, text: str) -> str:
    """The same description as other people write it: every value stays, but for the title."""
    lines = text.split("\n")
    for at, line in enumerate(lines):
        if draw(st.booleans()):
            lines[at] = TITLE if line.startswith("title =") else line_restyled(draw, line)
    for at in sorted(draw(st.lists(st.integers(0, len(lines)), max_size=5)), reverse=True):
        lines.insert(at, draw(st.sampled_from(LINES_OF_OWN)))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    return "\n".join(lines).rstrip("\n").replace("\n", end) + draw(st.sampled_from(["", end, f"{end}# end", end * 3]))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(st.data(), st.sampled_from(CARS))
def test_whatever_a_persons_style_their_lines_stay_and_only_the_addition_is_new(
    data: st.DataObject, path: Path
) -> None:
    text = data.draw(restyled(path.read_text()))
    car = car_of(text, path)
    frames = [(car.buses[0].role, 0x6F1, False), *((one.bus, one.id, one.extended) for one in car.broadcasts)]
    bus, can_id, extended = data.draw(st.sampled_from(frames))
    buttons = {"found": "comfort"} if data.draw(st.booleans()) else {}
    signals = (Signal("car.found", "", "new"),) if data.draw(st.booleans()) else ()
    listener = BroadcastListener(bus, can_id, (Field("car.found", Bits(0, 1, 0)),), extended)
    after = with_addition(text, Addition(listener, {"note": "x"}, signals, buttons=buttons), str(path))
    lines = iter(after.split("\n"))
    for line in text.split("\n")[:-1]:
        assert any(one == line or without_a_comma(one, line) for one in lines), line
    assert after.count("\r\n") == (after.count("\n") if "\r\n" in text else 0), "line ends are mixed"
    assert feeds(car_of(after, path)) == feeds(car) | {(bus, hex(can_id), 0, "car.found")}
    assert tomllib.loads(after)["title"] == tomllib.loads(text)["title"]
    assert dict(car_of(after, path).buttons) == {**dict(car.buttons), **buttons}


def without_a_comma(after: str, before: str) -> bool:
    """Say whether a line got a comma: what was the last one of its list is followed by another now."""
    return any(after[:at] + after[at + 1 :] == before for at, char in enumerate(after) if char == ",")


def test_tables_below_a_frame_stay_its_own() -> None:
    text = HEAD + TABLES_BELOW + '\n[variant.a]\ntitle = "A"\n'
    after = with_addition(text, MENU, "c.toml")
    assert after.startswith(HEAD + TABLES_BELOW)
    car = car_of(after)
    assert [[field.signal for field in one.fields] for one in car.broadcasts] == [["engine.speed"], ["button.menu"]]
    assert [one.counter is not None for one in car.broadcasts] == [True, False]
    changed = with_addition(text, SPEED, "c.toml", instead=True)
    assert feeds(car_of(changed)) == {("drive", "0x200", 0, "engine.speed")}
    assert "# gave way: [broadcast.counter]" in changed


@pytest.mark.parametrize(
    "way",
    [
        'broadcast = [{ bus = "drive", id = "0x100", fields = [{ signal = "engine.speed", byte = 1 }] }]',
        'buttons.set = "driving"',
        'buttons = { set = "driving" }',
    ],
)
def test_what_takes_nothing_is_left_as_it_is_and_the_lines_are_told(way: str) -> None:
    head, bus, rest = HEAD.partition("[bus")
    addition = Addition(MENU.listener, buttons={"menu": "comfort"})
    with pytest.raises(GivenError, match=r"(?s)c\.toml is written in a way .* by hand:\n.*menu"):
        with_addition(f"{head}{way}\n{bus}{rest}", addition, "c.toml")
    assert '[buttons]\nmenu = "comfort"' in with_addition(HEAD, addition, "c.toml")


@pytest.mark.parametrize(
    "way",
    [
        'broadcast = [{ bus = "drive", id = "0x100", fields = [{ signal = "engine.speed", byte = 1 }] }]\n',
        'broadcast = [{ bus = "drive", id = "0x100", fields = [{ signal = "engine.speed", byte = 1 },'
        ' { signal = "engine.load", byte = 2 }] }]\n',
    ],
)
def test_what_cannot_give_way_is_left_as_it_is(way: str) -> None:
    head, bus, rest = HEAD.partition("[bus")
    with pytest.raises(GivenError, match=r"by hand"):
        with_addition(head + way + bus + rest, SPEED, "c.toml", instead=True)


def test_a_field_over_several_lines_gives_way_whole() -> None:
    rows = '\t{ signal = "engine.speed", byte = 1, points = [\n\t\t[0, 0],\n\t\t[9, 9],\n\t] },\n'
    frame = f'[[broadcast]]\nbus = "drive"\nid = "0x100"\nfields = [\n{rows}\t{{ signal = "engine.load", byte = 2 }}\n'
    after = with_addition(HEAD + frame + "] # end\n", SPEED, "c.toml", instead=True)
    assert feeds(car_of(after)) == {("drive", "0x200", 0, "engine.speed"), ("drive", "0x100", 1, "engine.load")}
    assert after.count("# gave way: ") == 4


def test_a_signal_that_a_variant_reads_itself_is_told() -> None:
    text = HEAD + '[variant.b]\ntitle = "B"\n' + TABLES_BELOW.replace("broadcast", "variant.b.broadcast")
    with pytest.raises(GivenError, match=r"the variant b says itself where engine\.speed is read"):
        with_addition(text, SPEED, "c.toml", instead=True)


def test_what_was_said_of_the_ignition_gives_way_or_is_told() -> None:
    key = BroadcastListener("drive", 0x200, (Field("vehicle.ignition", Bits(0), values=((0, "OFF"), (1, "ON"))),))
    said = {"signal": "vehicle.ignition", "on": ["ON"], "off": ["OFF"]}
    other = Addition(key, ignition={**said, "off": ["OFF", "LOCK"]})
    first = with_addition(HEAD, Addition(key, ignition=said), "c.toml")
    silent = first.partition("[[broadcast]]")[0] + "[[ignition]]" + first.partition("[[ignition]]")[2]
    with pytest.raises(
        GivenError, match=r"an \[\[ignition\]\] says what vehicle\.ignition tells already; say --instead"
    ):
        with_addition(silent, other, "c.toml")
    for text in (first, silent):
        car = car_of(with_addition(text, other, "c.toml", instead=True))
        assert [one.off for one in car.ignition] == [("OFF", "LOCK")]


@pytest.mark.parametrize("wrong", ['broadcast = "x"\n', "[[broadcast]]\nfields = [1]\n", "[variant]\nx = 1\n"])
def test_a_file_whose_tables_are_of_the_wrong_kind_is_told_so(wrong: str) -> None:
    text = wrong + HEAD if wrong.startswith("broadcast") else HEAD + wrong
    with pytest.raises(ConfigError, match=r"c\.toml: \d mistake"):
        with_addition(text, MENU, "c.toml")


def test_variants_without_any_are_none() -> None:
    assert with_addition(HEAD + "[variant]\n", MENU, "c.toml").startswith(HEAD + "[variant]\n")


def test_a_frames_counter_still_protects_a_field_that_was_found_better() -> None:
    frame = '[[broadcast]]\nbus = "drive"\nid = "0x200"\ncounter = { byte = 8 }\nfields = [\n  { %s }\n]\n'
    text = HEAD + frame % 'signal = "engine.speed", byte = 3'
    after = with_addition(text, SPEED, "c.toml", instead=True)
    (listener,) = car_of(after).broadcasts
    assert listener.counter is not None
    assert feeds(car_of(after)) == {("drive", "0x200", 0, "engine.speed")}
    assert '# gave way:   { signal = "engine.speed", byte = 3 }' in after
