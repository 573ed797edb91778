"""Declared inputs get a slot each; one with a mistake is left out and named."""

from __future__ import annotations

import pytest

from underdash.contract.sources import Input, InputKind
from underdash.inputs.compiling import Named, compile_inputs
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Rank, Store

NIGHT = Input("dashboard.night", InputKind.GPIO, "GPIO27")


def test_an_input_is_a_source_behind_frames_and_requests() -> None:
    store = Store(CATALOGUE)
    made = compile_inputs([Named("lights", NIGHT)], store, CATALOGUE)
    assert made.problems == []
    assert [(slot.source, slot.rank) for slot in store.slots("dashboard.night")] == [("input lights", Rank.INPUT)]


def test_another_line_or_level_of_the_key_is_another_witness() -> None:
    store = Store(CATALOGUE)
    keys = [Input("vehicle.ignition", InputKind.GPIO, "GPIO17", inverted=low) for low in (False, True)]
    made = compile_inputs([Named("key", keys[0]), Named("key", keys[1])], store, CATALOGUE)
    assert [wire.slot.source for wire in made.wires] == ["input key on GPIO17", "input key on low GPIO17"]


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (Input("dashboard.nigth", InputKind.GPIO, "GPIO27"), "nobody declares a signal 'dashboard.nigth'"),
        (Input("dashboard.night", InputKind.GPIO), 'a gpio input needs its line, such as "GPIO17"'),
        (Input("engine.oil_temperature", InputKind.GPIO, "GPIO27"), "on or off"),
        (Input("engine.oil_temperature", InputKind.HWMON, "x", "fan1"), 'written as "in1", "temp2" or'),
        (Input("button.panel", InputKind.GPIO, "GPIO4"), "input first is button.panel already"),
    ],
)
def test_a_mistake_costs_that_input_only(item: Input, words: str) -> None:
    store = Store(CATALOGUE)
    first = Named("first", Input("button.panel", InputKind.GPIO, "GPIO22"))
    made = compile_inputs([first, Named("odd", item), Named("lights", NIGHT)], store, CATALOGUE)
    assert [wire.name for wire in made.wires] == ["first", "lights"]
    assert len(made.problems) == 1
    assert made.problems[0].startswith("input odd is left out: ")
    assert words in made.problems[0]
    assert len(store.names()) == 2
