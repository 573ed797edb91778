"""The keys of `underdash.toml` that are about panels: all that has to be known before the first page is in them.

They are read before the rest, since each import delays that page; `schema.py` adds all other keys.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from ..contract.plugin import Limits
from ..display.backlight import BacklightConfig
from ..display.palettes import NIGHT_HUE
from ..display.round import Face
from .migration import migrated
from .mistakes import ConfigError, Mistakes, Source
from .structure import INTERNAL, Structure, WrongError

if TYPE_CHECKING:
    from ..display.legibility import Viewing

Share = Annotated[float, Limits(low=0.0, high=1.0)]
Pixels = Annotated[int, Limits(low=16, high=4096, unit="pixels")]


@dataclass(frozen=True, kw_only=True)
class PanelConfig:
    """``[panel.<name>]``: a panel and the pages on it.

    Args:
        driver: "picture", or what a plug-in brings.
        size: pixels across and down.
        rotation: degrees clockwise; a bracket is never straight.
        round: nothing is drawn in the corners.
        deck: pages in the order they are turned.
        width_mm: of the lit area; None where it is not known, and then nobody can say what can be read.
        viewing_distance_mm: from the driver's eyes.
        cold_below: degC below which the panel turns slowly; None if it never does.
        backlight: what lights it, where the driver has no light of its own.
        settings: what the driver itself wants to know.
    """

    driver: str
    deck: tuple[str, ...]
    size: tuple[Pixels, Pixels] = (240, 240)
    rotation: Annotated[float, Limits(low=-360.0, high=360.0, unit="degrees")] = 0.0
    round: bool = True
    width_mm: Annotated[float, Limits(low=10.0, high=500.0, unit="mm")] | None = None
    viewing_distance_mm: Annotated[float, Limits(low=200.0, high=3000.0, unit="mm")] = 700.0
    cold_below: Annotated[float, Limits(low=-60.0, high=40.0, unit="degC")] | None = None
    backlight: BacklightConfig | None = None
    settings: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.deck:
            raise WrongError("at least one page in `deck`")
        twice = [page for page in dict.fromkeys(self.deck) if self.deck.count(page) > 1]
        if twice:
            raise WrongError(f"each page once in `deck`; {twice[0]!r} is there more often")

    @property
    def viewing(self) -> Viewing | None:
        """From where the panel is seen, None if its size is not known."""
        from ..display.legibility import Viewing

        return None if self.width_mm is None else Viewing(self.width_mm, self.viewing_distance_mm)

    @property
    def face(self) -> Face:
        """What is drawn on."""
        return Face(*self.size, self.round, self.viewing.least_px(self.size[0]) if self.viewing else None)


@dataclass(frozen=True, kw_only=True)
class DimmingConfig:
    """``[dimming]``: how bright the panels are.

    Args:
        floor, ceiling: level at the dark and at the bright end of the car's knob, 0..1.
        curve: exponent between them; 2.2 looks even to the eye.
        night: level in the dark where the car has no knob, 0..1.
        hysteresis: changes smaller than this are not followed.
        fade_s: how long a change takes.
        night_hue: of the night palette in degrees (0 red, 32 amber, 120 green, 200 ice blue).
        knob_applies: when the knob means something; None as the car's description says.
    """

    floor: Share = 0.04
    ceiling: Share = 1.0
    curve: Annotated[float, Limits(low=0.5, high=4.0)] = 2.2
    night: Share = 0.3
    hysteresis: Annotated[float, Limits(low=0.0, high=0.2)] = 0.02
    fade_s: Annotated[float, Limits(low=0.0, high=10.0, unit="s")] = 0.6
    night_hue: Annotated[float, Limits(low=0.0, high=360.0, unit="degrees")] = NIGHT_HUE
    knob_applies: Literal["night", "always"] | None = None

    def __post_init__(self) -> None:
        if self.floor >= self.ceiling:
            raise WrongError("`floor` below `ceiling`")


@dataclass(frozen=True, kw_only=True)
class PanelsConfig:
    """What of `underdash.toml` is about panels.

    Args:
        panel: by name.
        path: the file.
        source: for mistakes that are found later.
    """

    panel: dict[str, PanelConfig] = field(default_factory=dict)
    dimming: DimmingConfig = field(default_factory=DimmingConfig)
    path: Path = field(default=Path("underdash.toml"), metadata=INTERNAL)
    source: Source = field(default_factory=Source, metadata=INTERNAL)


def panels_of(table: dict[str, Any], source: Source) -> PanelsConfig:
    """Make of a configuration's table what is about panels, while nobody knows yet whether the rest is right.

    Raises:
        ConfigError: with the mistakes of these tables only; `make_config` has all.
    """
    mistakes = Mistakes(source)
    table = migrated(table, mistakes)
    own = {name: table[name] for name in ("panel", "dimming") if name in table}
    made = Structure(mistakes).make(PanelsConfig, own)
    mistakes.raise_any()
    if made is None:  # cannot happen; tells the type checker
        raise ConfigError([])
    return replace(made, path=Path(source.file), source=source)
