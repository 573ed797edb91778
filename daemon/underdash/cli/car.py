"""``underdash car``: what is done with descriptions. One file a task, ``car_<task>.py``."""

from __future__ import annotations

import argparse
from importlib import import_module

TASKS = {
    "check": "hold a description against recordings of whole journeys: false presses, values that cannot be",
    "show": "draw where the fields of a frame sit, or list the frames of a description",
    "draft": "begin a description from a recording",
    "import": "make a description of a DBC file",
    "export": "write what a description hears as a DBC file",
    "reload": "have the running daemon read its car's description again, without closing a bus",
}


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    tasks = parser.add_subparsers(dest="task", required=True, metavar="TASK", title="tasks")
    for task, text in TASKS.items():
        one = tasks.add_parser(task, help=text, description=text[0].upper() + text[1:] + ".", allow_abbrev=False)
        import_module(f".car_{task}", __package__).add(one)


def run(arguments: argparse.Namespace) -> int:
    """Do it."""
    return int(import_module(f".car_{arguments.task}", __package__).run(arguments))
