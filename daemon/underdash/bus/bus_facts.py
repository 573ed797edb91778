"""What the guard has to know about a bus, and why nothing may go out on it, whatever the ignition says."""

from __future__ import annotations

from dataclasses import dataclass

from .refusals import Reason, Refusal


@dataclass(frozen=True, slots=True)
class BusFacts:
    """What is known about a bus.

    Args:
        proven: its rate was proven by listening.
        transmit: the owner's configuration lets us send on it.
        virtual: there is no wire and no rate to prove.
        bitrate: bit/s, None where there is none.
        listens: its interface listens only, so that nothing gets out.
        trial: one request may go out to prove the rate by its answer.
    """

    proven: bool = False
    transmit: bool = False
    virtual: bool = False
    bitrate: int | None = None
    listens: bool = False
    trial: bool = False


def closed(bus: str, facts: BusFacts, *, quiet: bool, recorded: bool) -> Refusal | None:
    """Say why nothing may go out on a bus.

    Args:
        bus: role.
        facts: what is known about it.
        quiet: somebody asked for no sending.
        recorded: it plays a recorded drive.
    """
    if quiet:
        sentence = f"{bus}: quiet was asked for; underdash quiet off releases it, so does the button that asked"
        return Refusal(Reason.QUIET, sentence)
    if recorded:
        sentence = f"{bus}: it plays a recorded drive, where nothing is asked; what was answered on it is shown"
        return Refusal(Reason.RECORDED, sentence)
    if not facts.transmit:
        return Refusal(
            Reason.TRANSMIT_OFF,
            f"{bus}: sending is not allowed; write transmit = true for this bus once listening shows what you expect",
        )
    if facts.listens and (facts.proven or facts.virtual):
        return Refusal(
            Reason.LISTENS,
            f"{bus}: its interface listens only; with the service's helper it takes part as soon as the rate is "
            "proven, else take ListenOnly=yes out of its .network file now that it is",
        )
    if facts.proven or facts.virtual or facts.trial:
        return None
    return Refusal(
        Reason.UNPROVEN,
        f"{bus}: its rate is not proven; 200 good frames and no error within a second prove it, so switch the "
        "ignition on and check rate and wiring",
    )
