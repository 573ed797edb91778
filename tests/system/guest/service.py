"""Runs in the guest, under systemd: underdash is installed, driven, broken, upgraded and removed as an owner would.

Prints a line a scene, and one JSON object with what was seen. Only Debian's own Python is here at first.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import bench
import mishaps
import wired
from owning import (
    CONFIG,
    JOURNEY,
    PLACE,
    SCREEN,
    WHEELS,
    install,
    lit,
    picture,
    ready,
    run,
    scene,
    show,
    shown,
    status,
    until,
)

SEEN: dict[str, Any] = {"python": sys.version.split()[0]}

OURS = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures"]
[bus.drive]
interface = "socketcan"
channel = "vcan0"
transmit = true
[bus.comfort]
interface = "socketcan"
channel = "vcan1"
[reads]
charge_air = ["B4"]
exhaust = ["B4"]
[power]
supply = "wakeable"
off_s = 1
goodbye_s = 3
linger_s = 6
[panel.main]
driver = "framebuffer"
size = [320, 240]
round = false
deck = ["boost", "temperatures"]
settings = { device = "/dev/fb0" }
"""

PROBE = """
import fcntl, os, socket, subprocess
def can(do):
    try:
        do()
        return True
    except OSError as exc:
        return exc.strerror
def ask(verb):
    login = "org.freedesktop.login1"
    call = ["busctl", "call", login, "/org/freedesktop/login1", login + ".Manager", verb]
    return subprocess.run(call, capture_output=True, text=True).stdout.strip()
light = "/sys/class/graphics/fb0/blank"
print({
    "user": os.getuid() != 0,
    "capabilities": [line.split()[1] for line in open("/proc/self/status") if line.startswith(("CapEff", "CapBnd"))],
    "can": can(lambda: socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW).bind(("vcan0",))),
    "serial": can(lambda: open("/dev/ttyS0", "r+b", buffering=0)),
    "screen": can(lambda: open("/dev/fb0", "r+b")),
    "spi": can(lambda: open("/dev/spidev0.0", "r+b", buffering=0).write(bytes(4))),
    "lines": can(lambda: fcntl.ioctl(open("/dev/gpiochip0", "r+b", buffering=0), 0x8044B401, bytes(68))),
    "backlight": can(lambda: open("/sys/class/backlight/bench/brightness", "w").write("0")),
    "pwm": can(lambda: open("/sys/class/pwm/pwmchip0/export", "w")),
    "light": can(lambda: open(light, "w")),
    "other sys": can(lambda: open("/sys/kernel/mm/ksm/run", "w")),
    "power off": ask("CanPowerOff"),
    "reboot": ask("CanReboot"),
    "internet": can(lambda: socket.socket(socket.AF_INET, socket.SOCK_DGRAM)),
    "configuration": can(lambda: open("/etc/underdash/underdash.toml", "a")),
    "program": can(lambda: open("/opt/underdash/x", "w")),
    "memory": can(lambda: open("/dev/mem", "rb")),
})
"""


def fresh() -> None:
    """Install on a system that has never seen it."""
    # a first boot enables what Raspberry Pi OS leaves off, where another service has the network
    run("systemctl", "disable", "--now", "systemd-networkd.service", "systemd-networkd-wait-online.service")
    SEEN["bad use"] = [run("systemd/install", *words).stderr for words in (["--weels"], ["--wheels", "/nowhere"])]
    done = install("--wheels", str(WHEELS))
    if done["status"]:
        raise RuntimeError(done["said"])
    SEEN["fresh"] = {
        **done,
        "groups": sorted(run("id", "-nG", "underdash").stdout.split()),
        "compiled": not [one for one in (PLACE / "current/lib").rglob("*.py") if not compiled(one)],
        "verify": run("systemd-analyze", "verify", "underdash.service").stderr,
        "exposure": run("systemd-analyze", "security", "underdash").stdout.strip().splitlines()[-1],
        "check": run("underdash", "check").stdout.splitlines()[-1:],
        "enabled": run("systemctl", "is-enabled", "underdash").stdout.strip(),
    }
    scene(f"fresh install: {SEEN['fresh']['s']} s; {SEEN['fresh']['exposure']}")


def installed() -> None:
    """Install where the environment is whole already, with a stranger's plug-in in it."""
    place = PLACE / "a"
    run("python3", "-m", "venv", "--without-pip", str(place))
    packages = next(place.glob("lib/python3*/site-packages"))
    run("tar", "--extract", "--file", str(WHEELS / "environment.tar"), "--directory", str(packages))
    command = place / "bin/underdash"
    command.write_text(f"#!{place}/bin/python\nimport sys\nfrom underdash.__main__ import main\nsys.exit(main())\n")
    command.chmod(0o755)
    made_of = f"wheels={WHEELS}; . <(sed -n '/^made_of()/,/^}}/p' systemd/install); made_of"
    (place / "made_of").write_text(run("bash", "-c", made_of).stdout)
    (PLACE / "current").symlink_to("a")
    done = install("--wheels", str(WHEELS))
    if done["status"] or "the environment is whole" not in done["said"][0]:
        raise RuntimeError(done["said"])
    scene(f"installed: {done['s']} s")


