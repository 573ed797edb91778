"""What a board's wiring and config.txt say to a configuration: SPI, overlays, pins that two want, the oscillator."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..bus.controller import Controller, read
from ..bus.places import interfaces, resolve
from ..bus.port import PortAbsentError
from ..config.boot import FILES, Boot, CanOverlay, can_overlays, parse, pin_of, pins
from ..config.findings import Finding, Level
from ..config.schema import Config
from ..contract.cars import CarDescription
from .needs import Needs

_SPI = re.compile(r"spi(\d+)\.(\d+)")


@dataclass(frozen=True, slots=True)
class Connected:
    """A CAN interface as it hangs on this board.

    Attributes:
        role: of its bus.
        name: such as "can0"; "" while there is none.
        place: "spi0.0" where it hangs on SPI, else "".
    """

    role: str
    name: str
    place: str


def board_findings(
    config: Config,
    car: CarDescription,
    needs: Needs,
    root: Path,
    ask: Callable[[str], Controller | None] = read,
) -> Iterator[Finding]:
    """Say what does not go together on this board.

    Args:
        config: the configuration.
        car: its car.
        needs: what the configuration wants of the devices.
        root: the machine's root.
        ask: tells how Linux has set an interface up.
    """
    connected = list(connections(config, root))
    boot = read_boot(root)
    yield from _missing_devices(needs, connected, boot, root)
    controllers = [] if boot is None else list(can_overlays(boot))
    if boot is not None:
        yield from _overlays(connected, controllers, boot)
        yield from pin_conflicts(needs, boot)
    bitrates = {bus.role: bus.bitrate for bus in car.buses}
    for one in connected:
        setup = ask(one.name) if one.name else None
        if setup is not None and setup.real and one.role in bitrates:
            overlay = next((known for known in controllers if known.place == one.place), None)
            yield from oscillator(one, setup, overlay, errors_only(root, setup), bitrates[one.role])


def read_boot(root: Path) -> Boot | None:
    """Return what the firmware was told; None where there is no such file, or it may not be read."""
    for name in FILES:
        with contextlib.suppress(OSError):
            return parse((root / name).read_text(errors="replace"), model(root), f"/{name}")
    return None


def model(root: Path) -> str:
    """Return which board it is, "" where nothing tells."""
    with contextlib.suppress(OSError):
        return (root / "proc/device-tree/model").read_bytes().rstrip(b"\0").decode(errors="replace").strip()
    return ""


def connections(config: Config, root: Path) -> Iterator[Connected]:
    """Say where each SocketCAN bus of a configuration hangs."""
    network = root / "sys/class/net"
    there = interfaces(network)
    for role, bus in config.bus.items():
        if bus.interface != "socketcan":
            continue
        try:
            name = resolve(bus.hardware, network) if bus.hardware else bus.channel
        except PortAbsentError:
            name = ""
        match = _SPI.search(Path(there.get(name, "")).name if name in there else bus.hardware)
        yield Connected(role, name if name in there else "", match[0] if match else "")


def _missing_devices(needs: Needs, connected: list[Connected], boot: Boot | None, root: Path) -> Iterator[Finding]:
    taken = {bus.place for bus in connected if bus.name}
    for who, panel in needs.spi:
        number, select = panel.numbers
        if (root / f"dev/spidev{number}.{select}").exists() or panel.spi in taken:
            continue
        sentence = f"{who}: there is no /dev/spidev{number}.{select}"
        yield Finding(Level.ERROR, sentence, _spi_step(number, select, panel.spi, boot))


def _spi_step(number: int, select: int, place: str, boot: Boot | None) -> str:
    line = "dtparam=spi=on" if number == 0 else f"dtoverlay=spi{number}-{select + 1}cs"
    if boot is None:
        return "load what brings SPI devices to user programs (the kernel's spidev), or name another `spi`"
    if any(one.place == place for one in can_overlays(boot)):
        return f"an overlay in {boot.path} gives {place} to a CAN controller; name another `spi`"
    said = boot.on("spi") if number == 0 else any(one.name.startswith(f"spi{number}-") for one in boot.overlays)
    if said:
        return f"{boot.path} has SPI {number}: restart the board, and look into `dmesg` if that does not help"
    return f"write {line} into {boot.path} and restart the board"


def _overlays(connected: list[Connected], known: list[CanOverlay], boot: Boot) -> Iterator[Finding]:
    places = [one.place for one in known]
    for bus in connected:
        if bus.place and not bus.name and bus.place not in places:
            sentence = f"bus.{bus.role}: {boot.path} has no overlay for a CAN controller at {bus.place}"
            select = bus.place.removeprefix("spi").replace(".", "-")
            line = f"dtoverlay=mcp2515,spi{select},oscillator=16000000,interrupt=25"
            step = f"write {line} with the figures of your board (mcp251xfd for its newer kind), and restart it"
            yield Finding(Level.WARNING, sentence, step)
        elif bus.place and not bus.name:
            sentence = f"bus.{bus.role}: {boot.path} has its overlay at {bus.place}, and no interface came of it"
            step = "was the board restarted? `dmesg | grep -i mcp251` says what its driver found: wiring, interrupt"
            yield Finding(Level.WARNING, sentence, step)
    for place in sorted({place for place in places if place and places.count(place) > 1}):
        yield Finding(Level.WARNING, f"{boot.path} has two CAN overlays at {place}", "take one of them out")
    for one in known:
        if not one.place:
            sentence = f"{boot.path}: dtoverlay={one.overlay.name} does not say where its controller hangs"
            yield Finding(Level.WARNING, sentence, "add spi0-0 (controller and chip select) to the line")


def pin_conflicts(needs: Needs, boot: Boot) -> Iterator[Finding]:
    """Say which pins are wanted twice, at least once by an overlay or a panel's own lines."""
    users: dict[int, list[str]] = {}
    overlays = list(pins(boot))
    for number, who in overlays:
        users.setdefault(number, []).append(who)
    ours: Mapping[str, int | None] = {who: pin_of(name) for who, name in needs.lines}
    for who, pin in ours.items():
        if pin is not None:
            users.setdefault(pin, []).append(who)
    for number, names in sorted(users.items()):
        among_inputs = all(name.startswith("input ") or name.endswith("(backlight)") for name in names)
        if len(names) < 2 or among_inputs:  # inputs are compared with one another elsewhere
            continue
        level = Level.ERROR if any(name in ours for name in names) else Level.WARNING
        wanted = ", ".join(names[:-1]) + f" and {names[-1]}"
        yield Finding(level, f"GPIO{number} is wanted by {wanted}", "give each a pin of its own, and rewire it")


