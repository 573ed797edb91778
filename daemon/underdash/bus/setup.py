"""What is wrong with how an interface is set up, said to a person."""

from __future__ import annotations

from .controller import Controller
from .proof import Proof


def amiss(role: str, setup: Controller, bitrate: int | None, proof: Proof, now: float) -> str:
    """Say what is dangerous or wrong, with the next step; "" if nothing is.

    Args:
        role: "drive".
        setup: the interface.
        bitrate: bit/s that the car's bus should have, None where that is not known.
        proof: what speaks for its rate.
        now: monotonic seconds.
    """
    if not setup.real:
        return ""
    if bitrate is not None and setup.bitrate is not None and setup.bitrate != bitrate:
        return (
            f"{role}: {setup.name} runs at {setup.bitrate} bit/s, the car's description says {bitrate}; set the one "
            "that hears the car without errors, in the interface's .network file or in the description"
        )
    if proof.unanswered(now):
        return (
            f"{role}: the one request that may prove the rate was not answered, so this bus stays closed; check pins, "
            "rate and the unit's ids, then unplug the adapter and plug it in again"
        )
    if setup.listen_only or (setup.one_shot and proof.asked_only) or not proof.never(now):
        return ""
    return _taking_part(role, setup, proof.asked_only)


def oscillator(setup: Controller | None, bitrate: int | None) -> str:
    """Say that the oscillator is perhaps to blame where errors are all that is heard; "" where nothing speaks for it.

    Args:
        setup: the interface, None where it is not known.
        bitrate: bit/s of the car's bus.
    """
    if setup is None or not setup.place.startswith("spi") or setup.bitrate is None or setup.bitrate != bitrate:
        return ""
    clock = f", Linux counts with a clock of {setup.clock_hz / 1e6:g} MHz" if setup.clock_hz else ""
    return (
        f"{setup.name} is at the described {bitrate} bit/s{clock}: perhaps its oscillator is another one than "
        "config.txt says; compare the figure on it with oscillator= in its dtoverlay line"
    )


def _taking_part(role: str, setup: Controller, asked_only: bool) -> str:
    name = setup.name
    if asked_only and setup.may_one_shot is False:
        return (
            f"{role}: this bus is silent until asked, so its rate can only be proven by asking once, which the adapter "
            f"at {name} cannot do: it has no one-shot mode; keep it listening only, or use one that has"
        )
    mode = "one-shot" if asked_only else "listen-only"
    return (
        f"{role}: {name} takes part in the bus before its bit rate is proven, and at a wrong rate would disturb the "
        f"car; switch it over, as root: ip link set {name} down; ip link set {name} type can {mode} on; "
        f"ip link set {name} up"
    )
