"""Scenes of `service.py` in which somebody else's plug-in hangs, raises, crashes or leaks, and one that is nobody's."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from owning import (
    CONFIG,
    RUNTIME,
    lit,
    log,
    make_read_only,
    picture,
    ready,
    run,
    scene,
    show,
    shown,
    status,
    until,
)

Seen = dict[str, Any]

OURS = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "breaks"]
[bus.drive]
interface = "socketcan"
channel = "vcan0"
[power]
supply = "switched"
silence_s = 3600
[panel.main]
driver = "framebuffer"
size = [320, 240]
round = false
deck = ["boost", "raises", "hangs", "crashes", "exits", "aborts"]
settings = { device = "/dev/fb0" }
"""


def begin(seen: Seen) -> None:
    """Start with plug-ins that misbehave once they are told to; a restart by hand forgets what was before."""
    CONFIG.write_text(OURS)
    run("systemctl", "restart", "underdash")
    seen["with strangers"] = {"ready": until(ready), "memory": shown("MemoryCurrent"), "most": shown("MemoryMax")}
    scene(f"strangers' plug-ins run: memory {megabytes('MemoryCurrent')}, at most {megabytes('MemoryMax')}")


def megabytes(name: str) -> str:
    """Return a property of the service that is in bytes."""
    text = shown(name)
    return f"{int(text) / (1 << 20):.0f} MB" if text.isdecimal() else text


def new_life(does: Callable[[], object], seconds: float = 150.0) -> dict[str, Any]:
    """Do what ends the daemon, wait until it runs again, and return what is said of it."""
    restarts, begun = int(shown("NRestarts")), time.monotonic()
    does()
    back = until(lambda: int(shown("NRestarts")) > restarts and ready(), seconds, pause_s=1.0)
    return {"back_s": back, "lit": until(lit), **told(begun)}


def told(begun: float) -> dict[str, Any]:
    """Return what journal, `status` and `log` say since a moment."""
    written = log(begun)
    return {
        "watchdog": "Watchdog timeout" in written,
        "log": written.splitlines()[-12:],
        "memory": [line for line in written.splitlines() if "memory" in line],
        "named": "".join(line for line in written.splitlines() if "ended_badly" in line),
        "status": run("underdash", "status").stdout,
        "sentences": [line for line in run("underdash", "log").stdout.splitlines() if "before this one" in line][-1:],
    }


def flag(name: str) -> None:
    """Tell a plug-in to misbehave."""
    (RUNTIME / name).touch()


def hang(seen: Seen, kind: str) -> None:
    """Have a plug-in hang, and wait for the watchdog."""

    def hangs() -> None:
        if kind == "page":
            show("hangs")
        flag(f"hang-{kind}")

    seen[f"hang {kind}"] = found = new_life(hangs)
    scene(f"{kind} hangs: running again {found['back_s']} s later, by the watchdog: {found['watchdog']}")


def killed(seen: Seen) -> None:
    """Kill the daemon: the panel goes dark, and the service comes back."""
    restarts = int(shown("NRestarts"))
    was_lit = lit()
    run("systemctl", "kill", "--signal", "KILL", "underdash")
    dark = until(lambda: not lit(), 20)
    back = until(lambda: int(shown("NRestarts")) > restarts and ready())
    seen["killed"] = {
        "was_lit": was_lit,
        "dark_s": dark,
        "back_s": back,
        "lit": until(lit),
        "status": run("underdash", "status").stdout,
        "picture": picture(),
    }
    scene(f"SIGKILL: dark after {dark} s, READY again {back} s after that; the third bad end: safe mode")


def raises(seen: Seen) -> None:
    """Turn to a page that raises: it costs that page."""
    restarts, begun = shown("NRestarts"), time.monotonic()
    show("raises")
    off = until(lambda: "page 'raises' was taken off" in str(status().get("faults")), 30)
    seen["raises"] = {"off_s": off, "same life": shown("NRestarts") == restarts, **told(begun)}
    scene(f"page raises: taken off after {off} s, the daemon goes on: {seen['raises']['same life']}")


def leaks(seen: Seen) -> None:
    """Have a plug-in hold more and more: it is suspended before the daemon has to end."""
    restarts, begun = shown("NRestarts"), time.monotonic()
    flag("leak-python")
    found = until(lambda: "plug-in breaks suspended" in str(status().get("faults")), 240, pause_s=2.0)
    memory = shown("MemoryCurrent")
    seen["leak"] = {"found_s": found, "same life": shown("NRestarts") == restarts, **told(begun), "taken": memory}
    seen["leak"]["why"] = run("underdash", "why", "breaks.now").stdout
    scene(f"plug-in leaks: suspended after {found} s at {megabytes('MemoryCurrent')}, the daemon goes on")
    (RUNTIME / "leak-python").unlink()


def ends(seen: Seen, name: str, does: Callable[[], object], seconds: float = 150.0) -> None:
    """Have a plug-in take the whole process with it."""
    seen[name] = found = new_life(does, seconds)
    found["picture"] = picture()
    how = (found["named"] or "".join(found["memory"])).partition('how="')[2].partition('"')[0]
    scene(f"{name}: running again {found['back_s']} s later; {how}")


def forgotten(seen: Seen) -> None:
    """Restart by hand, after which everything is tried again."""
    run("systemctl", "restart", "underdash")
    seen["forgotten"] = {"ready": until(ready), "faults": status().get("faults")}
    scene(f"restarted by hand: faults {seen['forgotten']['faults']}")


def worn_out(seen: Seen) -> None:
    """Have the disk become one that cannot be written any more: the daemon goes on, and can be started again."""
    CONFIG.write_text(OURS)
    run("systemctl", "restart", "underdash")
    found: Seen = {"before": until(ready), "read only": make_read_only(), "goes on": bool(status())}
    begun = time.monotonic()
    run("systemctl", "restart", "underdash")
    found |= {"ready": until(ready), "s": round(time.monotonic() - begun, 1), "lit": until(lit)}
    found["log"] = log(begun).splitlines()
    seen["worn out"] = found
    scene(f"root read-only: the daemon goes on: {found['goes on']}; READY {found['s']} s after a restart was asked for")


SCENES: dict[str, Callable[[Seen], None]] = {
    "with strangers": begin,
    "page raises": raises,
    "loop hangs": lambda seen: hang(seen, "loop"),
    "page hangs": lambda seen: hang(seen, "page"),
    "killed": killed,
    "out of safe mode": forgotten,
    "page crashes": lambda seen: ends(seen, "page crashes in C", lambda: show("crashes")),
    "page exits": lambda seen: ends(seen, "page ends the process", lambda: show("exits")),
    "leaks in C": lambda seen: ends(seen, "plug-in leaks in C", lambda: flag("leak-c"), 240),
    "out of safe mode again": forgotten,
    "page aborts": lambda seen: ends(seen, "page aborts in C", lambda: show("aborts")),
    "leaks at once": lambda seen: ends(seen, "plug-in takes all memory at once", lambda: flag("burst")),
    "plug-in leaks": leaks,
    "worn out": worn_out,
}
