"""What values are called where the owner gave no label: short, out of the signal's name."""

from __future__ import annotations

from collections.abc import Sequence

QUANTITIES = frozenset({"temperature", "pressure", "speed", "voltage", "current"})
"""What a value is, which its unit says too; so the word is the first to go."""
COMMON = frozenset({"oil", "charge", "load", "level", "rate"})
"""What many parts of a car have, so that the part is named too."""
OWN = {"engine.load": "load", "engine.charge_temperature": "charge air", "engine.charge_pressure": "charge air"}
PARTS = {"low_voltage_battery": "battery", "traction_battery": "traction", "vehicle": ""}
SHORT = {"temperature": "temp.", "pressure": "press.", "compressor": "compr."}


def label(signal: str) -> str:
    """Return a label of a word or two: "coolant", "gearbox oil", "speed" (of the car), "battery" (its voltage)."""
    if signal in OWN:
        return OWN[signal]
    part, words = _split(signal)
    if len(words) > 1 and words[-1] in QUANTITIES:
        words = words[:-1]
    elif words[0] in QUANTITIES and part:
        words = [part, *words[1:]]
    if words[0] in COMMON and len(words) == 1:
        words = [part, *words]
    return _said(words)


def labels(signals: Sequence[str]) -> list[str]:
    """Return labels that differ: those that would be alike get longer ones, with part and quantity."""
    short = [label(signal) for signal in signals]
    return [_longer(signal) if short.count(one) > 1 else one for signal, one in zip(signals, short, strict=True)]


def _longer(signal: str) -> str:
    part, words = _split(signal)
    return _said([part, *words] if len(words) == 1 else words)


def _split(signal: str) -> tuple[str, list[str]]:
    part, _, name = signal.rpartition(".")
    return PARTS.get(part, part).replace("_", " "), name.split("_")


def _said(words: Sequence[str]) -> str:
    return " ".join(SHORT.get(word, word) for word in words if word)
