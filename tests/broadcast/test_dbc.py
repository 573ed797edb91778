from __future__ import annotations

import sys
from math import isfinite
from typing import Any

import cantools
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.broadcast import dbc_parse
from underdash.broadcast.dbc import Imported, import_dbc
from underdash.broadcast.dbc_names import means_no_quantity, means_not_available, ranges, snake_case, unit_of
from underdash.broadcast.decoder import compile_listener
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Bits, ByteOrder, Coding, Field, Select
from underdash.contract.signals import Kind
from underdash.signals.store import Slot

RELAXED = settings(deadline=None)

SOUND = """VERSION ""
NS_ :
BS_:
BU_: Engine
BO_ 180 WheelSpeed: 8 Engine
 SG_ SpeedFL : 47|16@0+ (0.01,0) [0|0] "kph" Engine
 SG_ Temp_Out : 8|12@1- (0.5,-40) [0|0] "degC" Engine
 SG_ Gear : 24|3@1+ (1,0) [0|7] "" Engine
 SG_ Lamp : 31|1@0+ (1,0) [0|1] "" Engine
BO_ 2364540158 Turns: 8 Engine
 SG_ Page M : 0|8@1+ (1,0) [0|0] "" Engine
 SG_ Torque m1 : 8|16@1+ (0.1,0) [0|0] "Nm" Engine
 SG_ Sub m2M : 8|8@1+ (1,0) [0|0] "" Engine
 SG_ Deep m7 : 16|32@1- (1,0) [0|0] "furlong" Engine
CM_ SG_ 180 SpeedFL "Front
 left wheel";
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_ "GenMsgCycleTime" BO_ 180 20;
VAL_ 180 Gear 0 "P" 1 "R" 2 "D" 3 "D" ;
VAL_ 180 Temp_Out 4095 "none" ;
SIG_VALTYPE_ 2364540158 Deep : 1;
SG_MUL_VAL_ 2364540158 Torque Page 1-1;
SG_MUL_VAL_ 2364540158 Sub Page 2-2;
SG_MUL_VAL_ 2364540158 Deep Sub 7-7;
"""


def take(text: str) -> Imported:
    return import_dbc(text, bus="drive", prefix="car")


def lost(found: Imported) -> dict[int, str]:
    return {problem.line: problem.what for problem in found.problems if problem.lost}


def fields(found: Imported) -> dict[str, Field]:
    return {field.signal: field for listener in found.listeners for field in listener.fields}


def test_messages_become_listeners_and_signals_get_snake_case_names() -> None:
    found = take(SOUND)
    wheel, turns = found.listeners
    assert (wheel.bus, wheel.id, wheel.extended, wheel.period_s) == ("drive", 180, False, 0.02)
    assert (turns.id, turns.extended, turns.period_s) == (0xCF0_04FE, True, None)
    assert fields(found)["car.wheel_speed.speed_fl"] == Field("car.wheel_speed.speed_fl", Bits(5, 16, 7), scale=0.01)
    assert fields(found)["car.wheel_speed.temp_out"] == Field(
        "car.wheel_speed.temp_out", Bits(1, 12, 0, ByteOrder.LITTLE), Coding.SIGNED, 0.5, -40.0
    )


def test_signals_carry_unit_kind_choices_and_meaning() -> None:
    signals = {signal.name: signal for signal in take(SOUND).signals}
    speed = signals["car.wheel_speed.speed_fl"]
    assert (speed.unit, speed.kind, speed.meaning) == ("km/h", Kind.NUMBER, "Front left wheel")
    gear = signals["car.wheel_speed.gear"]
    assert (gear.kind, gear.choices) == (Kind.CHOICE, ("P", "R", "D"))
    assert signals["car.wheel_speed.lamp"].kind is Kind.SWITCH
    assert signals["car.turns.deep"].meaning == "Deep of Turns (in furlong)"


def test_multiplexers_and_floats_are_taken_over() -> None:
    found = fields(take(SOUND))
    page = Bits(0, 8, 0, ByteOrder.LITTLE)
    sub = Bits(1, 8, 0, ByteOrder.LITTLE)
    assert found["car.turns.torque"].select == Select(page, (1,))
    assert found["car.turns.deep"].select == Select(sub, (7,), Select(page, (2,)))
    assert found["car.turns.deep"].coding is Coding.FLOAT


