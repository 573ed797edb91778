"""Whether a declaration holds what the types of its fields say, since nothing checks that when it is made.

A tuple without its comma, a number in quotes or a None would otherwise come up much later, far from whose it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import is_dataclass
from enum import Enum
from functools import cache
from reprlib import repr as shortly
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

_NAMES = {
    bool: "True or False", int: "a whole number", float: "a number", str: "a text", bytes: "bytes", NoneType: "None",
    tuple: "a tuple", type: "a class",
}  # fmt: skip


def misfit(item: object) -> str:
    """Say which field of a dataclass, or of one inside it, is not of its type; "" if all are.

    Whole numbers pass for numbers; True and False do not.
    """
    for name, hint in _hints(type(item)).items():  # type: ignore[arg-type]  # every class can be hashed
        wrong = _wrong(getattr(item, name), hint, name)
        if wrong:
            return wrong
    return ""


@cache
def _hints(kind: type) -> Mapping[str, Any]:
    return get_type_hints(kind) if is_dataclass(kind) else {}


def _wrong(value: object, hint: Any, where: str) -> str:
    if hint is Any or hint is object:
        return ""
    origin = get_origin(hint)
    if origin in (Union, UnionType):
        return _wrong_choice(value, get_args(hint), where)
    if origin is tuple and isinstance(value, tuple):
        return _wrong_tuple(value, get_args(hint), where)
    if not _is(value, origin or hint):
        return f"{where} is {shortly(value)} ({type(value).__name__}), it has to be {_name(origin or hint)}"
    inside = misfit(value)
    return f"{where}.{inside}" if inside else ""


def _wrong_choice(value: object, hints: tuple[Any, ...], where: str) -> str:
    found = [_wrong(value, hint, where) for hint in hints]
    if "" in found:
        return ""
    of_its_kind = [text for hint, text in zip(hints, found, strict=True) if _is(value, get_origin(hint) or hint)]
    names = " or ".join(_name(get_origin(hint) or hint) for hint in hints)
    said = f"{where} is {shortly(value)} ({type(value).__name__}), it has to be {names}"
    return of_its_kind[0] if of_its_kind else said


def _wrong_tuple(value: tuple[object, ...], hints: tuple[Any, ...], where: str) -> str:
    if hints[1:] == (...,):
        hints = (hints[0],) * len(value)
    if len(value) != len(hints):
        return f"{where} is {shortly(value)}, it has to have {len(hints)} parts"
    found = (_wrong(one, hint, f"{where}[{at}]") for at, (one, hint) in enumerate(zip(value, hints, strict=True)))
    return next((text for text in found if text), "")


def _is(value: object, kind: Any) -> bool:
    if kind is int:
        return type(value) is int  # a number of another class may compare, and so pass as an id, in its own way
    if kind is float:
        return isinstance(value, (int, float)) and not isinstance(value, bool)
    if kind is Callable:
        return callable(value)
    return isinstance(value, kind)


def _name(kind: Any) -> str:
    if kind is Callable:
        return "a function"
    if isinstance(kind, type) and issubclass(kind, Enum) and list(kind):
        return f"a {kind.__name__}, such as {kind.__name__}.{next(iter(kind)).name}"
    return _NAMES.get(kind, f"a {getattr(kind, '__name__', kind)}")
