from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.controller import Controller
from underdash.switching.orders import Mode, Order, SwitchError, commands, read, spell

LISTENS = Controller("can0", 7, "can", up=True, bitrate=500_000, listen_only=True, may_listen_only=True)
ACTIVE = replace(LISTENS, listen_only=False)
SET = ("link", "set", "dev", "can0")
DOWN, UP = (*SET, "down"), (*SET, "up")


def test_an_order_survives_its_spelling() -> None:
    for order in (Order("drive", Mode.LISTEN, 250_000), Order("drive", None), Order("comfort", Mode.ONE_SHOT)):
        assert read(spell(order)) == order


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"listen",
        b"[]",
        b'{"bus": "drive"}',
        b'{"bus": "drive", "mode": "loud", "bitrate": null}',
        b'{"bus": 1, "mode": null, "bitrate": null}',
        b'{"bus": "drive", "mode": "listen", "bitrate": true}',
        b'{"bus": "drive", "mode": "listen", "bitrate": null, "also": 1}',
    ],
)
def test_what_is_no_order_is_refused(line: bytes) -> None:
    with pytest.raises(SwitchError, match="an order"):
        read(line)


def test_an_interface_is_switched_while_it_is_down() -> None:
    assert commands(Order("drive", Mode.ACTIVE), LISTENS, 500_000) == (
        DOWN,
        (*SET, "type", "can", "listen-only", "off"),
        UP,
    )
    assert commands(Order("drive", Mode.LISTEN), ACTIVE, None)[1] == (*SET, "type", "can", "listen-only", "on")
    assert commands(Order("drive", Mode.LISTEN, 125_000), LISTENS, None)[1] == (
        *SET,
        "type",
        "can",
        "bitrate",
        "125000",
    )


def test_a_driver_hears_only_of_modes_that_change() -> None:
    # one that has no one-shot mode refuses the whole change where it is named, even to switch it off
    steps = commands(Order("port", Mode.ONE_SHOT), LISTENS, 500_000)
    assert steps[1][6:] == ("listen-only", "off", "one-shot", "on")
    assert commands(Order("port", Mode.ACTIVE), replace(ACTIVE, one_shot=True), 500_000)[1][6:] == ("one-shot", "off")


def test_emptying_the_queue_changes_nothing_else() -> None:
    assert commands(Order("drive", None), ACTIVE, None) == (DOWN, UP)


@pytest.mark.parametrize(
    ("order", "setup", "configured", "said"),
    [
        (Order("drive", Mode.ACTIVE), LISTENS, None, "bitrate = 500000"),
        (Order("drive", Mode.ACTIVE), LISTENS, 250_000, "not at 500000"),
        (Order("drive", Mode.ACTIVE, 250_000), LISTENS, 500_000, "not at 250000"),
        (Order("drive", Mode.ONE_SHOT), LISTENS, None, "says no bitrate"),
        (Order("drive", Mode.LISTEN, 123), LISTENS, 500_000, "no rate to listen at"),
        (Order("drive", Mode.LISTEN), replace(ACTIVE, may_listen_only=False), 500_000, "cannot listen only"),
        (Order("drive", Mode.ONE_SHOT), replace(LISTENS, may_one_shot=False), 500_000, "no one-shot mode"),
        (Order("drive", Mode.LISTEN), replace(LISTENS, kind="vcan"), 500_000, "nothing to switch"),
        (Order("drive", None), replace(LISTENS, kind=""), 500_000, "nothing to switch"),
    ],
)
def test_what_may_not_be_is_refused_with_the_reason(
    order: Order, setup: Controller, configured: int | None, said: str
) -> None:
    with pytest.raises(SwitchError, match=said):
        commands(order, setup, configured)


@given(
    st.builds(Order, st.just("drive"), st.sampled_from(Mode), st.none() | st.integers(1, 2_000_000)),
    st.builds(
        Controller,
        st.just("can0"),
        st.just(7),
        st.just("can"),
        bitrate=st.none() | st.sampled_from([125_000, 500_000]),
        listen_only=st.booleans(),
        one_shot=st.booleans(),
    ),
    st.none() | st.just(500_000),
)
def test_nothing_takes_part_but_at_the_configured_rate(order: Order, setup: Controller, configured: int | None) -> None:
    try:
        steps = commands(order, setup, configured)
    except SwitchError:
        return
    words = [word for step in steps for word in step]
    if order.mode is Mode.LISTEN:
        assert "off" not in words or words[words.index("off") - 1] != "listen-only"
        assert setup.listen_only or ("listen-only", "on") in itertools.pairwise(words)
    else:
        assert configured == (order.bitrate or setup.bitrate)
