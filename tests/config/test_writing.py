"""What is written into a description stands beside what was there, which stays as it is."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.config.cars import make_car, read_car
from underdash.config.mistakes import ConfigError, Source
from underdash.config.writing import Addition, block, value_text, with_addition, with_lines
from underdash.contract.cars import CarDescription
from underdash.contract.errors import GivenError
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Field
from underdash.contract.signals import Signal

CARS = [
    *sorted((Path(__file__).parents[2] / "config" / "cars").glob("*.toml")),
    *sorted((Path(__file__).parents[2] / "plugins").glob("*/underdash_*/*.toml")),
]
POLL = '[[poll]]\nunit = "engine"\nprotocol = "service_01"\nidentifier = "0C"\n'
SAID = {"found_by": "find pressed", "checked_by": "5 of 5 presses", "trace": "ab" * 32}
HEAD = 'format = 1\nname = "c"\ntitle = "C"\ncounting = "from 1"\n[bus.drive]\nbitrate = 500_000\n'
FRAME = """\
[[broadcast]] # the engine
bus = "drive"
id = "0x100"
{fields}# afterwards

# next
[buttons]
set = "driving"
"""
ROWS = 'fields = [\n  { signal = "engine.speed", byte = 1 }  # rpm, not [1]\n]\n'
MENU = BroadcastListener("drive", 0x100, (Field("button.menu", Bits(3, 2, 5), values=((0, False), (2, True))),))


def car_of(text: str, path: Path = Path("car.toml")) -> CarDescription:
    table = tomllib.loads(text)
    return make_car(table, Source(), path.parent, variant=next(iter(table.get("variant", {})), None))


def feeds(car: CarDescription) -> dict[str, list[Bits]]:
    found: dict[str, list[Bits]] = {}
    for listener in car.broadcasts:
        for one in listener.fields:
            found.setdefault(one.signal, []).append(one.bits)
    return found


@pytest.mark.parametrize("path", CARS, ids=lambda path: path.stem)
def test_every_line_of_the_shipped_cars_stays_and_what_was_added_is_read(path: Path) -> None:
    text = path.read_text()
    before = car_of(text, path)
    bus = before.buses[0].role
    frames = [(bus, 0x6F1, False), *((b.bus, b.id, b.extended) for b in before.broadcasts)]
    for role, can_id, extended in frames:
        addition = Addition(BroadcastListener(role, can_id, (Field("car.found", Bits(0, 1, 0)),), extended), SAID)
        after = with_addition(text, addition, str(path))
        lines = iter(after.splitlines())
        assert all(line in lines for line in text.splitlines()), "a line is gone"
        expected = feeds(before) | {"car.found": [Bits(0, 1, 0, ByteOrder.LITTLE)]}
        assert feeds(car_of(after, path)) == expected


def test_a_field_joins_those_of_its_frame() -> None:
    text = with_addition(HEAD + FRAME.format(fields=ROWS), Addition(MENU, SAID, buttons={"menu": "comfort"}), "c.toml")
    assert text.splitlines()[6:16] == [
        "[[broadcast]] # the engine",
        'bus = "drive"',
        'id = "0x100"',
        "fields = [",
        '  { signal = "engine.speed", byte = 1 },  # rpm, not [1]',
        '  { signal = "button.menu", byte = 4, bits = [4, 5], values = { 0 = false, 2 = true }, '
        f'found_by = "find pressed", checked_by = "5 of 5 presses", trace = "{"ab" * 32}" }},',
        "]",
        "# afterwards",
        "",
        "# next",
    ]
    assert text.splitlines()[16:] == ["[buttons]", 'menu = "comfort"', 'set = "driving"']


def test_fields_on_one_line_are_left_alone_and_the_new_one_has_an_entry_of_its_own() -> None:
    one_line = 'fields = [{ signal = "engine.speed", byte = 1 }]\n'
    text = with_addition(HEAD + FRAME.format(fields=one_line), Addition(MENU), "c.toml")
    assert one_line in text
    assert text.count("[[broadcast]]") == 2
    assert feeds(car_of(text)).keys() == {"engine.speed", "button.menu"}


def test_a_signal_that_is_read_already_is_refused_unless_it_shall_give_way() -> None:
    text = HEAD + FRAME.format(fields=ROWS)
    other = Addition(BroadcastListener("drive", 0x200, (Field("engine.speed", Bits(0)),)))
    with pytest.raises(GivenError, match=r"c\.toml: engine\.speed is read from drive 0x100 already; say --instead"):
        with_addition(text, other, "c.toml")
    changed = with_addition(text, other, "c.toml", instead=True)
    assert feeds(car_of(changed)) == {"engine.speed": [Bits(0)]}
    assert '# gave way:   { signal = "engine.speed", byte = 1 }  # rpm, not [1]' in changed
    both = text.replace("]\n#", '  , { signal = "engine.load", byte = 2 },\n]\n#').replace("  # rpm, not [1]", "")
    kept = with_addition(both.replace("\n  , {", ",\n  {"), other, "c.toml", instead=True)
    assert feeds(car_of(kept)) == {"engine.speed": [Bits(0)], "engine.load": [Bits(1)]}
    crowded = HEAD + FRAME.format(
        fields='fields = [{ signal = "engine.speed", byte = 1 }, { signal = "a", byte = 2 }]\n'
    )
    with pytest.raises(GivenError, match=r"engine\.speed of drive 0x100 shares its line with others"):
        with_addition(crowded, other, "c.toml", instead=True)


def test_signals_ignition_and_buttons_come_along_once() -> None:
    own = Signal("car.fan", "%", 'the "fan"')
    addition = Addition(
        BroadcastListener("drive", 0x200, (Field("car.fan", Bits(0)),), period_s=0.1),
        signals=(own,),
        ignition={"signal": "vehicle.ignition", "on": ["ON"], "off": ["OFF"]},
        buttons={"ok": "comfort"},
    )
    first = with_addition(HEAD, addition, "c.toml")
    again = with_addition(first, addition, "c.toml", instead=True)
    for text in (first, again):
        car = car_of(text)
        assert car.signals == (own,)
        assert dict(car.buttons) == {"ok": "comfort"}
    assert car_of(first).ignition[0].on == ("ON",)


def test_a_file_with_mistakes_is_left_alone() -> None:
    with pytest.raises(ConfigError, match="no TOML"):
        with_addition("format = = 1", Addition(MENU), "c.toml")
    beyond = Addition(BroadcastListener("drve", 0x100, MENU.fields))
    with pytest.raises(ConfigError, match="allowed: buses of this file"):
        with_addition(HEAD, beyond, "c.toml")


@given(
    st.recursive(
        st.booleans()
        | st.integers(-(2**53), 2**53)
        | st.floats(allow_nan=False)
        | st.text(st.characters(exclude_categories=["Cs"])),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text('ab-_ .é"', min_size=1), inner, max_size=3),
        max_leaves=6,
    )
)
def test_what_is_written_is_toml(value: object) -> None:
    """Source: the standard library's reader of TOML 1.0."""
    assert tomllib.loads(f"it = {value_text(value)}") == {"it": value}


