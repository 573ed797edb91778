"""The root of every error this program raises on purpose.

A message says what was being done, where, what was found, what is allowed, and the next step; it is printed as it is.
"""

from __future__ import annotations


def raised(exc: BaseException) -> str:
    """Say what a plug-in's code raised; an exception of its own may raise once more when it is asked what it says."""
    try:
        return f"{type(exc).__name__}: {exc}"
    except (Exception, SystemExit):
        return type(exc).__name__


class UnderdashError(Exception):
    """Something a person can put right; the message says how.

    Attributes:
        exit_status: what a command ends with: 1, it could not be done.
    """

    exit_status = 1


class StoppedError(UnderdashError):
    """A person stopped it before what was wanted was there."""

    exit_status = 130


class GivenError(UnderdashError):
    """What was given is wrong, and the same will be wrong again: an argument, the configuration, a description."""

    exit_status = 2
