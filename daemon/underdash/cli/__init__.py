"""The command line: one file a verb, each with `add(parser)` and `run(arguments) -> exit status`.

Verbs import what they need when they run, so that ``underdash --help`` stays quick. Exit status: 0 done, 1 it could not
be done, or nothing was found, 2 what was given is wrong, 130 stopped by the keyboard before what was wanted was there.
Where Ctrl-C is the usual end, as of a recording, the status is that of what came of it. A file that was named and is
missing or may not be read is 2, whatever it was to be; a package that is not installed is 1. A person sees sentences,
never a traceback.
"""

from __future__ import annotations

import argparse
import codecs
import contextlib
import io
import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

from ..contract.errors import GivenError, StoppedError, UnderdashError

KEYBOARD = StoppedError.exit_status

VERBS = {
    "run": "run the daemon",
    "demo": "run the daemon on a simulated car",
    "listen": "listen on each bus for a few silent seconds, then say what is there and what to do next",
    "check": "say what is wrong with the configuration and this machine, and what to do",
    "status": "tell how the running daemon is: buses, guard, requests, signals, plug-ins",
    "log": "tell in sentences what the daemon wrote to the journal",
    "why": "say why a signal has no value: which link between page and bus is broken, and what to do",
    "quiet": "send nothing until it is released",
    "dark": "put the panels out, after a daemon that could not",
    "plugins": "list plug-ins: what runs, what is only installed, what was refused and why",
    "page": "draw a page to a picture, from a trace or from given values; page test-card tries a panel",
    "signals": "list the names of signals, with unit, range and meaning",
    "contract": "explain hooks and types to authors of plug-ins",
    "mount": "draw a template on paper, one to one, for the place of a panel",
    "read": "read every signal of a trace as CSV",
    "car": "check, draw, begin, import and export descriptions of cars",
    "record": "write what the buses carry to a trace",
    "watch": "look on live: what moves by itself is hidden, and what answers to a press is drawn",
    "find": "find out from traces which bits of which frames carry what",
    "ask": "ask a control unit of the standing car by hand: one request, or a range of identifiers one by one",
}


def _spelt(given: argparse.Namespace) -> str:
    """Return the command as it was typed: ``underdash find pressed``."""
    words = ("underdash", given.verb, getattr(given, "question", None), getattr(given, "task", None))
    return " ".join(word for word in words if word)


class _Version(argparse.Action):
    """Says the version; looked up only then, since that reads files."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"underdash {version('underdash')}")
        parser.exit()


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with the arguments in one sentence."""

    def error(self, message: str) -> NoReturn:
        """End with a sentence instead of the usage lines, which nobody reads."""
        raise GivenError(f"{message}; see `{self.prog} --help`")


def parser(arguments: Sequence[str]) -> argparse.ArgumentParser:
    """Return the parser of the whole command line; it knows the arguments of those verbs only that are among them."""
    top = _Parser(
        prog="underdash",
        description="Shows what a car's buses know: listen, ask, show, and sleep when the car does. It only reads.",
        epilog="Not for use by the driver while driving. An added gauge does not replace the car's own warnings.",
        allow_abbrev=False,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="say which version this is")
    verbs = top.add_subparsers(dest="verb", required=True, metavar="COMMAND", title="commands")
    for verb, text in VERBS.items():
        one = verbs.add_parser(verb, help=text, description=text[0].upper() + text[1:] + ".", allow_abbrev=False)
        if verb in arguments:
            import_module(f".{verb}", __name__).add(one)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    _speak_any_terminal()
    try:
        words = sys.argv[1:] if arguments is None else arguments
        given, unknown = parser(words).parse_known_args(words)
        if unknown:
            raise GivenError(f"unrecognized arguments: {' '.join(unknown)}; see `{_spelt(given)} --help`")
        status = int(import_module(f".{given.verb}", __name__).run(given))
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except UnderdashError as error:
        _say(str(error))
        return error.exit_status
    except KeyboardInterrupt:
        _say("stopped")
        return KEYBOARD
    except BrokenPipeError:
        _say_no_more()
        return 1
    except OSError as error:
        _say_no_more()
        _say(f"{error.filename}: {error.strerror}" if error.filename else f"{error.strerror or error}")
        return 1
    except Exception:
        return _our_fault()


def entry() -> None:
    """Run the command line of this process and end it; what the installed program calls."""
    try:
        status = main()
    except KeyboardInterrupt:  # a second one, while the first was being dealt with
        status = KEYBOARD
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # it is over; nothing is left to stop
    sys.exit(status)


ALIKE = {"▁": "_", "▔": "#", "│": "|", "·": ".", "±": "+-", "→": "->", "×": "x"}
"""Signs of ours that not every terminal knows, and what they are drawn with there."""


def _speak_any_terminal() -> None:
    """Have a letter that a terminal does not know come out as one like it, or as a question mark.

    Where the standard error is closed, what is said there must not end up in an answer.
    """
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115 (for as long as the program runs)
    codecs.register_error("alike", _alike)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="alike")


def _alike(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(ALIKE.get(sign, "?") for sign in error.object[error.start : error.end]), error.end


def _say(sentence: str) -> None:
    with contextlib.suppress(OSError, AttributeError):
        print(f"underdash: {sentence}", file=sys.stderr, flush=True)


def _say_no_more() -> None:
    """Let what is still to be written out go nowhere: its reader has gone, or there is no room for it."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _our_fault() -> int:
    """Keep the details of a mistake of ours in a file and say where they are."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile("w", prefix="underdash-", suffix=".txt", delete=False) as kept:
        traceback.print_exc(file=kept)
    _say(f"a mistake in underdash itself; the details are in {kept.name}, please report them")
    return 1
