"""What delayed the last start of this machine up to the first picture, with what each step took here, and what to do.

The numbers are the service manager's own of the last start (systemd-analyze(1)); where it cannot be asked, nothing is
said. Only steps that an accessory in a car can do without are advised.
"""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from ..config.findings import Finding, Level
from .board import model

SERVICE = "underdash.service"
WORTH_S = 0.3
ASK_S = 10.0
_OFF = "sudo systemctl disable {unit}, if nothing of yours needs it"
_BLUETOOTH = "without Bluetooth: dtoverlay=disable-bt in config.txt, and sudo systemctl disable {unit}"
_CLOUD = "once the machine is set up: sudo touch /etc/cloud/cloud-init.disabled"
_SPLASH = "take `splash` out of cmdline.txt"
_TIMER = "sudo systemctl disable --now {name}.timer, and run it at home"
SPARE = {
    **dict.fromkeys(("NetworkManager-wait-online", "systemd-networkd-wait-online"), _OFF),
    **dict.fromkeys(("ModemManager", "avahi-daemon", "triggerhappy", "cups", "e2scrub_reap"), _OFF),
    **dict.fromkeys(
        ("plymouth-start", "plymouth-quit-wait", "plymouth-read-write"), "take `splash` out of cmdline.txt"
    ),
    **dict.fromkeys(("keyboard-setup", "console-setup"), "sudo systemctl mask {unit}, where no keyboard is used"),
    **dict.fromkeys(("hciuart", "bluetooth"), _BLUETOOTH),
    **dict.fromkeys(("cloud-init", "cloud-init-local", "cloud-init-main", "cloud-config", "cloud-final"), _CLOUD),
    **dict.fromkeys(("apt-daily", "apt-daily-upgrade", "man-db"), _TIMER),
    "systemd-udev-settle": "sudo systemctl mask {unit}; systemctl list-dependencies --reverse says who wants it",
    "dphys-swapfile": "sudo systemctl disable {unit}, where there is memory enough",
    "rpi-eeprom-update": "sudo systemctl disable {unit}, and run rpi-eeprom-update at home",
}
"""Units by name that are not needed in a car (common practice), with the step."""

_SPAN = re.compile(r"(?:(\d+)min\s*)?(?:([\d.]+)(ms|s))?")
_CHAIN = re.compile(r"^[\s└─]*(?P<unit>\S+\.\w+)(?:\s+@(?P<at>[\w. ]+?s))?(?:\s+\+(?P<took>[\w. ]+s))?\s*$")


@dataclass(frozen=True, slots=True)
class Step:
    """A unit: seconds after the service manager's begin at which it was up, and what it took."""

    unit: str
    at_s: float | None
    took_s: float | None


def seconds(text: str) -> float:
    """Read a span as systemd writes it, such as "1min 2.345s" or "345ms"."""
    found = _SPAN.fullmatch(text.strip())
    if found is None or not any(found.groups()):
        raise ValueError(text)
    return int(found[1] or 0) * 60 + float(found[2] or 0) * (0.001 if found[3] == "ms" else 1.0)


def chain(text: str) -> tuple[Step, ...]:
    """Read ``systemd-analyze critical-chain``: the unit, and what it waited for, the last one first."""
    found = filter(None, (_CHAIN.match(line) for line in text.splitlines()))
    return tuple(
        Step(one["unit"], seconds(one["at"]) if one["at"] else None, seconds(one["took"]) if one["took"] else None)
        for one in found
    )


def blame(text: str) -> dict[str, float]:
    """Read ``systemd-analyze blame``: seconds by unit."""
    times = {}
    for line in text.splitlines():
        span, _, unit = line.strip().rpartition(" ")
        try:
            times[unit] = seconds(span)
        except ValueError:
            continue
    return times


def findings(root: Path, ask: Callable[..., str] | None = None) -> Iterator[Finding]:
    """Say what can be spared.

    Args:
        root: the machine's root.
        ask: gives what ``systemd-analyze`` says to some words, "" where it says nothing.
    """
    ask = ask or _asked
    steps = chain(ask("critical-chain", SERVICE))
    if steps and steps[0].unit == SERVICE:
        yield from _way(steps)
    waited = {step.unit for step in steps}
    for unit, took_s in blame(ask("blame")).items():
        name = unit.removesuffix(".service")
        if name in SPARE and took_s >= WORTH_S:
            where = "underdash waited for it" if unit in waited else "beside underdash, on the same processor"
            step = SPARE[name].format(unit=unit, name=name)
            yield Finding(Level.NOTE, f"start: {unit} took {took_s:.1f} s of the last one, {where}", step)
    yield from _kernel(root)
    yield from _compiled()


def _way(steps: tuple[Step, ...]) -> Iterator[Finding]:
    begun = next((step.at_s for step in steps[1:] if step.at_s is not None), None)
    if begun is None:
        return
    slow = [f"{step.unit} {step.took_s:.1f} s" for step in steps[1:] if (step.took_s or 0.0) >= WORTH_S]
    on_the_way = f"; on its way: {', '.join(slow)}" if slow else ""
    up = f" and took {steps[0].took_s:.1f} s to its first page" if steps[0].took_s is not None else ""
    sentence = f"start: underdash was begun {begun:.1f} s after systemd{up}{on_the_way}"
    yield Finding(Level.NOTE, sentence, "systemd-analyze time says what firmware and kernel took before that")
    if any(step.unit == "network-online.target" for step in steps):
        sentence = "start: underdash waits for the network, which it does not need"
        yield Finding(Level.WARNING, sentence, f"`systemctl cat {SERVICE}` shows who says so; take that out")


def _kernel(root: Path) -> Iterator[Finding]:
    try:
        words = (root / "proc/cmdline").read_text(errors="replace").split()
    except OSError:
        return
    if model(root) and "quiet" not in words:
        sentence = "start: the kernel writes every message to the console, which takes time"
        yield Finding(Level.NOTE, sentence, "add `quiet` to cmdline.txt")


def _compiled(package: Path = Path(__file__).parents[1]) -> Iterator[Finding]:
    """Say where each start has to compile anew, since nothing can be kept."""
    if os.access(package, os.W_OK):
        return
    modules = list(package.rglob("*.py"))
    missing = [one for one in modules if not Path(importlib.util.cache_from_source(str(one))).exists()]
    if len(missing) > len(modules) / 2:
        sentence = (
            f"start: {len(missing)} of {len(modules)} modules are compiled anew each time, as {package} is read-only"
        )
        yield Finding(Level.WARNING, sentence, "sudo systemd/install compiles them")


def _asked(*words: str) -> str:
    command = ["systemd-analyze", "--no-pager", *words]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=ASK_S)
    except (OSError, subprocess.SubprocessError):
        return ""
    return done.stdout if done.returncode == 0 else ""