def test_a_sound_file_only_loses_labels_that_have_no_place() -> None:
    assert lost(take(SOUND)) == {21: "Temp_Out is a number with a scale or unit; its labels are not used"}


@pytest.mark.parametrize("broken", [5, 6, 7, 8, 9, 10, 11, 12, 13, 14])
def test_a_broken_line_costs_that_line_and_what_hangs_on_it(broken: int) -> None:
    lines = SOUND.splitlines()
    sound = take(SOUND)
    lines[broken - 1] = lines[broken - 1].replace(": ", ":: ", 1)
    found = take("\n".join(lines))
    missing = {name.rsplit(".", 1)[1] for name in fields(sound)} - {name.rsplit(".", 1)[1] for name in fields(found)}
    told = lost(found)
    assert broken in told
    hanging = {5: 4, 10: 4, 11: 4, 13: 2}.get(broken, 1)
    assert len(missing) == hanging, (missing, told)
    for name in missing:
        (line,) = [
            n
            for n, text in enumerate(lines, 1)
            if text.lower().replace("_", "").startswith(f" sg {name.replace('_', '')} ")
        ]
        assert line in told, (line, told)


def test_no_line_of_a_broken_file_is_lost_silently() -> None:
    text = """BO_ 1073741824 TooLarge: 8 X
 SG_ Unreachable : 0|8@1+ (1,0) [0|0] "" X
BO_ 1 Good: 8 X
 SG_ NoLength : 0|0@1+ (1,0) [0|0] "" X
 SG_ NoScale : 0|8@1+ (0,0) [0|0] "" X
 SG_ Fine : 8|8@1+ (1,0) [0|0] "V" X
 SG_ NoQuote : 16|8@1+ (1,0) [0|0] X
 SG_ Far : 64|8@1+ (1,0) [0|0] "" X
 SG_ Orphan m1 : 24|8@1+ (1,0) [0|0] "" X
what is this
VAL_ 1 Nothing 1 "a" ;
VAL_ 9 Fine 1 "a" ;
CM_ 145 "not a comment's syntax";
BA_ "Undefined" BO_ 1 5;
"""
    found = take(text)
    assert list(fields(found)) == ["car.good.fine"]
    assert set(lost(found)) == {1, 2, 4, 5, 7, 8, 9, 10, 11, 12, 13, 14}
    told = "\n".join(map(str, found.problems))
    assert "line 1: Standard frame id 0x40000000 is more than 11 bits in message TooLarge. (left out)" in told
    assert "line 2: its message in line 1 cannot be read (left out)" in told
    assert "line 10: invalid syntax from column 1 on, at 'what is this' (left out)" in told
    assert "line 11: message 1 has no signal Nothing (left out)" in told


def test_multiplexers_that_select_each_other_are_refused() -> None:
    text = """BO_ 1 M: 8 X
 SG_ A m1M : 0|8@1+ (1,0) [0|0] "V" X
 SG_ B m1M : 8|8@1+ (1,0) [0|0] "V" X
SG_MUL_VAL_ 1 A B 1-1;
SG_MUL_VAL_ 1 B A 1-1;
"""
    assert fields(take(text)) == {}
    assert {2, 3} <= set(lost(take(text)))


def test_signals_that_overlap_are_both_taken_and_told() -> None:
    text = 'BO_ 1 M: 8 X\n SG_ A : 0|12@1+ (1,0) [0|0] "" X\n SG_ B : 15|12@0+ (1,0) [0|0] "" X\n'
    found = take(text)
    assert list(fields(found)) == ["car.m.a", "car.m.b"]
    assert [(p.line, p.what) for p in found.problems if "share" in p.what] == [
        (3, "car.m.a and car.m.b share bits; both are taken")
    ]


