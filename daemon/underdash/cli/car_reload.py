"""``underdash car reload``: the running daemon reads its car's description again."""

from __future__ import annotations

import argparse


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments: it has none."""


def run(arguments: argparse.Namespace) -> int:
    """Have it read; what is wrong with the description is told, and then all goes on as before."""
    from ..service.client import Client
    from ..wiring.control import socket_paths

    with Client.connect(socket_paths()) as client:
        table = client.ask("reload")
    print(f"read again: {table['title'] or table['car']}")
    for problem in table["problems"]:
        print(problem)
    return 0
