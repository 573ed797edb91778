"""``underdash contract [NAME]``: what a plug-in may import and which hooks it may have, each explained."""

from __future__ import annotations

import argparse
import ast
import inspect
import re
import textwrap
from collections.abc import Iterable
from enum import Enum
from itertools import pairwise
from typing import Any

from ..contract.errors import GivenError


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help="a hook, a type of underdash or a helper of underdash.testing, whole"
    )


def run(arguments: argparse.Namespace) -> int:
    """List everything with one line each, or explain what was named."""
    kinds = _everything()
    known = {name: thing for things in kinds.values() for name, thing in things.items()}
    if not arguments.names:
        print("\n\n".join(_listing(title, things) for title, things in kinds.items()))
        print("\nunderdash contract NAME explains one of them with all its parts")
        return 0
    print("\n\n\n".join(_explained(name, _found(name, known)) for name in arguments.names))
    return 0


def _everything() -> dict[str, dict[str, Any]]:
    """Return what there is by kind and name."""
    import underdash
    from underdash import testing
    from underdash.contract import hooks
    from underdash.loading import HOOKS

    public = {name: getattr(underdash, name) for name in underdash.__all__}
    return {
        "hooks": {name: getattr(hooks, name) for name in HOOKS},
        "from underdash import ...": {name: thing for name, thing in public.items() if _has_own_text(thing)},
        "from underdash.testing import ...": {
            name: getattr(testing, name) for name in testing.__all__ if callable(getattr(testing, name))
        },
    }


def _has_own_text(thing: object) -> bool:
    return inspect.isclass(thing) or inspect.isfunction(thing)


def _found(name: str, known: dict[str, Any]) -> Any:
    from ..config.mistakes import nearest

    if name not in known:
        near = nearest(name, known)
        guess = f"did you mean {near}? " if near else ""
        raise GivenError(f"the contract has no {name!r}; {guess}underdash contract lists all there is")
    return known[name]


def _listing(title: str, things: dict[str, Any]) -> str:
    width = max(map(len, things))
    lines = [f"  {name:<{width}}  {(inspect.getdoc(thing) or '').splitlines()[0]}" for name, thing in things.items()]
    return "\n".join([f"{title}:", *lines])


def _explained(name: str, thing: Any) -> str:
    """Return signature, docstring, members, and the methods with their own."""
    if isinstance(thing, type) and issubclass(thing, Enum):
        texts = _member_texts(thing)
        members = "\n".join(
            f"  {name}.{member.name} = {member.value!r}"
            + (f"\n      {said}" if (said := texts.get(member.name)) else "")
            for member in thing
        )
        return f"{name}\n\n{_indented(thing)}\n\n{members}"
    text = f"{name}{_signature(thing)}\n\n{_indented(thing)}"
    if not inspect.isclass(thing):
        return text
    methods = [
        f"  {'.' if isinstance(member, property) else ''}{own}{_signature(member)}\n\n{_indented(member, 6)}"
        for own, member in _methods(thing)
    ]
    return "\n\n".join([text, *methods])


def _member_texts(kind: type[Enum]) -> dict[str, str]:
    """Return what stands below each member in the source, which Python itself does not keep."""
    (body,) = ast.parse(textwrap.dedent(inspect.getsource(kind))).body
    lines = body.body if isinstance(body, ast.ClassDef) else []
    found = {}
    for before, after in pairwise(lines):
        if isinstance(before, ast.Assign) and isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            name = before.targets[0]
            if isinstance(name, ast.Name):
                found[name.id] = " ".join(str(after.value.value).split())
    return found


def _methods(thing: type) -> Iterable[tuple[str, Any]]:
    for name, member in vars(thing).items():
        if not name.startswith("_") and (inspect.isfunction(member) or isinstance(member, property)):
            yield name, member


def _signature(thing: Any) -> str:
    if isinstance(thing, property):
        return f" -> {inspect.signature(thing.fget).return_annotation}" if thing.fget else ""
    try:
        signature = inspect.signature(thing)
    except (TypeError, ValueError):
        return ""
    if inspect.isclass(thing):
        signature = signature.replace(return_annotation=signature.empty)
        if len(str(signature)) > 80:
            parts = "".join(f"\n    {_unquoted(str(parameter))}," for parameter in signature.parameters.values())
            return f"({parts}\n)"
    return _unquoted(str(signature))


def _unquoted(text: str) -> str:
    """Take the quotes off annotations, and leave them to defaults that are text or bytes."""
    return re.sub(r"(: |-> )'([^']*)'", r"\1\2", text)


def _indented(thing: Any, by: int = 2) -> str:
    text = inspect.getdoc(thing) or ""
    return "\n".join(" " * by + line if line else "" for line in text.splitlines())
