"""Where CAN interfaces hang.

An interface is named by where it hangs ("spi0.0", a USB serial number) rather than by "can0": which of two adapters
becomes can0 changes from one start to the next, and swapped buses mean a wrong rate on both.
"""

from __future__ import annotations

from pathlib import Path

from .port import PortAbsentError

NETWORK = Path("/sys/class/net")
_CAN_HARDWARE = "280"  # ARPHRD_CAN, of linux/if_arp.h


def interfaces(network: Path = NETWORK) -> dict[str, str]:
    """Return the CAN interfaces the kernel has now, each with the path of its device ("" if it is virtual)."""
    found = {}
    for entry in sorted(network.iterdir()) if network.is_dir() else []:
        if _read(entry / "type") == _CAN_HARDWARE:
            device = entry / "device"
            found[entry.name] = str(device.resolve()) if device.exists() else ""
    return found


def resolve(hardware: str, network: Path = NETWORK) -> str:
    """Return the name of the interface that hangs at `hardware`.

    Raises:
        PortAbsentError: none does, or several do; what there is is listed.
    """
    there = interfaces(network)
    fitting = [name for name, path in there.items() if path and _hangs_at(Path(path), hardware)]
    if len(fitting) == 1:
        return fitting[0]
    listed = "; ".join(f"{name} at {path or 'no device'}" for name, path in there.items()) or "none"
    problem = "fits none of the CAN interfaces" if not fitting else f"fits {' and '.join(fitting)}"
    raise PortAbsentError(f"hardware {hardware!r} {problem}; there are: {listed}; check the plug, or name another part")


def _read(path: Path) -> str | None:
    try:
        return path.read_text().strip()
    except OSError:
        return None


def _hangs_at(device: Path, hardware: str) -> bool:
    """Say whether a device's path has this part, or it or what it is plugged into has this serial number."""
    if hardware in device.parts or str(device).endswith(hardware):
        return True
    return any(_read(place / "serial") == hardware for place in (device, *list(device.parents)[:2]))
