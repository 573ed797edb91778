from __future__ import annotations

from underdash.broadcast.dbc_lines import statements

TEXT = """VERSION ""

NS_ :
\tCM_
\tBA_DEF_

BS_:
BU_: A B
  C

BO_ 100 First: 8 A
 SG_ One : 0|8@1+ (1,0) [0|255] "" B
 SG_ Two m3M : 15|12@0- (0.5,-40) [0|0] "km/h" B
oops
CM_ SG_ 100 One "a comment
BO_ over lines";
VAL_ 100 One 0 "off"
  1 "on" ;
BA_ "GenMsgCycleTime" BO_ 100 20;
SIG_VALTYPE_ 100 Two : 1;
CM_ "never closed;
BO_ 2147483748 Second: 8 A
"""


def test_every_line_that_is_not_blank_is_in_exactly_one_statement() -> None:
    lines = TEXT.splitlines()
    covered = [
        line for found in statements(TEXT) for line in range(found.line, found.line + found.text.count("\n") + 1)
    ]
    assert [line for line in covered if lines[line - 1].strip()] == [
        n for n, line in enumerate(lines, 1) if line.strip()
    ]


def test_statements_know_their_line_keyword_message_and_signal() -> None:
    found = [(one.line, one.keyword, one.owner, one.signal, one.selected) for one in statements(TEXT)]
    assert found == [
        (1, "VERSION", None, None, ""),
        (3, "NS_", None, None, ""),
        (7, "BS_", None, None, ""),
        (8, "BU_", None, None, ""),
        (11, "BO_", 100, None, ""),
        (12, "SG_", 100, "One", ""),
        (13, "SG_", 100, "Two", "m3M"),
        (14, "", None, None, ""),
        (15, "CM_", 100, "One", ""),
        (17, "VAL_", 100, "One", ""),
        (19, "BA_", 100, None, ""),
        (20, "SIG_VALTYPE_", 100, "Two", ""),
        (21, "CM_", None, None, ""),
        (22, "BO_", 2147483748, None, ""),
    ]


def test_a_signal_line_tells_its_place() -> None:
    (two,) = [one for one in statements(TEXT) if one.signal == "Two" and one.keyword == "SG_"]
    assert (two.start, two.length) == (15, 12)


def test_nothing_is_no_statement() -> None:
    assert statements("") == []
    assert statements("\n \n\t\n") == []
