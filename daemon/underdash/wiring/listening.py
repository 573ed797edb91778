"""A trace played through the parts of a car: what a daemon would have known, without opening anything."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from pathlib import Path

from ..bus.frames import Frame
from ..bus.trace import Trace, read_trace
from ..contract.errors import GivenError
from .assembly import Assembly

STEP_S = 0.04
BACK_S = 1.0
"""Frames of several buses may be written in a slightly wrong order."""
LOOKED_AHEAD = 5000
"""Frames that are read on to name the channels of a trace."""


class TracePlayer:
    """Plays a trace into an assembly, and computes derived signals as time goes by.

    Args:
        assembly: the car's parts.
        trace: the trace's file.
        roles: role of the bus by channel of the trace; guessed where there is only one way.

    Attributes:
        frames: data frames played.
        foreign: frames of buses the car does not have, and error, remote and FD frames.
        back_at: seconds of the first frame that is more than `BACK_S` older than one before it.
        start, now: seconds of the first and of the last frame.
        trace: for what is odd about the file, once it is played.

    Raises:
        UnderdashError: the trace cannot be opened, or its buses do not fit.
    """

    def __init__(self, assembly: Assembly, trace: Path, roles: Mapping[str, str]) -> None:
        self._assembly = assembly
        self._path = trace
        self._roles: dict[str, str | None] = dict(roles)
        self._given = dict(roles)
        self._channels: dict[str, None] = {}
        self._check_roles()
        self._goes_on = False
        self.frames = 0
        self.foreign = 0
        self.back_at: float | None = None
        self.start: float | None = None
        self.now = 0.0

    def play(self, until: float | None = None, before: Callable[[float], None] = lambda now: None) -> None:
        """Play all frames, or those of the first `until` seconds.

        Args:
            until: seconds after the first frame; None plays all.
            before: called with the time of each frame before it is handled.

        Raises:
            UnderdashError: the trace is no trace, has no frame, or names a bus that does not fit.
        """
        self.trace: Trace = read_trace(self._path)
        with contextlib.closing(self.trace):
            self._play(until, before)
        if self.start is None:
            raise GivenError(f"{self._path}: no frame in it; record one with underdash record")
        self._check_channels()
        if until is not None:
            self._check_end(self.start + until)
            self.now = self.start + until
        self._assembly.derived.step(self.now)

    def _play(self, until: float | None, before: Callable[[float], None]) -> None:
        derived = self._assembly.derived
        due = 0.0
        for table, frame in self._wanted(until):
            if frame.at >= due:
                derived.step(frame.at)
                due = frame.at + STEP_S
            before(frame.at)
            handler = table.get(frame.key) if table is not None else None
            if handler is not None:
                handler(frame.data, frame.at)

    def _wanted(
        self, until: float | None
    ) -> Iterator[tuple[Mapping[int, Callable[[bytes, float], None]] | None, Frame]]:
        tables = self._assembly.tables
        for channel, frame in self.trace:
            if self.start is None:
                self.start = frame.at
            if until is not None and frame.at > self.start + until:
                self._goes_on = True
                return
            if frame.at < self.now - BACK_S and self.back_at is None:
                self.back_at = self.now
            self.now = max(self.now, frame.at)
            role = self._roles[channel] if channel in self._channels else self._role(channel)
            if role is None or frame.error or frame.remote or frame.fd:
                self.foreign += 1
                continue
            self.frames += 1
            yield tables[role], frame

    def _role(self, channel: str) -> str | None:
        """Find the role of a channel that was met for the first time."""
        roles = list(self._assembly.tables)
        self._channels[channel] = None
        if channel not in self._given:
            free = channel in roles and channel not in self._given.values()
            self._roles[channel] = channel if free else None
        if not self._given and self._roles[channel] is None and not any(role in self._channels for role in roles):
            if len(roles) > 1 or len(self._channels) > 1:
                there = sorted({*self._channels, *(name for name, _ in islice(self.trace, LOOKED_AHEAD))})
                such_as = " ".join(f"--bus {role}={name}" for role, name in zip(roles, there, strict=False))
                raise GivenError(
                    f"{self._path}: which bus is which channel? The car has {', '.join(roles)}, the trace "
                    f"{' and '.join(map(repr, there))}; say such as {such_as}"
                )
            self._roles[channel] = roles[0]
        return self._roles[channel]

    @property
    def absent(self) -> list[str]:
        """Channels that were given a role and are not in the trace, once it is played."""
        return [channel for channel in self._given if channel not in self._channels]

    def _check_channels(self) -> None:
        missing = self.absent
        if missing and not self.frames:
            raise GivenError(
                f"--bus {self._given[missing[0]]}={missing[0]}: {self._path} has no such channel; "
                f"its channels are {', '.join(self._channels)}"
            )

    def _check_end(self, at: float) -> None:
        if self.start is not None and at > self.now and not self._goes_on:
            raise GivenError(
                f"{at - self.start:g} s is beyond the end of {self._path}, which lasts {self.now - self.start:.1f} s"
            )

    def _check_roles(self) -> None:
        for channel, role in self._given.items():
            if role not in self._assembly.tables:
                there = ", ".join(self._assembly.tables)
                raise GivenError(f"--bus {role}={channel}: the car has no bus {role!r}; its buses are {there}")
