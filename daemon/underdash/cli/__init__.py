"""The command line: one file a verb, each with `add(parser)` and `run(arguments) -> exit status`.

Verbs import what they need when they run, so that ``underdash --help`` stays quick. Exit status: 0 done, 1 it could not
be done, 2 what was given is wrong, 130 stopped by the keyboard. A person sees sentences, never a traceback.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from importlib import import_module
from importlib.metadata import version

from ..contract.errors import UnderdashError

VERBS = {
    "run": "run the daemon",
    "demo": "run the daemon on a simulated car",
    "check": "say what is wrong with the configuration, and what to do",
    "plugins": "list plug-ins: what runs, what is only installed, what was refused and why",
    "page": "draw a page to a picture, from a trace or from given values",
    "read": "read every signal of a trace as CSV",
    "record": "write what the buses carry to a trace",
}


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="underdash",
        description="Shows what a car's buses know: listen, ask, show, and sleep when the car does. It only reads.",
        epilog="Not for use by the driver while driving. An added gauge does not replace the car's own warnings.",
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=f"underdash {version('underdash')}")
    verbs = top.add_subparsers(dest="verb", required=True, metavar="COMMAND", title="commands")
    for verb, text in VERBS.items():
        one = verbs.add_parser(verb, help=text, description=text[0].upper() + text[1:] + ".", allow_abbrev=False)
        import_module(f".{verb}", __name__).add(one)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    try:
        given = parser().parse_args(arguments)
        return int(import_module(f".{given.verb}", __name__).run(given))
    except UnderdashError as error:
        print(f"underdash: {error}", file=sys.stderr)
        return getattr(error, "exit_status", 1)
    except KeyboardInterrupt:
        print("underdash: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # whoever read our output has gone; say nothing more to it, at exit neither
        with contextlib.suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as error:
        place = f" {error.filename}" if error.filename else ""
        print(f"underdash: {error.strerror or error}{place}", file=sys.stderr)
        return 1
    except Exception:
        return _our_fault()


def _our_fault() -> int:
    """Keep the details of a mistake of ours in a file and say where they are."""
    with tempfile.NamedTemporaryFile("w", prefix="underdash-", suffix=".txt", delete=False) as kept:
        traceback.print_exc(file=kept)
    print(
        f"underdash: a mistake in underdash itself; the details are in {kept.name}, please report them", file=sys.stderr
    )
    return 1