def test_a_signal_beyond_its_message_is_read_from_frames_that_are_long_enough() -> None:
    found = take('BO_ 1 M: 2 X\n SG_ A : 0|8@1+ (1,0) [0|0] "V" X\n SG_ B : 16|8@1+ (1,0) [0|0] "V" X\n')
    (listener,) = found.listeners
    assert listener.shortest == 2
    slots = {signal.name: Slot(signal, "", 0, None, False) for signal in found.signals}
    made = compile_listener(listener, slots)
    made.handle(b"\1\2", 1.0)
    assert [slot.value for slot in slots.values()] == [1.0, None]
    made.handle(b"\1\2\3", 1.0)
    assert [slot.value for slot in slots.values()] == [1.0, 3.0]


def test_names_that_collide_are_numbered_and_told() -> None:
    text = 'BO_ 1 M: 8 X\n SG_ AbC : 0|8@1+ (1,0) [0|0] "" X\n SG_ ab_c : 8|8@1+ (1,0) [0|0] "" X\n'
    found = take(text + text.replace("BO_ 1", "BO_ 2"))
    assert list(fields(found)) == ["car.m.ab_c", "car.m.ab_c_2", "car.m.ab_c_3", "car.m.ab_c_4"]
    assert len(found.listeners) == 2
    assert sum("is taken already" in problem.what for problem in found.problems) == 3


def test_ids_of_29_bits_without_the_bit_that_says_so_are_taken_for_such() -> None:
    """Many a file made by hand has them so; as an id of 11 bits it would cost the whole message."""
    found = take(
        """BO_ 274923520 Gear: 8 X
 SG_ Lever : 0|4@1+ (1,0) [0|0] "" X
CM_ SG_ 274923520 Lever "where the lever is";
VAL_ 274923520 Lever 0 "P" 1 "R" ;
BO_ 180 Other: 8 X
 SG_ Fine : 0|8@1+ (1,0) [0|0] "V" X
"""
    )
    assert [(one.id, one.extended) for one in found.listeners] == [(0x10630000, True), (180, False)]
    assert found.signals[0].meaning == "where the lever is"
    assert found.signals[0].choices == ("P", "R")
    assert [str(problem) for problem in found.problems] == [
        "line 1: its id 10630000 takes 29 bits, which bit 31 of 274923520 should say; it is taken for one of 29 bits"
    ]


def test_where_each_raw_number_has_a_label_a_unit_makes_it_no_number() -> None:
    found = take(
        """BO_ 1 Door: 8 X
 SG_ State : 0|2@1+ (1,0) [0|3] "SED" X
 SG_ Speed : 8|8@1+ (1,0) [0|255] "km/h" X
VAL_ 1 State 0 "shut" 1 "ajar" 2 "open" 3 "unknown" ;
VAL_ 1 Speed 255 "none" ;
"""
    )
    state, speed = found.signals
    assert (state.kind, state.unit, state.choices) == (Kind.CHOICE, "", ("shut", "ajar", "open", "unknown"))
    assert (speed.kind, speed.unit) == (Kind.NUMBER, "km/h")
    assert lost(found) == {5: "Speed is a number with a scale or unit; its labels are not used"}


def test_labels_that_say_that_there_is_no_value_are_taken_for_that() -> None:
    found = take(
        """BO_ 1 Engine: 8 X
 SG_ Oil : 0|8@1+ (1,-40) [0|0] "degC" X
 SG_ Fuel : 8|8@1- (0.5,0) [0|0] "%" X
 SG_ Count : 16|8@1+ (1,0) [0|0] "" X
 SG_ Lever : 24|2@1+ (1,0) [0|0] "" X
 SG_ State : 32|4@1+ (1,0) [0|0] "" X
VAL_ 1 Oil 255 "SNA" 254 "Signal invalid" ;
VAL_ 1 Fuel -128 "not available" 0 "empty" 255 "Error" ;
VAL_ 1 Count 255 "NotAvailable" ;
VAL_ 1 Lever 0 "rest" 1 "up" 2 "down" 3 "SNA" ;
VAL_ 1 State 1 "fault" ;
"""
    )
    taken = fields(found)
    assert taken["car.engine.oil"].unavailable == ((254, 255),)
    assert taken["car.engine.fuel"].unavailable == ((-128, -128),)
    assert taken["car.engine.count"].unavailable == ((255, 255),)
    assert taken["car.engine.lever"].values == ((0, "rest"), (1, "up"), (2, "down"), (3, "SNA"))
    assert [one.kind for one in found.signals] == [Kind.NUMBER, Kind.NUMBER, Kind.NUMBER, Kind.CHOICE, Kind.CHOICE]
    assert taken["car.engine.state"].values == ((1, "fault"),), "a fault alone is a state"
    assert lost(found) == {8: "Fuel is a number with a scale or unit; its other labels are not used"}
    assert [problem.what for problem in found.problems if not problem.lost] == [
        "car.engine.fuel: its bits cannot hold 255, so the labels of these are not used"
    ]


