from __future__ import annotations

from underdash.config.lines import lines_of, said_twice
from underdash.config.toml import parse_toml

TEXT = """\
format = 1
# a remark = 3
[car]
name = "tarn"

[panel.main]
deck = [
  "boost",
  # another = 1
  "temperatures",
]
[[broadcast]]
id = "100"
fields = [
  { signal = "a", byte = 0 },
  { signal = "b", byte = 1 },
]
[[broadcast]]
note = \"\"\"
id = "not a key"
\"\"\"
[[broadcast.fields]]
signal = "c"
[units]
"km/h" = "mph"
a.b = 1
"""


def test_every_key_has_its_line() -> None:
    lines = lines_of(TEXT)

    assert lines[("format",)] == 1
    assert lines[("car",)] == 3
    assert lines[("car", "name")] == 4
    assert lines[("panel", "main", "deck", 1)] == 10
    assert lines[("broadcast", 0, "fields", 1)] == 16
    assert lines[("broadcast", 1)] == 18
    assert ("broadcast", 1, "id") not in lines
    assert lines[("broadcast", 1, "fields", 0, "signal")] == 23
    assert lines[("units", "km/h")] == 25
    assert lines[("units", "a")] == lines[("units", "a", "b")] == 26


def test_the_reader_agrees_that_the_text_is_toml_and_keeps_it_for_its_lines() -> None:
    table, source = parse_toml(TEXT, "x.toml")

    assert table["units"]["km/h"] == "mph"
    assert source.file == "x.toml"
    assert source.line(("panel", "main", "deck", 1)) == 10


def test_a_name_that_is_taken_is_told_with_the_line_that_took_it() -> None:
    said = said_twice(TEXT + "b = 1\n[car]\n", 28)
    assert said is not None
    assert said[0] == "[car], though line 3 has that name already"
    assert said_twice(TEXT, 27) is None
