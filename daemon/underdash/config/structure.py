"""Tables to dataclasses, strictly: no number out of text, no unknown key, every mistake of a table at once.

`cattrs` walks the dataclasses; this file says what each type accepts and turns its errors into mistakes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING as MISSING_FIELD
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from cattrs import ClassValidationError, Converter, IterableValidationError
from cattrs.errors import AttributeValidationNote, ForbiddenExtraKeysError, IterableValidationNote

from ..contract.plugin import Limits
from .mistakes import MISSING, ConfigError, KeyPath, Mistakes, Source, Words, value_text

T = TypeVar("T")
Hook = Callable[[Any, Any], Any]
INTERNAL = {"underdash": "not from the file"}
"""Metadata of a dataclass field that is filled in by the program."""


class WrongError(ValueError):
    """A value that is not allowed: what is, and right spellings to find the nearest among."""

    def __init__(self, allowed: str, near: tuple[str, ...] = ()) -> None:
        super().__init__(allowed)
        self.allowed = allowed
        self.near = near


class TogetherError(WrongError):
    """Keys that are each allowed and do not go together, as the dataclass's ``__post_init__`` says."""


class Structure:
    """Makes dataclasses of the tables of one file.

    Args:
        mistakes: collects what is wrong.
    """

    def __init__(self, mistakes: Mistakes) -> None:
        self.mistakes = mistakes
        self._converter = _converter()

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
            return self._converter.structure(table, kind)
        except Exception as exc:  # plug-ins bring the dataclass, so anything may come out of it
            _collect(exc, table, kind, self.mistakes, path)
            return None


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


@dataclass(frozen=True, slots=True)
class Wording:
    """In an ``Annotated`` type: what is said to be allowed, where the type alone says too little."""

    allowed: str


Hex = Annotated[str, Wording('hex digits in quotes and without 0x ("1001", not 0x1001)')]
"""Bytes, ids and identifiers: a bare number would leave open which digits are meant."""


@cache
def _converter() -> Converter:
    """Build the converter once; it keeps the code it makes for each dataclass, which is most of the time."""
    converter = Converter(detailed_validation=True)
    for kind, name in ((bool, "true or false"), (int, "a whole number"), (str, 'text in quotes ("...")')):
        converter.register_structure_hook(kind, _exact(kind, name))
    converter.register_structure_hook(float, _number)
    pairs: tuple[tuple[Callable[[Any], bool], Callable[[Any, Converter], Hook]], ...] = (
        (lambda t: t is Any or t is object, lambda _, __: lambda value, _: value),
        (lambda t: get_origin(t) is Literal, lambda t, _: _one_of(get_args(t), None)),
        (lambda t: get_origin(t) in (Union, UnionType), _union),
        (lambda t: get_origin(t) in (list, tuple), _sequence),
        (lambda t: get_origin(t) in (dict, Mapping) or get_origin(t) is _MAPPING, _mapping),
        (lambda t: isinstance(t, type) and is_dataclass(t), _dataclass),
        (lambda t: get_origin(t) is Annotated, _limited),
    )
    for fits, factory in pairs:
        converter.register_structure_hook_factory(fits, _with(converter, factory))
    return converter


def _hook(converter: Converter, kind: Any) -> Hook:
    """Find what structures a type; cattrs itself would take an enumeration of texts for a text."""
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _one_of(tuple(member.value for member in kind), kind)
    return converter.get_structure_hook(kind)


def _with(converter: Converter, factory: Callable[[Any, Converter], Hook]) -> Callable[[Any], Hook]:
    return lambda kind: factory(kind, converter)


_MAPPING = get_origin(Mapping[str, int])


def _exact(kind: type, name: str) -> Hook:
    def hook(value: Any, _: Any) -> Any:
        if type(value) is not kind:
            raise WrongError(name)
        return value

    return hook


def _number(value: Any, _: Any) -> float:
    if type(value) not in (int, float) or abs(value) > 1e300 or not isfinite(value):
        raise WrongError("a number")
    return float(value)


def _one_of(choices: tuple[Any, ...], kind: Any) -> Hook:
    listed = ", ".join(f'"{c}"' if isinstance(c, str) else str(c).lower() for c in choices)

    def hook(value: Any, _: Any) -> Any:
        if not any(type(value) is type(choice) and value == choice for choice in choices):
            raise WrongError(f"one of {listed}", tuple(c for c in choices if isinstance(c, str)))
        return value if kind is None else kind(value)

    return hook


def _union(kind: Any, converter: Converter) -> Hook:
    members = [m for m in get_args(kind) if m is not NoneType]
    hooks = [(m, _hook(converter, m)) for m in members]

    def hook(value: Any, _: Any) -> Any:
        reasons = []
        for member, inner in hooks:
            try:
                return inner(value, member)
            except WrongError as exc:
                reasons.append(exc)
        if len(reasons) == 1:
            raise reasons[0]
        raise WrongError(" or ".join(r.allowed for r in reasons), tuple(n for r in reasons for n in r.near))

    return hook