@pytest.mark.parametrize("label", ["SNA", "N/A", "Signal not available", "INVALID", "Error indicator", "invalid_2"])
def test_words_for_no_value(label: str) -> None:
    assert means_no_quantity(label)


@pytest.mark.parametrize("label", ["none", "off", "Fault lamp", "navigation", "no fault", "available", "", "data"])
def test_words_that_may_be_a_value(label: str) -> None:
    assert not means_no_quantity(label)
    assert not means_not_available(label)


def test_ranges_and_units() -> None:
    assert ranges([9, 1, 3, 2]) == ((1, 3), (9, 9))
    assert [unit_of(text) for text in ("kW", "KPH", " degC ", "furlong", "", None)] == [
        "kW",
        "km/h",
        "degC",
        None,
        None,
        None,
    ]


def test_an_id_is_told_as_the_file_has_it() -> None:
    """The bit that says 29 bits is added where the file forgot it; a person would look for that number in vain."""
    found = take(
        """BO_ 180 Other: 8 X
 SG_ Fine : 0|8@1+ (1,0) [0|0] "V" X
BO_ 274923520 Wide: 8 X
 SG_ Fine : 0|8@1+ (1,0) [0|0] "V" X
CM_ SG_ 274923521 Gone "nobody sends it";
CM_ SG_ 274923520 Gone "not in it";
"""
    )
    assert lost(found) == {5: "there is no message 274923521", 6: "message 274923520 has no signal Gone"}


def test_a_mistake_among_many_definitions_is_found_by_halves(monkeypatch: pytest.MonkeyPatch) -> None:
    """One by one, each with all before it, a large file took minutes."""
    loads = 0
    refusal = dbc_parse._refusal

    def counted(text: str, *, strict: bool = False) -> tuple[int, str] | None:
        nonlocal loads
        loads += 1
        return refusal(text, strict=strict)

    monkeypatch.setattr(dbc_parse, "_refusal", counted)
    many = "".join(f'VAL_TABLE_ Table{n} 0 "off" 1 "on" ;\nBA_DEF_ BO_ "Number{n}" INT 0 9;\n' for n in range(100))
    found = take("BO_ 1 Good: 8 X\n" + ' SG_ Fine : 8|8@1+ (1,0) [0|0] "V" X\n' + many + "VAL_TABLE_ Broken 0 off ;\n")
    assert list(fields(found)) == ["car.good.fine"]
    assert list(lost(found)) == [203]
    assert loads < 30


def test_messages_without_signals_and_empty_files_are_told() -> None:
    assert [str(p) for p in take("BO_ 1 M: 8 X\n").problems] == ["line 1: message M has no signals"]
    (problem,) = take("").problems
    assert "refused" in str(problem)


@RELAXED
@given(st.text(alphabet='BOSG_CM VAL:|@+-()[]",;0123456789\nabm', max_size=200))
def test_no_text_makes_the_import_raise(text: str) -> None:
    take(text)
    take(SOUND[: len(text) * 4] + text + SOUND[len(text) * 4 :])


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("VehSpd", "veh_spd"),
        ("AX_Trl_LampInfo", "ax_trl_lamp_info"),
        ("UNK_07F", "unk_07f"),
        ("ABSActive2", "abs_active2"),
        ("x", "x"),
        ("___", "unnamed"),
    ],
)
def test_names_become_snake_case(name: str, expected: str) -> None:
    assert snake_case(name) == expected


