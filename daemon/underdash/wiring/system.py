"""What the machine's own set-up says to a daemon that loses its power: a root that is only read, and powering off."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

from ..config.findings import Finding, Level
from ..config.schema import Config
from ..power.states import Supply
from .board import model
from .rights import Account

CMDLINES = "boot/firmware/cmdline.txt", "boot/cmdline.txt"
STATE = "/var/lib/underdash"
_WANTED = "overlayroot="
_ASK = (
    "busctl", "--system", "--timeout=3", "call", "org.freedesktop.login1", "/org/freedesktop/login1",
    "org.freedesktop.login1.Manager", "CanPowerOff",
)  # fmt: skip
ASK_S = 5.0
MOUNT_FIELDS = 4


def root_file_system(config: Config, root: Path) -> Iterator[Finding]:
    """Say how the root file system takes a power cut: overlay or not, and whether what is kept survives.

    Raspberry Pi OS mounts an overlay in memory over the card where its kernel is told ``overlayroot=tmpfs``.

    Args:
        config: the configuration.
        root: the machine's root.
    """
    mounts = list(_mounts(root))
    kind, options = next(((kind, options) for place, kind, options in reversed(mounts) if place == "/"), ("", ""))
    if not kind:
        return
    overlaid = kind == "overlay"
    asked = [name for name in ("proc/cmdline", *CMDLINES) if _asked(root / name)]
    if asked and not overlaid and model(root):
        sentence = f"/{asked[0]} asks for a root that is only read (overlayroot), but the root file system is {kind}"
        step = "`sudo raspi-config nonint do_overlayfs 0`, then restart; the package overlayroot has to be installed"
        yield Finding(Level.WARNING, f"{sentence}: a power cut can damage the card", step)
    elif not overlaid and "ro" not in options.split(",") and model(root):
        level = Level.WARNING if config.power.supply is Supply.SWITCHED else Level.NOTE
        sentence = "the card is written to while it runs, so a power cut can damage it (no overlay root)"
        step = (
            f"once all is set up: give {STATE} a partition of its own, then `sudo raspi-config nonint do_overlayfs 0`"
        )
        yield Finding(level, sentence, step)
    if overlaid and model(root) and _kind_at(STATE, mounts) in ("overlay", "tmpfs"):
        sentence = f"{STATE} lies in memory like the rest of the overlay root: what is learned is lost at each start"
        yield Finding(Level.WARNING, sentence, f"mount a partition of its own at {STATE}, in /etc/fstab")
    folder = str((config.path.parent / config.recording.folder).resolve())
    if overlaid and model(root) and config.recording.traces and _kind_at(folder, mounts) in ("overlay", "tmpfs"):
        sentence = f"recording.folder {folder} lies in memory: recordings are lost at each start, and fill it up"
        yield Finding(Level.WARNING, sentence, f"choose a folder on a partition of its own, such as {STATE}")


def _mounts(root: Path) -> Iterator[tuple[str, str, str]]:
    """Yield place, kind and options of each mount (proc_mounts(5))."""
    with contextlib.suppress(OSError):
        for line in (root / "proc/mounts").read_text(errors="replace").splitlines():
            parts = line.split()
            if len(parts) >= MOUNT_FIELDS:
                yield parts[1].replace("\\040", " "), parts[2], parts[3]


def _kind_at(folder: str, mounts: list[tuple[str, str, str]]) -> str:
    """Return the kind of file system a folder lies on; of several mounts at one place the last counts."""
    over = [
        (len(place), at) for at, (place, _, _) in enumerate(mounts) if f"{folder}/".startswith(f"{place.rstrip('/')}/")
    ]
    return mounts[max(over)[1]][1] if over else ""


def _asked(path: Path) -> bool:
    with contextlib.suppress(OSError):
        return any(
            word.startswith(_WANTED) and not word.endswith("=disabled")
            for word in path.read_text(errors="replace").split()
        )
    return False


def may_power_off(who: Account) -> str | None:
    """Ask the login manager whether a user may switch the machine off (CanPowerOff of org.freedesktop.login1(5)).

    Args:
        who: the user that runs the daemon; root may ask for another.

    Returns:
        "yes", "no", "challenge" (only after a password), "na" (this machine cannot), or None where nobody can tell.
    """
    if shutil.which(_ASK[0]) is None:
        return None
    other = who.uid != os.geteuid()
    if other and os.geteuid() != 0:
        return None
    try:
        done = subprocess.run(
            _ASK,
            capture_output=True,
            text=True,
            check=False,
            timeout=ASK_S,
            user=who.uid if other else None,
            extra_groups=sorted(who.groups) if other else None,
        )
    except (OSError, subprocess.SubprocessError):
        return None
    kind, _, answer = done.stdout.strip().partition(" ")
    return answer.strip('"') if done.returncode == 0 and kind == "s" else None


def power_off(config: Config, who: Account, ask: Callable[[Account], str | None] = may_power_off) -> Iterator[Finding]:
    """Say whether the daemon may switch the machine off, where its supply wants that.

    Args:
        config: the configuration.
        who: the user that runs the daemon.
        ask: see `may_power_off`.
    """
    if config.power.supply in (None, Supply.SWITCHED):
        return
    answer = ask(who)
    if answer == "yes":
        return
    if answer is None:
        why = "no login manager answers here, as in a container"
        if who.uid != os.geteuid() and os.geteuid() != 0:
            why = "only root may ask for another user"
        sentence = f"it cannot be told whether user {who.name} may switch this machine off: {why}"
        yield Finding(Level.NOTE, sentence, "on the board itself: `sudo underdash check`")
    elif answer == "na":
        yield Finding(Level.ERROR, "this machine cannot switch itself off", 'wire it as "switched", or use another')
    else:
        sentence = f'user {who.name} may not switch this machine off (the login manager says "{answer}")'
        step = "`sudo systemd/install` brings the polkit rule for it; is the package polkitd installed?"
        yield Finding(Level.ERROR, f"{sentence}, so the battery is drained after a journey", step)