def compiled(path: Path) -> bool:
    """Say whether a module needs no compiling any more."""
    return bool(list(path.parent.glob(f"__pycache__/{path.stem}.*.pyc"))) or path.stat().st_size == 0


def again() -> None:
    """Install once more, from the same wheels."""
    before = files()
    SEEN["again"] = {**install("--wheels", str(WHEELS)), "same": files() == before}
    scene(f"second run: {SEEN['again']['s']} s, nothing changed: {SEEN['again']['same']}")


def files() -> dict[str, float]:
    """Return what is installed outside the environment, and the environment itself, with its times of change."""
    names = [
        *Path("/etc/underdash").rglob("*"),
        *Path("/etc/systemd/network").glob("*"),
        PLACE / os.readlink(PLACE / "current"),
    ]
    return {str(name): name.stat().st_mtime for name in names if name.is_file()} | {
        "at": os.readlink(PLACE / "current")
    }  # type: ignore[dict-item]


def network() -> None:
    """Have networkd bring a CAN interface up by where it is plugged in, as the files that were installed do it."""
    place = run("udevadm", "info", "--query=property", "--property=ID_PATH", "--value", "--path=/sys/class/net/can0")
    shipped = Path("/etc/systemd/network/70-underdash-spi0.0.network").read_text()
    here = Path("/etc/systemd/network/60-here.network")
    here.write_text(re.sub("^Path=.*", f"Path={place.stdout.strip()}", shipped, flags=re.MULTILINE))
    run("networkctl", "reload")
    up = until(lambda: "LISTEN-ONLY" in run("ip", "-details", "link", "show", "can0").stdout, 20)
    SEEN["network"] = {
        "up_s": up,
        "link": run("ip", "-details", "link", "show", "can0").stdout,
        "other": run("ip", "link", "show", "can1").stdout,
        "waits": run("systemctl", "is-enabled", "systemd-networkd-wait-online").stdout.strip(),
        "networkd": run("systemctl", "is-enabled", "systemd-networkd").stdout.strip(),
        "unmanaged": "NM_UNMANAGED=1"
        in run("udevadm", "info", "--query=property", "--path=/sys/class/net/can0").stdout,
    }
    SEEN["switch"] = switched()
    here.unlink()
    run("ip", "link", "set", "can0", "down")
    scene(f"CAN by path: up after {up} s, listening only, at the rate of the file")


SWITCH = """
from underdash.contract.errors import UnderdashError
from underdash.switching.client import switch
from underdash.switching.orders import Mode, Order
try:
    print(switch(Order("drive", Mode.ACTIVE)))
except UnderdashError as exc:
    print(exc)
"""


def switched() -> dict[str, str]:
    """Have the helper's unit let the interface take part, asked by the service's user and by somebody else."""
    before = CONFIG.read_text()
    CONFIG.write_text('[bus.drive]\nchannel = "can0"\nbitrate = 500000\n')
    python = str(PLACE / "current/bin/python")
    seen = {
        "socket": run("systemctl", "is-active", "underdash-switch.socket").stdout.strip(),
        "somebody": run("runuser", "-u", "nobody", "--", python, "-c", SWITCH).stdout.strip(),
        "ours": run("runuser", "-u", "underdash", "--", python, "-c", SWITCH).stdout.strip(),
        "link": run("ip", "-details", "link", "show", "can0").stdout,
        "exposure": run("systemd-analyze", "security", "underdash-switch@x").stdout.strip().splitlines()[-1],
    }
    CONFIG.write_text(before)
    scene(f"helper: {seen['ours']} switched for the service's user; somebody else: {seen['somebody']}")
    return seen


def add(name: str) -> subprocess.CompletedProcess[str]:
    """Add a stranger's plug-in."""
    wheel = WHEELS / f"underdash_{name}-1.0-py3-none-any.whl"
    return run("underdash", "plugins", "add", str(wheel), "--wheels", str(WHEELS))


def plugin() -> None:
    """Add a stranger's plug-in, and one that would move what the daemon stands on."""
    versions = run(str(PLACE / "current/bin/python"), "-m", "pip", "freeze").stdout
    good, bad = add("breaks"), add("moves")
    after = run(str(PLACE / "current/bin/python"), "-m", "pip", "freeze").stdout
    new = [line for line in after.splitlines() if line not in versions.splitlines()]
    SEEN["plugin"] = {"good": good.stdout, "bad": bad.stderr, "status": bad.returncode, "new": new}
    scene(f"plugins add: {new}; refused: {bad.stderr.strip()}")


