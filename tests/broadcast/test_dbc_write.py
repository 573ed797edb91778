"""DBC files that are written, read again by cantools and by our own import."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import cantools
import pytest

from underdash.broadcast.bits import place_of
from underdash.broadcast.dbc import Imported, import_dbc
from underdash.broadcast.dbc_write import write_dbc
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Counter, Field, Select
from underdash.contract.signals import Kind, Signal
from underdash.signals.catalogue import CATALOGUE
from underdash.wiring.assembly import choose_car, load_bundled

SPEED = Signal("vehicle.speed", "km/h", "speed over ground")
FIELDS = (
    Field("vehicle.speed", Bits(0, 16), scale=0.01, unavailable=((65535, 65535),)),
    Field("engine.torque", Bits(2, 12, 4, ByteOrder.LITTLE), Coding.SIGNED, offset=-5.0),
    Field("button.menu", Bits(7, 2, 5), values=((0, False), (2, True))),
)
PAGED = (
    Field("gearbox.oil_temperature", Bits(1), offset=-50.0, select=Select(Bits(0), (1,))),
    Field("axle.oil_temperature", Bits(1), offset=-50.0, select=Select(Bits(0), (2, 3))),
)


def read(text: str) -> Any:
    return cantools.database.load_string(text, "dbc", strict=True)


def test_cantools_decodes_what_was_written_as_it_was_described() -> None:
    text, _ = write_dbc([BroadcastListener("drive", 0x1B4, FIELDS, period_s=0.02)], {"vehicle.speed": SPEED})
    database = read(text)
    message = database.get_message_by_frame_id(0x1B4)
    assert (message.length, message.cycle_time) == (8, 20)
    decoded = database.decode_message(0x1B4, bytes.fromhex("2710F0FF00000020"))
    assert decoded["vehicle_speed"] == pytest.approx(100.0)
    assert decoded["engine_torque"] == pytest.approx(-1 - 5.0)
    assert str(decoded["button_menu"]) == "true"
    assert message.get_signal_by_name("vehicle_speed").unit == "km/h"


def test_what_a_multiplexer_selects_comes_back() -> None:
    text, problems = write_dbc([BroadcastListener("drive", 0x18DAF110, PAGED, True)], {})
    assert problems == []
    back = import_dbc(text, bus="drive", prefix="car")
    (frame,) = back.listeners
    assert (frame.id, frame.extended) == (0x18DAF110, True)
    found = {field.signal.rpartition(".")[2]: field for field in frame.fields}
    for field in PAGED:
        again = found[field.signal.replace(".", "_")]
        assert again.select is not None
        assert again.select.values == (field.select.values if field.select else ())
        assert (place_of(again.bits), again.offset) == (place_of(Bits(1, 8, again.bits.bit, again.bits.order)), -50.0)


def test_what_dbc_cannot_say_is_told() -> None:
    odd = (
        Field("a.text", Bits(0, 16), Coding.TEXT),
        Field("a.curve", Bits(2), points=((0, 1.0), (5, 1.2), (9, 2.0))),
        Field("a.deep", Bits(3), select=Select(Bits(4), (1,), Select(Bits(5), (1,)))),
        Field("a.odd", Bits(6, 8, 3), select=Select(Bits(6), (1,))),
        *FIELDS[:1],
    )
    text, problems = write_dbc([BroadcastListener("drive", 1, odd, checksum=Checksum("sum8", 7))], {})
    assert problems == [
        "a.text is left out: DBC has no text",
        "a.curve is left out: DBC has no curve of points",
        "a.deep is left out: a multiplexer within another is not written",
        "a.odd is left out: it lies on its own multiplexer",
        "001: its counter or checksum is left out",
    ]
    assert [signal.name for signal in read(text).messages[0].signals] == ["vehicle_speed"]


@pytest.mark.parametrize("car", ["tarn", "loris"])
def test_the_bundled_cars_come_back_bit_for_bit(car: str) -> None:
    description, _ = choose_car(car, load_bundled())
    for bus in description.buses:
        frames = [one for one in description.broadcasts if one.bus == bus.role]
        back = import_dbc(write_dbc(frames, {})[0], bus=bus.role, prefix="car")
        placed = {(one.id, one.extended, place_of(f.bits)) for one in back.listeners for f in one.fields}
        wanted = {(one.id, one.extended, place_of(f.bits)) for one in frames for f in one.fields}
        assert {(i, e, p.first, p.last, p.shift, p.length) for i, e, p in placed} >= {
            (i, e, p.first, p.last, p.shift, p.length) for i, e, p in wanted
        }


def test_long_and_equal_names_are_told_apart() -> None:
    name = "a." + "x" * 60
    fields = (Field(name, Bits(0)), Field("b." + "x" * 60, Bits(1)))
    text, _ = write_dbc([BroadcastListener("drive", 1, fields)], {})
    names = [signal.name for signal in read(text).messages[0].signals]
    assert len(set(names)) == 2
    assert all(len(one) <= 32 for one in names)


def test_buttons_in_one_field_become_its_values() -> None:
    pad = Bits(1, 2, 3)
    fields = [
        Field(f"button.{name}", pad, values=((0, False), (raw, True)))
        for name, raw in (("menu", 2), ("up", 3), ("down", 1))
    ]
    text, problems = write_dbc([BroadcastListener("drive", 0x3D1, (*fields, Field("a.b", Bits(0))))], {})
    assert problems == []
    found = read(text).get_message_by_name("F_3D1")
    assert {name: str(value) for name, value in found.decode(b"\x07\x08").items()} == {
        "menu_up_down": "menu",
        "a_b": "7",
    }
    assert found.get_signal_by_name("menu_up_down").comment == "button.menu, button.up, button.down"
    assert {raw: str(word) for raw, word in found.get_signal_by_name("menu_up_down").choices.items()} == {
        0: "released", 1: "down", 2: "menu", 3: "up",
    }  # fmt: skip


def test_a_field_on_another_ones_bits_is_left_out() -> None:
    fields = (Field("a.all", Bits(0)), Field("a.part", Bits(0, 2, 1)))
    text, problems = write_dbc([BroadcastListener("drive", 1, fields)], {})
    assert problems == ["a.part is left out: DBC has no bits for it and a.all both"]
    assert [signal.name for signal in read(text).messages[0].signals] == ["a_all"]


def test_of_fields_that_share_bits_the_one_that_shares_them_with_most_is_left_out() -> None:
    """Files of some makers have a signal for a whole group beside its parts."""
    fields = (Field("a.group", Bits(0, 24)), *(Field(f"a.part_{n}", Bits(n)) for n in range(3)))
    text, problems = write_dbc([BroadcastListener("drive", 1, fields)], {})
    assert problems == ["a.group is left out: DBC has no bits for it and a.part_0 both"]
    assert [signal.name for signal in read(text).messages[0].signals] == ["a_part_0", "a_part_1", "a_part_2"]


def test_a_multiplexer_that_is_a_signal_too_is_written_once() -> None:
    page = Bits(0, 4, 3)
    fields = (
        *(Field(f"a.value_{n}", Bits(1), select=Select(page, (n,))) for n in range(2)),
        Field("a.page", page),
        Field("a.upper", Bits(0, 4, 7)),
        Field("a.across", Bits(0, 8)),
    )
    text, problems = write_dbc([BroadcastListener("drive", 1, fields)], {})
    assert problems == ["a.across is left out: DBC has no bits for it and a.value_0 both"]
    message = read(text).messages[0]
    assert {one.name: one.is_multiplexer for one in message.signals} == {
        "a_page": True, "a_value_0": False, "a_value_1": False, "a_upper": False,
    }  # fmt: skip
    assert message.decode(b"\x51\x07") == {"a_page": 1, "a_value_1": 7, "a_upper": 5}


def test_multiplexers_that_share_bits_cost_the_later_ones_fields() -> None:
    fields = (
        Field("a.one", Bits(1), select=Select(Bits(0, 4, 3), (1,))),
        Field("a.other", Bits(2), select=Select(Bits(0, 8), (1,))),
    )
    text, problems = write_dbc([BroadcastListener("drive", 1, fields)], {})
    assert problems == ["a.other is left out: DBC has no bits for it and a.one both"]
    assert len(read(text).messages[0].signals) == 2


def test_names_of_a_car_come_back_as_they_were() -> None:
    names = ("car.door.open", "car.driver_assistance_display.road_sign_speed_limit", "car.x." + "long_" * 9 + "end")
    fields = [Field(name, Bits(n)) for n, name in enumerate(names)]
    known = {names[0]: Signal(names[0], "V", "how far it is open")}
    text, _ = write_dbc([BroadcastListener("drive", 1, tuple(fields))], known)
    assert [signal.name for signal in read(text).messages[0].signals][1] == "road_sign_speed_limit"
    back = import_dbc(text, bus="drive", prefix="car")
    assert sorted(one.name for one in back.signals) == sorted(names)
    assert {one.name: one.meaning for one in back.signals}[names[0]] == "how far it is open"


def back_again(fields: Sequence[Field]) -> Imported:
    text, problems = write_dbc([BroadcastListener("drive", 1, tuple(fields))], CATALOGUE)
    assert problems == []
    return import_dbc(text, bus="drive", prefix="car")


def test_signals_of_the_catalogue_come_back_with_their_unit_and_values() -> None:
    fields = (
        Field("vehicle.speed", Bits(0, 16), scale=0.01, unavailable=((65534, 65535),)),
        Field("engine.oil_temperature", Bits(2), offset=-40.0, unit="degF"),
        Field("vehicle.ignition", Bits(3, 2, 1), values=((0, "OFF"), (2, "ON"))),
        Field("vehicle.brake", Bits(3, 1, 2)),
        Field("button.menu", Bits(4, 2, 1), values=((0, False), (2, True))),
        Field("button.up", Bits(5, 2, 1), values=((0, False), (1, True))),
        Field("button.down", Bits(5, 2, 1), values=((0, False), (2, True))),
    )
    found = back_again(fields)
    assert found.signals == ()
    assert found.problems == ()
    back = {one.signal: one for one in found.listeners[0].fields}
    for one in fields:
        again = back.pop(one.signal)
        assert place_of(again.bits) == place_of(one.bits)
        assert replace(again, bits=one.bits) == one
    assert not back


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (f"vehicle.speed: {CATALOGUE['vehicle.speed'].meaning}", "vehicle.speed: of the left wheel"),
        ('"km/h"', '"bar"'),
        ('"km/h"', '"furlongs"'),
        ('"km/h"', '""'),
        ("SG_ vehicle_speed", "SG_ another"),
    ],
)
def test_what_no_longer_fits_the_catalogue_gets_a_name_of_the_car(before: str, after: str) -> None:
    text, _ = write_dbc([BroadcastListener("drive", 1, (Field("vehicle.speed", Bits(0), scale=2.0),))], CATALOGUE)
    assert before in text
    text = text.replace(before, after).replace(
        "CM_ SG_ 1 vehicle_speed", f"CM_ SG_ 1 {'another' if 'another' in after else 'vehicle_speed'}"
    )
    (field,) = import_dbc(text, bus="drive", prefix="car").listeners[0].fields
    assert field.signal.startswith("car.f_001.")


def test_a_switch_of_a_car_comes_back_as_one() -> None:
    text, _ = write_dbc(
        [BroadcastListener("drive", 1, (Field("car.door.open", Bits(0, 2, 1), values=((0, False), (2, True))),))], {}
    )
    found = import_dbc(text, bus="drive", prefix="car")
    assert [(one.name, one.kind) for one in found.signals] == [("car.door.open", Kind.SWITCH)]
    assert found.listeners[0].fields[0].values == ((0, False), (2, True))


def test_what_is_not_available_in_too_many_ways_is_told() -> None:
    field = Field("a.b", Bits(0, 16), scale=2.0, unavailable=((0xFB00, 0xFFFF),))
    _, problems = write_dbc([BroadcastListener("drive", 1, (field,))], {})
    assert problems == ["a.b: which raw numbers mean not available is left out"]


def test_a_curve_of_two_points_is_a_line() -> None:
    field = Field("dashboard.brightness", Bits(1, 4, 7), points=((0.0, 0.0), (15.0, 1.0)))
    text, problems = write_dbc([BroadcastListener("drive", 1, (field,))], {})
    assert problems == ["dashboard.brightness: that it stays at its ends is left out"]
    assert read(text).decode_message(1, b"\0\xf0") == {"dashboard_brightness": pytest.approx(1.0)}


def test_a_frame_is_as_long_as_its_counter_and_checksum_need() -> None:
    counter, checksum = Counter(Bits(6, 4, 3)), Checksum("sum8", 7)
    listener = BroadcastListener("drive", 1, FIELDS[:1], counter=counter, checksum=checksum)
    assert read(write_dbc([listener], {})[0]).messages[0].length == 8