def _sequence(kind: Any, converter: Converter) -> Hook:
    members = get_args(kind)
    size = None if get_origin(kind) is list or members[-1] is Ellipsis else len(members)
    member_hooks = [_hook(converter, m) for m in members if m is not Ellipsis]

    def hook(value: Any, _: Any) -> Any:
        if not isinstance(value, list) or size not in (None, len(value)):
            raise WrongError("a list in brackets ([...])" if size is None else f"a list of {size}")
        made, errors = [], []
        for index, item in enumerate(value):
            at = 0 if size is None else index
            try:
                made.append(member_hooks[at](item, members[at]))
            except Exception as exc:  # kept for the list of all mistakes
                errors.append(_noted(exc, IterableValidationNote("item", index, members[at])))
        if errors:
            raise IterableValidationError("list", errors, kind)
        return made if get_origin(kind) is list else tuple(made)

    return hook


def _mapping(kind: Any, converter: Converter) -> Hook:
    member = get_args(kind)[1]
    inner = _hook(converter, member)

    def hook(value: Any, _: Any) -> Any:
        if not isinstance(value, dict):
            raise WrongError("a table")
        made, errors = {}, []
        for name, item in value.items():
            try:
                made[name] = inner(item, member)
            except Exception as exc:  # kept for the list of all mistakes
                errors.append(_noted(exc, IterableValidationNote("item", name, member)))
        if errors:
            raise IterableValidationError("table", errors, kind)
        return made

    return hook


def _dataclass(kind: Any, converter: Converter) -> Hook:
    """Fill a dataclass. By a loop and not by cattrs' generated code: making that takes longer than all files take."""
    hints = get_type_hints(kind, include_extras=True)
    known = {item.name: item for item in fields(kind) if item.init and item.metadata != INTERNAL}
    needed = {name for name, item in known.items() if item.default is MISSING_FIELD is item.default_factory}

    def hook(value: Any, _: Any) -> Any:
        if not isinstance(value, dict):
            raise WrongError("a table")
        given: dict[str, Any] = {}
        errors: list[Exception] = []
        for name in known.keys() & value.keys():
            try:
                given[name] = _hook(converter, hints[name])(value[name], hints[name])
            except Exception as exc:  # kept for the list of all mistakes
                errors.append(_noted(exc, AttributeValidationNote("key", name, hints[name])))
        for name in needed - value.keys():
            errors.append(_noted(KeyError(name), AttributeValidationNote("key", name, hints[name])))
        if extra := value.keys() - known.keys():
            errors.append(ForbiddenExtraKeysError("", kind, set(extra)))
        if errors:
            raise ClassValidationError("table", errors, kind)
        try:
            return kind(**given)
        except ValueError as exc:
            raise TogetherError(str(exc) or "keys that go together", getattr(exc, "near", ())) from exc

    return hook


def _limited(kind: Any, converter: Converter) -> Hook:
    inner, *notes = get_args(kind)
    hook = _hook(converter, inner)
    limits = [note for note in notes if isinstance(note, Limits)]
    wording = next((note for note in notes if isinstance(note, Wording)), None)

    def checked(value: Any, _: Any) -> Any:
        try:
            made = hook(value, inner)
        except WrongError:
            if wording is None:
                raise
            raise WrongError(wording.allowed) from None
        for limit in limits:
            if not limit.hold(made):
                raise WrongError(limit.text)
        return made

    return checked


def _noted(exc: Exception, note: AttributeValidationNote | IterableValidationNote) -> Exception:
    exc.add_note(note)
    return exc


def _collect(exc: BaseException, table: object, kind: Any, mistakes: Mistakes, path: KeyPath) -> None:
    """Walk down cattrs' tree of errors; the notes on each say where it belongs."""
    if isinstance(exc, ClassValidationError | IterableValidationError):
        for inner in exc.exceptions:
            step, inner_kind = _step(inner)
            below = table if step is None else _item(table, step)
            _collect(inner, below, inner_kind or getattr(exc, "cl", kind), mistakes, (*path, *_some(step)))
    elif isinstance(exc, ForbiddenExtraKeysError):
        known = tuple(f.name for f in fields(exc.cl) if f.metadata != INTERNAL)
        given = set(table) if isinstance(table, dict) else set()
        free = set(known) - given
        allowed = "keys " + ", ".join(sorted(free)) if free else "no further key; all there are stand there already"
        for name in sorted(exc.extra_fields):
            mistakes.add((*path, name), name, allowed, free)
    elif isinstance(exc, TogetherError) and isinstance(table, dict):
        mistakes.add(path, Words(_together(table)), exc.allowed)
    elif isinstance(exc, WrongError):
        mistakes.add(path, table, exc.allowed, exc.near)
    elif isinstance(exc, KeyError) and table is MISSING:
        mistakes.add(path, MISSING, "this key must be there")
    else:
        mistakes.add(path, table, str(exc) or type(exc).__name__)


def _together(table: Mapping[str, object]) -> str:
    text = ", ".join(f"{name} = {value_text(value)}" for name, value in table.items())
    return text if 0 < len(text) <= 200 else f"{len(table)} keys" if table else "an empty table"


def _step(exc: BaseException) -> tuple[str | int | None, Any]:
    for note in getattr(exc, "__notes__", ()):
        if isinstance(note, AttributeValidationNote):
            return note.name, note.type
        if isinstance(note, IterableValidationNote):
            return note.index, note.type
    return None, None


def _some(step: str | int | None) -> KeyPath:
    return () if step is None else (step,)


def _item(table: object, step: str | int) -> object:
    if isinstance(table, dict):
        return table.get(step, MISSING)
    if isinstance(table, list) and isinstance(step, int):
        return table[step]
    return MISSING