def test_without_cantools_the_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cantools", None)
    with pytest.raises(UnderdashError, match=r"underdash\[dbc\]"):
        take(SOUND)


MULTIPLEXED = st.tuples(st.sampled_from([1, 2, 2, 3]), st.sampled_from([7, 7, 8]), st.binary(min_size=6, max_size=6))


@RELAXED
@given(st.binary(min_size=8, max_size=8) | MULTIPLEXED.map(lambda part: bytes(part[:2]) + part[2]))
def test_every_signal_equals_what_cantools_decodes(data: bytes) -> None:
    found = take(SOUND)
    database: Any = cantools.database.load_string(SOUND, "dbc")
    for listener in found.listeners:
        slots = {signal.name: Slot(signal, "", 0, None, False) for signal in found.signals}
        compile_listener(listener, slots).handle(data, 1.0)
        ours = {name.rsplit(".", 1)[1]: slot.value for name, slot in slots.items() if slot.value is not None}
        try:
            theirs = database.get_message_by_frame_id(listener.id).decode(data)
        except cantools.database.errors.DecodeError:
            # cantools refuses a frame whose multiplexer selects nothing; of such a frame the multiplexer itself is read
            assert set(ours) <= {"page", "sub"}
            continue
        for name, value in theirs.items():
            if isinstance(value, float) and not isfinite(value):
                assert snake_case(name) not in ours
            elif name == "Gear" and isinstance(value, int):
                assert "gear" not in ours  # a number without a label is no choice
            else:
                label = isinstance(value, cantools.database.namedsignalvalue.NamedSignalValue)
                number = value.value * 0.5 - 40 if name == "Temp_Out" and label else value
                assert ours.pop(snake_case(name)) == (str(value) if name == "Gear" else number)
        assert ours == {}


@pytest.mark.parametrize(
    ("line", "what"),
    [
        (
            ' SG_ Far : 99999999|8@1+ (1,0) [0|0] "" X',
            "signal Far: it lies beyond the 1785 bytes of the longest message",
        ),
        (' SG_ Long : 0|99999999@1+ (1,0) [0|0] "" X', "signal Long: it lies beyond the 1785 bytes"),
        ("BO_ 8 Vast: 99999999 X", "its length is 99999999 bytes; 1785 are the longest there are"),
        ("SG_MUL_VAL_ 7 Good Good 0-4294967295;", "0 to 4294967295 are more than 65536 values of a multiplexer"),
        (' SG_ Inf : 8|8@1+ (1e400,0) [0|0] "" X', "signal Inf: its scale inf and offset 0 are no numbers up to 1e+12"),
        (' SG_ High : 8|8@1+ (1,1e308) [0|0] "" X', "signal High: its scale 1 and offset 1e+308 are no numbers"),
    ],
)
def test_what_would_be_worked_at_for_ever_costs_its_line_only(line: str, what: str) -> None:
    text = f'VERSION ""\nBU_: X\nBO_ 7 M: 8 X\n SG_ Good : 0|8@1+ (1,0) [0|0] "" X\n{line}\n'
    imported = import_dbc(text, bus="drive", prefix="car")
    assert [field.signal for one in imported.listeners for field in one.fields] == ["car.m.good"]
    assert any(problem.line == 5 and problem.lost and what in problem.what for problem in imported.problems)


def test_a_file_that_is_whole_gives_the_same_as_its_messages_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    text = (
        'VERSION ""\nBU_: X Y\nBO_ 7 M: 8 X\n SG_ A M : 0|8@1+ (0.5,-40) [0|0] "degC" Y\n'
        ' SG_ B m1 : 15|16@0- (1,0) [0|0] "" Y\nBO_ 2147483656 N: 8 X\n SG_ C : 0|2@1+ (1,0) [0|0] "" Y\n'
        'CM_ SG_ 7 A "warm";\nVAL_ 2147483656 C 0 "off" 1 "on";\n'
    )
    whole = import_dbc(text, bus="drive", prefix="car")
    monkeypatch.setattr("underdash.broadcast.dbc_parse._by_id", lambda messages: {})
    assert import_dbc(text, bus="drive", prefix="car") == whole
    assert len(whole.listeners) == 2
    assert whole.problems == ()
