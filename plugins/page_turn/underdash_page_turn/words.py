"""From the words of a binding's `do` to actions."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from underdash import (
    Acknowledge,
    Action,
    GoQuiet,
    Mark,
    Refresh,
    ResetPeak,
    SetChoice,
    ShowPage,
    ShowRate,
    TurnPage,
)

PLAIN: Mapping[str, Action] = {
    "next": TurnPage(1),
    "previous": TurnPage(-1),
    "reset peak": ResetPeak(),
    "acknowledge": Acknowledge(),
    "mark": Mark(),
    "show rate": ShowRate(),
    "quiet": GoQuiet(True),
    "end quiet": GoQuiet(False),
}
MORE: Mapping[str, tuple[str, Callable[[str], Action]]] = {
    "show": ("page", ShowPage),
    "mark": ("text", Mark),
    "refresh": ("signal", Refresh),
    "reset peak of": ("signal", ResetPeak),
}
CHOOSE = "choose"
SWITCHED: Mapping[str, bool | str] = {"on": True, "off": False}


def action(words: str) -> Action:
    """Return the action that a binding's words name.

    Raises:
        ValueError: with what may be written.
    """
    if words in PLAIN:
        return PLAIN[words]
    for verb, (_, make) in MORE.items():
        rest = words.removeprefix(f"{verb} ").strip()
        if words.startswith(f"{verb} ") and rest:
            return make(rest)
    signal, _, value = words.removeprefix(f"{CHOOSE} ").partition("=")
    if words.startswith(f"{CHOOSE} ") and signal.strip() and value.strip():
        chosen = value.strip()
        return SetChoice(signal.strip(), SWITCHED.get(chosen, chosen))
    plain = ", ".join(f'"{word}"' for word in PLAIN)
    more = ", ".join(f'"{verb} <{what}>"' for verb, (what, _) in MORE.items())
    raise ValueError(f'`do` with some of {plain}, {more} or "{CHOOSE} <signal> = <value>", not {words!r}')