def errors_only(root: Path, setup: Controller) -> bool:
    """Return whether an interface has heard errors since it is up, and not one frame."""
    statistics = root / "sys/class/net" / setup.name / "statistics"
    frames, errors = (_count(statistics / name) for name in ("rx_packets", "rx_errors"))
    counted = setup.counters.bus_errors + setup.counters.passives if setup.counters else 0
    return frames == 0 and bool(errors or counted or setup.rx_errors)


def _count(path: Path) -> int | None:
    try:
        return int(path.read_text())
    except (OSError, ValueError):
        return None


def oscillator(
    bus: Connected, setup: Controller, overlay: CanOverlay | None, errors_only: bool, bitrate: int
) -> Iterator[Finding]:
    """Say whether the oscillator on a CAN board is perhaps another one than Linux takes it for.

    Args:
        bus: where it hangs.
        setup: how Linux has set it up.
        overlay: what config.txt says of it; None where that is not known.
        errors_only: it hears errors, and not one frame.
        bitrate: of the car's description, in bit/s.
    """
    stale = overlay is not None and setup.clock_hz not in (None, overlay.clock_hz)
    if overlay is not None and stale:
        divided = overlay.oscillator_hz // overlay.clock_hz
        now = _mhz((setup.clock_hz or 0) * divided)
        said = _mhz(overlay.oscillator_hz)
        sentence = f"bus.{bus.role}: Linux runs {setup.name} with an oscillator of {now}, config.txt says {said}"
        yield Finding(Level.WARNING, sentence, "restart the board; the figure on the oscillator says which is right")
    if not errors_only or setup.bitrate != bitrate:
        return
    sentence = f"bus.{bus.role}: {setup.name} has heard errors and not one frame, at the described {bitrate} bit/s"
    if not bus.place:
        yield Finding(Level.WARNING, sentence, "check rate (underdash listen --rates), wires and terminating resistors")
        return
    taken = overlay.oscillator_hz if overlay else None
    guess = f"; Linux takes its oscillator for {_mhz(taken)}" if taken else ""
    other = {8_000_000: "16 MHz", 16_000_000: "8 MHz", 40_000_000: "20 MHz"}.get(taken or 0)
    against = f": {other} against {_mhz(taken)} is usual" if other and taken else ""
    step = "read the figure on it and write it as oscillator= into its dtoverlay line; then check wires and terminators"
    yield Finding(Level.WARNING, f"{sentence}{guess}, which is perhaps wrong{against}", step)


def _mhz(hertz: int) -> str:
    return f"{hertz / 1e6:g} MHz"
