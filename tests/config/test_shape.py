"""Where tables and lists of a TOML text stand."""

from __future__ import annotations

from underdash.config.shape import List, Shape

TEXT = '''\
title = """
[[broadcast]]
"""
points = [
  [1, 2],
]
[[ broadcast ]] # [[broadcast]]
fields = [
  { a = "]" }, # }
  { a = [
    1 ] },

  # { }
] # ]
[broadcast.counter]
byte = 'x = ['
# afterwards

["buttons"]
[[broadcast]]
fields = [{ a = 1 }]
'''


def test_strings_and_remarks_have_no_tables() -> None:
    shape = Shape(TEXT.split("\n"))
    assert [(one.line, one.path) for one in shape.headers] == [
        (6, ("broadcast",)),
        (14, ("broadcast", "counter")),
        (18, ("buttons",)),
        (19, ("broadcast",)),
    ]
    assert shape.header("buttons") == 18
    assert shape.header("bus") is None


def test_an_entry_has_the_tables_below_it_and_no_remarks_after_it() -> None:
    shape = Shape(TEXT.split("\n"))
    first, second = shape.entries("broadcast")
    assert (first, second) == (range(6, 16), range(19, 21))
    assert shape.fields(first) == List(7, 13, (range(8, 9), range(9, 11)))
    assert shape.fields(second) is None, "its brackets share a line"
