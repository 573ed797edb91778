from __future__ import annotations

import re
from math import inf
from pathlib import Path

import pytest

from underdash.config.reading import parse_config
from underdash.power.battery import BOARDS, Battery, cutoff_sentence, days_parked, drain_sentence, halted_sentence
from underdash.power.states import ASLEEP_S, PowerOptions, Supply


# Currents at 5 V: Raspberry Pi documentation, power supplies. Days at 12.4 V and 85 %: worked out independently.
@pytest.mark.parametrize(
    ("board_a", "battery_ma", "days"),
    [
        (BOARDS["4b"].halted_a, 11, 112),
        (BOARDS["4b"].idle_a, 290, 4.3),
        (BOARDS["zero"].idle_a, 48, 26),
    ],
)
def test_half_of_a_60_ah_battery_lasts_as_long_as_worked_out(board_a: float, battery_ma: float, days: float) -> None:
    battery = Battery()

    assert battery.amperes(board_a) * 1000 == pytest.approx(battery_ma, rel=0.02)
    assert battery.days(board_a) == pytest.approx(days, rel=0.02)


@pytest.mark.parametrize("supply", [Supply.SWITCHED, Supply.HELD])
def test_a_supply_that_is_cut_costs_nothing(supply: Supply) -> None:
    assert days_parked(supply, BOARDS["4b"]) == inf
    assert "loses nothing" in drain_sentence(supply, BOARDS["4b"])


def test_a_halt_after_ten_minutes_costs_about_the_halted_current() -> None:
    assert days_parked(Supply.WAKEABLE, BOARDS["4b"]) == pytest.approx(112, rel=0.01)


def test_three_days_awake_cost_most_of_it() -> None:
    # 3 days at 290 mA take 20.9 of 30 Ah; the other 9.1 Ah last 34 days at 11.1 mA
    assert days_parked(Supply.PERMANENT, BOARDS["4b"]) == pytest.approx(3 + 34, abs=0.5)


def test_an_accessory_that_never_halts_costs_its_idle_current() -> None:
    assert days_parked(Supply.PERMANENT, BOARDS["zero"], PowerOptions(asleep_s=inf)) == pytest.approx(26, rel=0.02)


def test_the_sentence_names_board_and_days() -> None:
    options = PowerOptions(asleep_s=inf)

    assert "a Pi 4B empties half of a 60 Ah battery in 4 days" in drain_sentence(
        Supply.PERMANENT, BOARDS["4b"], options
    )


def test_a_board_that_draws_nothing_lasts_for_ever() -> None:
    assert Battery().days(0.0) == inf


@pytest.mark.parametrize(
    ("supply", "board", "says"),
    [
        (Supply.WAKEABLE, "5", "a halted Pi 5 goes on drawing current"),
        (Supply.PERMANENT, "4b", "a halted Pi 4B goes on drawing current"),
        (Supply.WAKEABLE, "3b", ""),
        (Supply.HELD, "5", ""),
        (Supply.SWITCHED, "4b", ""),
    ],
)
def test_boards_that_go_on_drawing_once_halted_are_named(supply: Supply, board: str, says: str) -> None:
    said = halted_sentence(supply, BOARDS[board])
    assert said.startswith(says)
    assert bool(said) == bool(says)


def test_a_halted_pi_5_as_delivered_empties_half_of_the_battery_in_ten_days() -> None:
    # 0.27 A at 5.1 V through a converter of 85 % are 0.131 A at 12.4 V: 30 Ah in 9.6 days
    assert days_parked(Supply.WAKEABLE, BOARDS["5"]) == pytest.approx(9.6, abs=0.1)


def test_every_board_of_the_parts_list_can_be_named() -> None:
    guide = (Path(__file__).parents[2] / "config" / "WIRING.md").read_text()
    names = re.search(r"\| board \| Raspberry Pi ([^;,]*(?:, [^;,]*)*?), with", guide)
    assert names is not None
    listed = re.split(r", | or ", names[1])
    assert listed == ["Zero 2 W", "3", "4", "5"]
    assert all(any(board.name.startswith(f"Pi {name}") for board in BOARDS.values()) for name in listed)


def test_the_time_a_supply_sleeps_unless_told_otherwise_may_be_written_out_and_made_longer() -> None:
    for hours in (72, 100):
        text = f'supply = "permanent"\naccept_drain = true\nasleep_s = {hours * 3600}\n'
        read = parse_config(f'format = 1\n[car]\nname = "tarn"\n[power]\n{text}', "mine.toml")
        assert read.power.asleep_s == hours * 3600
    assert ASLEEP_S[Supply.PERMANENT] == 72 * 3600


@pytest.mark.parametrize(("volts", "odd"), [(11.5, True), (11.6, False), (12.2, False), (12.4, False), (12.5, True)])
def test_a_cut_off_beyond_what_a_battery_at_rest_has_is_odd(volts: float, odd: bool) -> None:
    assert bool(cutoff_sentence(volts)) == odd