def first_picture() -> None:
    """Start the service on the configuration of a real car, with buses and a screen."""
    CONFIG.write_text(OURS)
    begun = time.monotonic()
    subprocess.Popen(["systemctl", "start", "underdash"])
    first_s = until(lit, pause_s=0.05)
    time.sleep(0.3)  # it is being written
    first = picture()
    settled = until(ready)
    SEEN["start"] = {
        "picture_s": first_s,
        "picture": first,
        "ready_s": round(time.monotonic() - begun, 2) if settled is not None else None,
        "status": shown("StatusText"),
        "memory": shown("MemoryCurrent"),
        "log": run("journalctl", "--unit", "underdash", "--output", "cat").stdout.splitlines()[-12:],
    }
    scene(f"start: first picture after {first_s} s, READY after {SEEN['start']['ready_s']} s")


def rights() -> None:
    """Look at what the service may do, in the very cage it runs in."""
    probe = Path("/etc/underdash/probe.py")
    probe.write_text(PROBE)
    shutil.chown("/sys/class/graphics/fb0/blank", group="video")
    Path("/sys/class/graphics/fb0/blank").chmod(0o664)
    drop_in = Path("/run/systemd/system/underdash.service.d/probe.conf")
    drop_in.parent.mkdir(parents=True)
    drop_in.write_text(f"[Service]\nExecStartPre=/usr/bin/python3 {probe}\n")
    run("systemctl", "daemon-reload")
    run("systemctl", "restart", "underdash")
    log = run("journalctl", "--unit", "underdash", "--output", "cat").stdout
    told = [line for line in log.splitlines() if line.startswith("{'user'")]
    SEEN["rights"] = told[-1:] and eval(told[-1])
    kinds = {
        line.split()[1]
        for line in Path("/proc/devices").read_text().splitlines()
        if line[:1] == " " or line[:1].isdigit()
    }
    SEEN["devices"] = {name: name in kinds for name in ("fb", "gpiochip", "ttyS")}
    drop_in.unlink()
    probe.unlink()
    run("systemctl", "daemon-reload")
    scene(f"rights in the cage: {SEEN['rights']}")


def known(signal: str) -> bool:
    """Say whether the daemon has a value of a signal."""
    return bool(status().get("signals", {}).get(signal, {}).get("value") is not None)


