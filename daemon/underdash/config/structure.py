"""Tables to dataclasses, strictly: no number out of text, no unknown key, every mistake of a table at once.

Each type has a maker: it is given what the file holds and returns the value, or raises what is wrong with it. That is
all a file needs, and a library that makes code for each dataclass takes longer to load than all files take to be read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING as MISSING_FIELD
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

from ..contract.plugin import Limits
from .mistakes import MISSING, ConfigError, KeyPath, Mistakes, Source, Words, value_text

T = TypeVar("T")
Maker = Callable[[Any], Any]
Wrong = tuple[str | int, object, Exception]
"""A key or a position, what is there, and what is wrong with it."""
INTERNAL = {"underdash": "not from the file"}
"""Metadata of a dataclass field that is filled in by the program."""


class WrongError(ValueError):
    """A value that is not allowed: what is, and right spellings to find the nearest among."""

    def __init__(self, allowed: str, near: Iterable[str] = ()) -> None:
        super().__init__(allowed)
        self.allowed = allowed
        self.near = near


class TogetherError(WrongError):
    """Keys that are each allowed and do not go together, as the dataclass's ``__post_init__`` says."""


class _InsideError(Exception):
    """All that is wrong inside a table or list."""

    def __init__(self, wrong: Iterable[Wrong]) -> None:
        super().__init__()
        self.wrong = wrong


class Structure:
    """Makes dataclasses of the tables of one file.

    Args:
        mistakes: collects what is wrong.
    """

    def __init__(self, mistakes: Mistakes) -> None:
        self.mistakes = mistakes

    def make(self, kind: type[T], table: object, path: KeyPath = ()) -> T | None:
        """Make a dataclass of a table.

        Args:
            kind: the dataclass; `Limits` in an ``Annotated`` type are checked, and so is its ``__post_init__``, whose
                ValueError says what is allowed. It is asked once each key of its table is right: what another value
                would stand for, nobody knows.
            table: what the file holds.
            path: where the table stands in the file.

        Returns:
            The instance, or None if there were mistakes.
        """
        try:
            made: T = _maker(kind)(table)  # type: ignore[arg-type]  # every class can be hashed
        except Exception as exc:  # plug-ins bring the dataclass, so anything may come out of it
            self._add(exc, table, path)
            return None
        return made

    def _add(self, exc: Exception, found: object, path: KeyPath) -> None:
        if isinstance(exc, _InsideError):
            for step, below, inner in exc.wrong:
                self._add(inner, below, (*path, step))
        elif isinstance(exc, TogetherError) and isinstance(found, dict):
            self.mistakes.add(path, Words(_together(found)), exc.allowed)
        elif isinstance(exc, WrongError):
            self.mistakes.add(path, found, exc.allowed, exc.near)
        else:
            self.mistakes.add(path, found, str(exc) or type(exc).__name__)


def check_settings(settings: type[T], table: Mapping[str, object], source: Source, path: KeyPath) -> T:
    """Check a plug-in's table of the configuration against its dataclass.

    Args:
        settings: the plug-in's dataclass.
        table: its ``[plugin.<name>]`` table; empty if it has none.
        source: the file, for its name and lines.
        path: where the table stands, ``("plugin", name)``.

    Returns:
        The settings.

    Raises:
        ConfigError: the table does not fit; all its mistakes are in it.
    """
    mistakes = Mistakes(source)
    made = Structure(mistakes).make(settings, dict(table), path)
    mistakes.raise_any()
    if made is None:  # cannot happen; tells the type checker
        raise ConfigError([])
    return made


class Wording(NamedTuple):
    """In an ``Annotated`` type: what is said to be allowed, where the type alone says too little."""

    allowed: str


Hex = Annotated[str, Wording('hex digits in quotes and without 0x ("1001", not 0x1001)')]
"""Bytes, ids and identifiers: a bare number would leave open which digits are meant."""


@cache
def _maker(kind: Any) -> Maker:
    """Return what makes a type; it is built once, and what is inside a dataclass when it is first there."""
    if build := _BUILT.get(get_origin(kind)):
        return build(kind)
    if is_dataclass(kind):
        return _dataclass(kind)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _one_of(tuple(member.value for member in kind), kind)
    return _PLAIN.get(kind) or _unknown(kind)


def _exact(kind: type, name: str) -> Maker:
    def make(value: Any) -> Any:
        if type(value) is not kind:
            raise WrongError(name)
        return value

    return make


def _number(value: Any) -> float:
    if type(value) not in (int, float) or abs(value) > 1e300 or not isfinite(value):
        raise WrongError("a number")
    return float(value)


def _as_it_is(value: Any) -> Any:
    return value


def _unknown(kind: Any) -> Maker:
    def make(value: Any) -> Any:
        raise WrongError(f"nothing, as a {getattr(kind, '__name__', kind)} cannot be read from a file; tell its author")

    return make