def test_a_block_has_a_line_a_key() -> None:
    assert block("[a]", {"b": 1.5, "c d": "x"}) == ["[a]", "b = 1.5", '"c d" = "x"']


def test_the_file_can_be_read_where_it_is(tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text(with_addition(HEAD, Addition(MENU), str(path)))
    assert feeds(read_car(path)).keys() == {"button.menu"}


LINES = [
    "[unit.engine]",
    'bus = "drive"',
    'request = "7E0"',
    'response = "7E8"',
    "",
    "# seen twice",
    *POLL.splitlines(),
]


@pytest.mark.parametrize("end", ["\n", "\r\n", ""])
def test_whole_tables_go_to_the_end(end: str) -> None:
    before = HEAD.replace('"from 1"', '"from 0"').rstrip("\n").replace("\n", end or "\n") + end
    text = with_lines(before, LINES, "c.toml")
    assert text.startswith(before.rstrip("\r\n"))
    assert "# seen twice" in text
    assert [unit.name for unit in car_of(text).units] == ["engine"]
    assert ("\r\n" in text) == (end == "\r\n")


def test_tables_that_are_there_already_or_count_otherwise_are_refused() -> None:
    plain = HEAD.replace('"from 1"', '"from 0"')
    once = with_lines(plain, LINES, "c.toml")
    with pytest.raises(GivenError, match=r"c\.toml has \[unit\.engine\] already"):
        with_lines(once, LINES, "c.toml")
    with pytest.raises(GivenError, match=r"counts bytes from 1, and these lines from 0; put them in by hand:\n\[unit"):
        with_lines(HEAD, LINES, "c.toml")
    with pytest.raises(ConfigError, match="allowed: buses of this file"):
        with_lines(plain, [line.replace("drive", "drve") for line in LINES], "c.toml")
