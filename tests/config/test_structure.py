from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated, Any, Literal

import pytest

from underdash import Limits
from underdash.config.mistakes import ConfigError, Mistakes, Source
from underdash.config.structure import INTERNAL, Structure, check_settings


class Side(StrEnum):
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True)
class Inner:
    count: Annotated[int, Limits(low=1, high=3, unit="pieces")]
    within: Inner | None = None


@dataclass(frozen=True)
class Settings:
    hold_s: Annotated[float, Limits(above=0.0, below=5.0, unit="s")] = 0.8
    text: str = ""
    on: bool = False
    side: Side = Side.LEFT
    level: Literal["low", "high"] = "low"
    pair: tuple[float, float] = (0.0, 1.0)
    names: tuple[str, ...] = ()
    numbers: list[int] = field(default_factory=list)
    table: dict[str, Inner] = field(default_factory=dict)
    maybe: float | None = None
    either: str | bool | float = ""
    raw: dict[str, Any] = field(default_factory=dict)
    own: str = field(default="kept", metadata=INTERNAL)

    def __post_init__(self) -> None:
        if self.text == "bad":
            raise ValueError("another text than 'bad'")


@dataclass(frozen=True)
class Needs:
    button: str


def settings(**table: object) -> Settings:
    return check_settings(Settings, table, Source("f.toml"), ("plugin", "boost"))


def mistake(**table: object) -> str:
    with pytest.raises(ConfigError) as caught:
        settings(**table)
    return "\n".join(str(m).removeprefix("plugin.boost.") for m in caught.value.mistakes)


def test_without_a_table_every_setting_has_its_default() -> None:
    assert settings() == Settings()


def test_every_type_is_made() -> None:
    made = settings(
        hold_s=1,
        side="right",
        level="high",
        pair=[1, 2.5],
        names=["a"],
        numbers=[1],
        table={"x": {"count": 2, "within": {"count": 1}}},
        maybe=2,
        either=True,
        raw={"any": [1, {}]},
    )

    assert made.hold_s == 1.0
    assert isinstance(made.hold_s, float)
    assert made.side is Side.RIGHT
    assert made.pair == (1.0, 2.5)
    assert made.table["x"].within == Inner(1)
    assert made.either is True
    assert made.raw == {"any": [1, {}]}


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"hold_s": 0}, "hold_s: found 0, allowed: more than 0 and less than 5 s"),
        ({"hold_s": 5.0}, "hold_s: found 5.0, allowed: more than 0 and less than 5 s"),
        ({"hold_s": "1"}, "hold_s: found '1', allowed: a number"),
        ({"hold_s": True}, "hold_s: found true, allowed: a number"),
        ({"hold_s": float("nan")}, "hold_s: found nan, allowed: a number"),
        ({"hold_s": 10**400}, "hold_s: found 1" + "0" * 56 + "..., allowed: a number"),
        ({"text": 1}, 'text: found 1, allowed: text in quotes ("...")'),
        ({"text": "bad"}, "plugin.boost: found text = 'bad', allowed: another text than 'bad'"),
        ({"on": 1}, "on: found 1, allowed: true or false"),
        ({"side": "lefft"}, "side: found 'lefft', allowed: one of \"left\", \"right\"; did you mean 'left'?"),
        ({"level": "hihg"}, "level: found 'hihg', allowed: one of \"low\", \"high\"; did you mean 'high'?"),
        ({"pair": [1]}, "pair: found a list of 1, allowed: a list of 2"),
        ({"names": "abc"}, "names: found 'abc', allowed: a list in brackets ([...])"),
        ({"names": ["a", 2]}, 'names#2: found 2, allowed: text in quotes ("...")'),
        ({"numbers": [1.5]}, "numbers#1: found 1.5, allowed: a whole number"),
        ({"table": []}, "table: found a list of 0, allowed: a table"),
        ({"table": {"x": 1}}, "table.x: found 1, allowed: a table"),
        ({"table": {"x": {}}}, "table.x.count: found nothing, allowed: this key must be there"),
        ({"table": {"x": {"count": 4}}}, "table.x.count: found 4, allowed: at least 1 and at most 3 pieces"),
        ({"table": {"x": {"count": 1, "within": {"count": 0}}}}, "table.x.within.count: found 0, allowed: at least 1"),
        ({"maybe": "a"}, "maybe: found 'a', allowed: a number"),
        ({"either": []}, 'either: found a list of 0, allowed: text in quotes ("...") or true or false or a number'),
        ({"hold_S": 1}, "hold_S: found 'hold_S', allowed: keys either, hold_s,"),
        ({"own": "x"}, "own: found 'own', allowed: keys"),
    ],
)
def test_every_kind_of_mistake_has_its_sentence(table: dict[str, object], says: str) -> None:
    assert mistake(**table).startswith(says)


def test_a_misspelt_key_gets_the_nearest_one() -> None:
    assert mistake(hold_seconds=1).endswith("did you mean 'hold_s'?")


def test_all_mistakes_of_a_table_come_at_once() -> None:
    said = mistake(hold_s=0, text=1, table={"x": {"count": 9}, "y": {"cuont": 1}}, extra=1).splitlines()

    assert [line.split(":")[0] for line in said] == [
        "extra", "hold_s", "table.x.count", "table.y.count", "table.y.cuont", "text",
    ]  # fmt: skip


def test_a_key_that_must_be_there_is_named() -> None:
    with pytest.raises(ConfigError, match=r"plugin\.wheel\.button: found nothing, allowed: this key must be there"):
        check_settings(Needs, {}, Source("f.toml"), ("plugin", "wheel"))


def test_a_class_that_raises_anything_becomes_a_mistake() -> None:
    @dataclass
    class Odd:
        def __post_init__(self) -> None:
            raise RuntimeError("out of paint")

    mistakes = Mistakes(Source())
    assert Structure(mistakes).make(Odd, {}) is None
    assert mistakes.found[0].allowed == "out of paint"


def test_a_type_that_no_file_can_hold_is_named_and_only_where_somebody_writes_it() -> None:
    @dataclass(frozen=True)
    class Strange:
        place: bytes = b""
        count: int = 0

    mistakes = Mistakes(Source())
    assert Structure(mistakes).make(Strange, {"count": 2}) == Strange(count=2)
    assert Structure(mistakes).make(Strange, {"place": "here", "count": 2}) is None
    (found,) = mistakes.found
    assert str(found) == "place: found 'here', allowed: nothing, as a bytes cannot be read from a file; tell its author"
