"""The table of diagnostic services: which only read, which are refused, and why.

Status of this table: a judgement. Numbers and names are those of SAE J1979, ISO 14229-1 (UDS) and ISO 14230-3
(KWP2000); that a service "only reads" is our reading of what the standards say it does, not a promise by a maker. A
number means different things in different standards (28 controls communication in UDS and stops normal sending in
KWP2000), so a number is free only where every meaning of it reads. A number that is in no list is refused too.
No configuration changes this table.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a service does to the car."""

    READS = "reads"
    LATER = "not in this version"
    """It reads, but keeps a session open, loads the bus or streams."""
    DENIED = "denied"
    """It writes, actuates, resets, unlocks, silences or changes what a unit does."""
    MAKER = "a maker's own"
    """A0 to BE are left to makers; such a byte needs the owner's permission and evidence that it reads."""
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Service:
    """A service number with its meanings and the reason for its kind."""

    number: int
    kind: Kind
    name: str
    why: str

    def __str__(self) -> str:
        return f"service {self.number:02X} ({self.name})"


READS = (
    (0x01, "J1979 current data", "gives values, changes nothing"),
    (0x02, "J1979 freeze frame", "gives values kept with a fault"),
    (0x03, "J1979 stored trouble codes", "lists, does not clear"),
    (0x06, "J1979 monitor results", "gives results of tests that ran by themselves"),
    (0x07, "J1979 pending trouble codes", "lists, does not clear"),
    (0x09, "J1979 vehicle information", "gives identification"),
    (0x0A, "J1979 permanent trouble codes", "lists, does not clear"),
    (0x17, "KWP status of trouble codes", "lists, does not clear"),
    (0x18, "KWP trouble codes by status", "lists, does not clear"),
    (0x19, "UDS read trouble codes", "lists, does not clear"),
    (0x1A, "KWP identification", "gives identification"),
    (0x21, "KWP read by local identifier", "gives values"),
    (0x22, "UDS and KWP read by identifier", "gives values"),
    (0x24, "UDS read scaling", "says how a value is scaled"),
)

LATER = (
    (0x10, "UDS and KWP session control", "changes what a unit allows and does; only the default session is used"),
    (0x23, "UDS and KWP read memory", "reads anywhere, also where reading has effects, and loads the unit"),
    (0x2A, "UDS periodic reading", "makes a unit send by itself, beyond our caps"),
    (0x2C, "UDS and KWP define an identifier", "leaves a definition behind in the unit"),
    (0x3E, "UDS and KWP tester present", "holds a session open and keeps units awake"),
)

DENIED = (
    (0x04, "J1979 clear trouble codes", "erases faults and what the unit has learned"),
    (0x08, "J1979 control of a system", "actuates"),
    (0x11, "UDS and KWP reset", "restarts a unit, also while driving"),
    (0x14, "UDS and KWP clear trouble codes", "erases faults"),
    (0x27, "UDS and KWP security access", "unlocks, and locks out after wrong tries"),
    (0x28, "UDS communication control, KWP stop normal sending", "silences units"),
    (0x29, "UDS authentication, KWP start normal sending", "unlocks or changes communication"),
    (0x2E, "UDS and KWP write by identifier", "writes"),
    (0x2F, "UDS input and output control", "actuates"),
    (0x30, "KWP input and output control", "actuates"),
    (0x31, "UDS routine control, KWP start a routine", "runs procedures"),
    (0x32, "KWP stop a routine", "runs procedures"),
    (0x33, "KWP results of a routine", "belongs to procedures"),
    (0x34, "UDS and KWP request download", "writes memory"),
    (0x35, "UDS and KWP request upload", "opens a transfer"),
    (0x36, "UDS and KWP transfer data", "writes memory"),
    (0x37, "UDS and KWP end of transfer", "ends a transfer"),
    (0x38, "UDS file transfer", "writes files"),
    (0x3B, "KWP write by local identifier", "writes"),
    (0x3D, "UDS and KWP write memory", "writes memory"),
    (0x83, "UDS timing", "changes a unit's timing"),
    (0x84, "UDS secured transmission", "hides what is sent"),
    (0x85, "UDS and KWP setting of trouble codes", "switches fault detection off"),
    (0x86, "UDS and KWP response on event", "makes a unit send by itself"),
    (0x87, "UDS link control", "changes the bit rate"),
)

MAKERS = range(0xA0, 0xBF)

_TABLE = {
    number: Service(number, kind, name, why)
    for kind, rows in ((Kind.READS, READS), (Kind.LATER, LATER), (Kind.DENIED, DENIED))
    for number, name, why in rows
}


def service(number: int) -> Service:
    """Return what is known about a service number (SAE J1979, ISO 14229-1, ISO 14230-3)."""
    known = _TABLE.get(number)
    if known is not None:
        return known
    if number in MAKERS:
        return Service(number, Kind.MAKER, "left to makers", "only the maker knows what it does")
    return Service(number, Kind.UNKNOWN, "in no table", "nothing says that it only reads")
