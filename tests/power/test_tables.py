from __future__ import annotations

from underdash.power.states import TABLES, PowerOptions, Supply
from underdash.power.tables import table_as_text, tables_as_text


def test_every_row_of_every_supply_is_told() -> None:
    text = tables_as_text()

    assert all(f"**{supply}**" in text for supply in Supply)
    assert text.count("\n| ") == sum(len(rows) + 1 for rows in TABLES.values())


def test_a_table_reads_well() -> None:
    lines = table_as_text(Supply.WAKEABLE).splitlines()

    assert lines[0].split(" | ")[0].strip("| ") == "state"
    assert set(lines[1]) == {"|", "-"}
    assert len({len(line) for line in lines}) == 1
    assert any("asleep" in line and "10 min" in line and "halting" in line and "power off" in line for line in lines)
    assert any("battery low" in line and "60 s" in line for line in lines)
    assert any("ignition on" in line and "at once" in line and "reboot instead" in line for line in lines)


def test_the_times_are_those_of_the_configuration() -> None:
    assert "| 45 s " in table_as_text(Supply.HELD, PowerOptions(linger_s=45.0))
    assert "72 h" in table_as_text(Supply.PERMANENT)