def journey() -> None:
    """Drive: the key on, a picture that changes, the key off, goodbye, dark, asleep."""
    car = subprocess.Popen(
        [
            str(PLACE / "current/bin/python"),
            "tests/system/guest/car.py",
            "LOCK:6",
            "OFF:6",
            "ON:8",
            "START:2",
            "ON:60",
            "OFF:3",
            "LOCK:12",
            "SLEEP:12",
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    parts: dict[str, Any] = {"off": until(lambda: "ignition off" in shown("StatusText")), "pictures": {}}
    pictures = parts["pictures"]
    pictures["1 key off"] = picture()
    parts["on"] = until(lambda: "ignition on" in shown("StatusText"))
    pictures["2 ignition on"] = picture()
    # an emulated machine is slow to read 200 frames and to recognise the car by them
    parts["sending"] = until(lambda: "drive sending" in shown("StatusText"), 45)
    parts["value"] = until(lambda: known("engine.boost_pressure"), 30)
    time.sleep(3)
    parts["driving"] = shown("StatusText")
    parts["closed"] = status().get("closed")
    pictures["3 boost"] = picture()
    show("temperatures")
    until(lambda: known("gearbox.oil_temperature"), 15)
    time.sleep(1)
    pictures["4 temperatures"] = picture()
    parts["lingering"] = until(lambda: status().get("power") == "lingering", pause_s=0.2)
    time.sleep(0.5)
    pictures["5 goodbye"] = picture()
    parts["dark"] = until(lambda: not lit())
    parts["asleep"] = until(lambda: "asleep" in shown("StatusText"))
    pictures["6 asleep"] = picture()
    parts["passed"] = status().get("guard", {}).get("passed")
    out, _ = car.communicate()
    said = [json.loads(line) for line in out.splitlines()]
    off = next((one for one in reversed(said) if one["phase"].endswith(" OFF")), None)
    parts["car"] = said
    if off is not None:
        parts["last_frame_s"] = round(said[-1]["asked_at"] - off["at"], 3)
        parts["asked"] = said[-1]["asked"]
    SEEN["journey"] = parts
    scene(
        f"ignition on to asleep: {parts['asked']} requests, the last {parts['last_frame_s']} s after OFF; dark, asleep"
    )


def wheels_with(name: str, folder: str) -> Path:
    """Return a directory with every wheel but underdash's own, which is taken from a folder of others."""
    made = Path("/run", folder)
    made.mkdir()
    for wheel in WHEELS.glob("*.whl"):
        if not wheel.name.startswith("underdash-"):
            shutil.copy(wheel, made)
    shutil.copy(next((WHEELS / name).glob("*.whl")), made)
    return made


def upgrade_that_does_not_start() -> None:
    """Upgrade to a version that installs well, and whose daemon ends before it is ready."""
    before, version = os.readlink(PLACE / "current"), run("underdash", "--version").stdout
    done = install("--wheels", str(wheels_with("broken", "broken")))
    SEEN["upgrade that does not start"] = {
        **done,
        "ready": until(ready),
        "same": (os.readlink(PLACE / "current"), run("underdash", "--version").stdout) == (before, version),
        "environments": sorted(one.name for one in PLACE.iterdir()),
        "line": shown("StatusText"),
    }
    scene(f"upgrade that does not start: {done['s']} s; {done['said'][-1]}")


def upgrade() -> None:
    """Upgrade from wheels that do not fit, then with Python gone from below the environment, to a newer version."""
    CONFIG.write_text(CONFIG.read_text() + "# mine\n")
    JOURNEY.write_text("kept")
    before = os.readlink(PLACE / "current"), shown("MainPID")
    poor = Path("/run/poor")
    poor.mkdir()
    for wheel in WHEELS.glob("underdash-*.whl"):
        shutil.copy(wheel, poor)
    SEEN["failed upgrade"] = {
        **install("--wheels", str(poor)),
        "same": (os.readlink(PLACE / "current"), shown("MainPID")) == before,
    }
    scene(f"failed upgrade: {SEEN['failed upgrade']['said'][-1]}")
    python = PLACE / "current/bin/python3"
    python.unlink()
    python.symlink_to("/usr/bin/python3.4")
    run("systemctl", "restart", "underdash")
    broken = shown("ActiveState")
    SEEN["upgrade"] = {
        "broken": broken,
        **install("--wheels", str(wheels_with("newer", "newer"))),
        "ready": until(ready),
        "plugins": run("underdash", "plugins", "--config", str(CONFIG)).stdout,
        "mine": CONFIG.read_text().endswith("# mine\n"),
        "environments": sorted(one.name for one in PLACE.iterdir()),
    }
    scene(f"upgrade over a Python that is gone: {SEEN['upgrade']['s']} s, {SEEN['upgrade']['said'][-1]}")


def removal() -> None:
    """Take it off again."""
    done = install("--remove")
    left = [
        str(one)
        for one in (PLACE, Path("/usr/local/bin/underdash"), Path("/etc/systemd/system/underdash.service"))
        if os.path.lexists(one)
    ]
    left += [
        str(one)
        for folder in ("udev/rules.d", "polkit-1/rules.d", "sysusers.d", "systemd/network")
        for one in Path("/etc", folder).glob("*underdash*")
    ]
    SEEN["removal"] = {
        **done,
        "left": left,
        "kept": CONFIG.exists() and JOURNEY.read_text() == "kept",
        "twice": install("--remove")["status"],
    }
    scene(f"removal: {done['said'][-1]}")


def main() -> None:
    """Play every scene, in the order of an owner's life."""
    run("modprobe", "-a", "vcan", "can-raw")
    for name in ("vcan0", "vcan1"):
        run("ip", "link", "add", name, "type", "vcan")
        run("ip", "link", "set", name, "up")
    run("modprobe", "vfb", "vfb_enable=1", "mode_option=320x240-16")
    for console in Path("/sys/class/vtconsole").glob("vtcon*"):
        if "frame buffer" in (console / "name").read_text():
            (console / "bind").write_text("0")
    SCREEN.write_bytes(bytes(320 * 240 * 2))
    wired.LINES.append(bench.set_up())
    for name in sys.argv[1:]:
        before = set(SEEN)
        try:
            SCENES[name]()
        except Exception as exc:
            SEEN.setdefault("trouble", []).append(f"{name}: {exc!r}")
            scene(f"trouble in {name}: {exc!r}")
            if name in ("fresh", "installed"):
                break
        # for whoever has to find out why it goes no further
        print("SAW", json.dumps({key: value for key, value in SEEN.items() if key not in before}), flush=True)
    print("SEEN", json.dumps(SEEN), flush=True)


SCENES = {
    "fresh": fresh,
    "installed": installed,
    "again": again,
    "network": network,
    "plugin": plugin,
    "first picture": first_picture,
    "rights": rights,
    "journey": journey,
    **{name: partial(play, SEEN) for name, play in mishaps.SCENES.items()},
    **{name: partial(play, SEEN) for name, play in wired.SCENES.items()},
    "broken version": upgrade_that_does_not_start,
    "upgrade": upgrade,
    "removal": removal,
}
"""Those that the arguments name are played, in their order."""

main()
