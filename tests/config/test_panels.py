"""What is known of panels before the rest of the configuration is read."""

from __future__ import annotations

import pytest

from underdash.config.mistakes import ConfigError
from underdash.config.panels import panels_of
from underdash.config.reading import make_config
from underdash.config.toml import parse_toml

TEXT = """
format = 1
[car]
name = "tarn"
[power]
supply = "switched"
[dimming]
night = 0.2
[panel.main]
driver = "picture"
deck = ["boost"]
"""


def test_it_is_the_same_as_in_the_whole_configuration() -> None:
    table, source = parse_toml(TEXT, "folder/underdash.toml")
    part, whole = panels_of(table, source), make_config(table, source)
    assert part.dimming.night == 0.2
    assert (part.panel, part.dimming, part.path, part.source) == (whole.panel, whole.dimming, whole.path, whole.source)


def test_mistakes_elsewhere_do_not_matter_yet() -> None:
    assert panels_of(*parse_toml(TEXT.replace("switched", "swithced"), "f")).panel["main"].deck == ("boost",)
    assert not panels_of(*parse_toml("format = 1", "f")).panel


def test_its_own_mistakes_are_told_and_no_others() -> None:
    text = TEXT.replace("switched", "swithced").replace("night = 0.2", "night = 2")
    with pytest.raises(ConfigError) as caught:
        panels_of(*parse_toml(text, "f"))
    assert [one.key for one in caught.value.mistakes] == ["dimming.night"]


def test_a_format_that_is_too_new_is_told() -> None:
    with pytest.raises(ConfigError, match="newer underdash"):
        panels_of(*parse_toml(TEXT.replace("format = 1", "format = 99"), "f"))