def _one_of(choices: tuple[Any, ...], kind: type[Enum] | None = None) -> Maker:
    listed = ", ".join(f'"{c}"' if isinstance(c, str) else str(c).lower() for c in choices)

    def make(value: Any) -> Any:
        if not any(type(value) is type(choice) and value == choice for choice in choices):
            raise WrongError(f"one of {listed}", [c for c in choices if isinstance(c, str)])
        return value if kind is None else kind(value)

    return make


def _union(kind: Any) -> Maker:
    members = [member for member in get_args(kind) if member is not NoneType]

    def make(value: Any) -> Any:
        reasons = []
        for member in members:
            try:
                return _maker(member)(value)
            except WrongError as exc:
                reasons.append(exc)
        if len(reasons) == 1:
            raise reasons[0]
        raise WrongError(" or ".join(r.allowed for r in reasons), [n for r in reasons for n in r.near])

    return make


def _sequence(kind: Any) -> Maker:
    members = [member for member in get_args(kind) if member is not Ellipsis]
    size = len(members) if get_origin(kind) is tuple and Ellipsis not in get_args(kind) else None

    def make(value: Any) -> Any:
        if not isinstance(value, list) or size not in (None, len(value)):
            raise WrongError("a list in brackets ([...])" if size is None else f"a list of {size}")
        kinds = members * len(value) if size is None else members
        return get_origin(kind)(_each(zip(range(len(value)), value, kinds, strict=True)).values())

    return make


def _mapping(kind: Any) -> Maker:
    member = get_args(kind)[1]

    def make(value: Any) -> Any:
        if not isinstance(value, dict):
            raise WrongError("a table")
        return _each((name, item, member) for name, item in value.items())

    return make


def _dataclass(kind: Any) -> Maker:
    hints = get_type_hints(kind, include_extras=True)
    known = {item.name: item for item in fields(kind) if item.init and item.metadata != INTERNAL}
    needed = {name for name, item in known.items() if item.default is MISSING_FIELD is item.default_factory}

    def make(value: Any) -> Any:
        if not isinstance(value, dict):
            raise WrongError("a table")
        free = known.keys() - value.keys()
        allowed = "keys " + ", ".join(sorted(free)) if free else "no further key; all there are stand there already"
        wrong: list[Wrong] = [(name, name, WrongError(allowed, free)) for name in value.keys() - known.keys()]
        wrong += [(name, MISSING, WrongError("this key must be there")) for name in needed - value.keys()]
        given = _each(((name, value[name], hints[name]) for name in known.keys() & value.keys()), wrong)
        try:
            return kind(**given)
        except ValueError as exc:
            raise TogetherError(str(exc) or "keys that go together", getattr(exc, "near", ())) from exc

    return make


def _limited(kind: Any) -> Maker:
    inner, *notes = get_args(kind)
    limits = [note for note in notes if isinstance(note, Limits)]
    wording = next((note for note in notes if isinstance(note, Wording)), None)

    def make(value: Any) -> Any:
        try:
            made = _maker(inner)(value)
        except WrongError:
            if wording is None:
                raise
            raise WrongError(wording.allowed) from None
        for limit in limits:
            if not limit.hold(made):
                raise WrongError(limit.text)
        return made

    return make


def _each(items: Iterable[tuple[Any, object, Any]], wrong: Iterable[Wrong] = ()) -> dict[Any, Any]:
    """Make several values, each told by its key or position, its value and its type.

    Raises:
        _InsideError: with all that is wrong with them, besides what was known to be `wrong` before.
    """
    made, errors = {}, list(wrong)
    for step, item, kind in items:
        try:
            made[step] = _maker(kind)(item)
        except Exception as exc:  # kept for the list of all mistakes
            errors.append((step, item, exc))
    if errors:
        raise _InsideError(errors)
    return made


_BUILT: Mapping[Any, Callable[[Any], Maker]] = {
    Literal: lambda kind: _one_of(get_args(kind)),
    Union: _union,
    UnionType: _union,
    list: _sequence,
    tuple: _sequence,
    dict: _mapping,
    Mapping: _mapping,
    Annotated: _limited,
}
"""By what a type is made of."""
_PLAIN: Mapping[Any, Maker] = {
    bool: _exact(bool, "true or false"),
    int: _exact(int, "a whole number"),
    str: _exact(str, 'text in quotes ("...")'),
    float: _number,
    Any: _as_it_is,
    object: _as_it_is,
}


def _together(table: Mapping[str, object]) -> str:
    text = ", ".join(f"{name} = {value_text(value)}" for name, value in table.items())
    return text if 0 < len(text) <= 200 else f"{len(table)} keys" if table else "an empty table"
