"""Whether the user who runs the daemon may use the devices that the configuration names, by owner, group and mode."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ..config.findings import Finding, Level
from ..config.schema import Config
from .needs import Needs

SERVICE_USER = "underdash"
UNIT = "etc/systemd/system/underdash.service"
CONFIGURATION = "etc/underdash/underdash.toml"
OWN_FOLDERS = (Path("/var/lib/underdash"), Path("/run/underdash"), Path("/tmp"))
"""Where the unit lets the daemon write (StateDirectory, RuntimeDirectory, PrivateTmp)."""


@dataclass(frozen=True, slots=True)
class Account:
    """A user and their groups.

    Attributes:
        name: such as "underdash"; its number where it has none.
        uid: its number.
        groups: numbers of its groups, the main one included.
        service: it is the one whom the unit runs the daemon as.
    """

    name: str
    uid: int
    groups: frozenset[int]
    service: bool = False

    def may(self, status: os.stat_result, *, writing: bool = True) -> bool:
        """Return whether it may read (and write) a file, as its mode says; access lists are not looked at."""
        if self.uid == 0:
            return True
        wanted = stat.S_IROTH | (stat.S_IWOTH if writing else 0)
        shift = 6 if status.st_uid == self.uid else 3 if status.st_gid in self.groups else 0
        return status.st_mode >> shift & wanted == wanted


def account(root: Path) -> Account:
    """Return who runs the daemon on this machine: the service's user where the unit is installed, else who asks."""
    users, groups = list(_table(root / "etc/passwd", 4)), list(_table(root / "etc/group", 4))
    if (root / UNIT).exists():
        for name, _, uid, gid, *_ in users:
            if name == SERVICE_USER and uid.isdecimal() and gid.isdecimal():
                member = {int(number) for _, _, number, names, *_ in groups if name in names.split(",")}
                return Account(name, int(uid), frozenset({int(gid), *member}), service=True)
    own = os.getuid()
    name = next((name for name, _, uid, *_ in users if uid == str(own)), str(own))
    return Account(name, own, frozenset({os.getgid(), *os.getgroups()}))


def group_name(root: Path, gid: int) -> str:
    """Return what a group is called; its number where it has no name."""
    return next((name for name, _, number, *_ in _table(root / "etc/group", 4) if number == str(gid)), str(gid))


def rights(config: Config, needs: Needs, who: Account, root: Path) -> Iterator[Finding]:
    """Say which devices this user may not use, and by which group it could.

    Args:
        config: the configuration.
        needs: what it wants.
        who: the user that runs the daemon.
        root: the machine's root.
    """
    asks_itself = who.uid == os.geteuid()
    wanted: dict[Path, list[str]] = {}
    for user, name in needs.files:
        wanted.setdefault(root / name.lstrip("/"), []).append(user)
    for user, line in needs.lines:
        for chip in _chips(line, root):
            wanted.setdefault(chip, []).append(user)
    if asks_itself:  # what is tried by whoever asks is told by what tries it
        wanted = {path: [user for user in users if user not in needs.tried] for path, users in wanted.items()}
    for path, users in wanted.items():
        yield from _judged(path, users, who, root)
    if not asks_itself:
        yield from _lights(config, who, root)


def asked_as(who: Account, root: Path) -> str:
    """Say whose rights a driver's own look was judged by; "" where the daemon has the same, or root asks."""
    own = os.geteuid()
    if own in (0, who.uid):
        return ""
    names = (name for name, _, uid, *_ in _table(root / "etc/passwd", 3) if uid == str(own))
    return (
        f"looked at as {next(names, own)}, and the daemon runs as {who.name}, who may have other rights: "
        f"`sudo -u {who.name} underdash check` looks as {who.name}"
    )


def of_service(config: Config, who: Account, root: Path) -> bool:
    """Return whether this is the configuration that the service runs with."""
    return who.service and config.path.resolve() == (root / CONFIGURATION).resolve()


def written(config: Config) -> Iterator[Finding]:
    """Say what the service's configuration wants written where its unit lets it write nothing."""
    here = config.path.parent
    places = [("recording.folder", here / config.recording.folder)] if config.recording.traces else []
    for name, panel in config.panel.items():
        file = panel.settings.get("file")
        if panel.driver == "picture" and isinstance(file, str) and file:
            places.append((f"panel.{name}.settings.file", here / file))
    for key, place in places:
        whole = Path(os.path.normpath(Path.cwd() / place))
        if not any(own in whole.parents for own in OWN_FOLDERS):
            sentence = f"{key}: the service may not write {whole}; it keeps things below {OWN_FOLDERS[0]} only"
            yield Finding(Level.ERROR, sentence, f'write "{OWN_FOLDERS[0] / whole.name}"')


def _chips(line: str, root: Path) -> list[Path]:
    """Return the chips that may have a line: its own, or the only one; among several it would have to be looked for."""
    path, colon, _ = line.rpartition(":")
    if colon and path.startswith("/"):
        return [root / path.lstrip("/")]
    return sorted((root / "dev").glob("gpiochip*"))[:1]


def _judged(path: Path, users: list[str], who: Account, root: Path) -> Iterator[Finding]:
    try:
        status = path.stat()
    except OSError:
        return  # that it is missing is told elsewhere
    if not users or who.may(status):
        return
    shown = f"/{path.relative_to(root)}"
    wants = ", ".join(dict.fromkeys(users))
    step = _step(status, who, root)
    yield Finding(Level.ERROR, f"{wants}: user {who.name} may not use {shown}", step)


def _step(status: os.stat_result, who: Account, root: Path) -> str:
    group = group_name(root, status.st_gid)
    opens = stat.S_IRGRP | stat.S_IWGRP
    if status.st_gid == 0 or status.st_mode & opens != opens:
        return "no group may use it: install the rules for devices by `sudo systemd/install`, and restart the machine"
    if who.service:
        return f"`sudo usermod -aG {group} {who.name}`, then `sudo systemctl restart underdash`"
    return f"`sudo usermod -aG {group} {who.name}`, then log in again"


def _lights(config: Config, who: Account, root: Path) -> Iterator[Finding]:
    """Say which backlights of the kernel and which PWM chips this user may not set; the driver says where none is."""
    for name, panel in config.panel.items():
        light = panel.backlight
        if light is None or light.kind not in ("kernel", "pwm"):
            continue
        pattern, file = ("backlight/*", "brightness") if light.kind == "kernel" else ("pwm/pwmchip*", "export")
        places = sorted((root / "sys/class").glob(pattern))
        for place in places:
            fits = light.device in (place.name, "") or light.device in str((place / "device").resolve())
            with contextlib.suppress(OSError):
                if fits and not who.may((place / file).stat(), writing=True):
                    shown = f"/{(place / file).relative_to(root)}"
                    step = "udev gives it to a group: `sudo systemd/install` brings the rule; then restart the machine"
                    yield Finding(Level.ERROR, f"panel {name}: user {who.name} may not write {shown}", step)


def _table(path: Path, least: int) -> Iterator[list[str]]:
    """Yield the entries of passwd(5) or group(5)."""
    with contextlib.suppress(OSError):
        for line in path.read_text(errors="replace").splitlines():
            parts = line.split(":")
            if len(parts) >= least:
                yield parts
