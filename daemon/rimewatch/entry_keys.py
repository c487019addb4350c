"""How an entry's declaration says what each of its keys may hold, and how it is read. Pure.

A field of ``rimewatch.entries`` is a plain annotation with bounds beside it (:class:`Text`,
:class:`Number`, :class:`Many`, :data:`INSTANT`). :func:`keys_of` takes it apart, for whoever makes
a model or a codec of it: nothing about an entry's keys is written down a second time.
"""

from collections.abc import Iterator
from dataclasses import MISSING, dataclass, fields
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin, get_type_hints


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """Bounds of a text, in characters. Blanks around it do not count unless it says so."""

    least: int = 0
    longest: int | None = None
    pattern: str | None = None
    is_stripped: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """Bounds of a number, in the field's own unit."""

    over: float | None = None
    """It is larger than this."""
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Many:
    """Bounds of a list."""

    most: int


@dataclass(frozen=True, slots=True)
class Instant:
    """A point in time: milliseconds UTC inside, ISO 8601 with a zone outside."""


INSTANT: Final = Instant()


@dataclass(frozen=True, slots=True)
class Document:
    """A JSON object: its canonical text inside (keys sorted, no spaces), the object outside."""


DOCUMENT: Final = Document()

KEPT_BY_THE_BOOKS: Final = frozenset({"at_ms", "entry_number"})
"""Fields that are no keys of their own: ``at`` stands for the first, and who keeps the books
gives the second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of an entry.

    Attributes:
        field: The name of the field inside.
        name: Its key outside: an instant's field without its unit.
        kind: ``str``, ``bool``, ``int``, ``float``, or a set of words.
        choice: The numbers of which it is one; empty: it is not such a choice.
        bounds: What is said beside its kind; of each item, where there are several.
        many: Bounds of the list, where it is one.
        may_be_none: Whether nothing may stand for it.
        is_required: Whether it has no default.
        default: Its default, where it has one.
    """

    field: str
    name: str
    kind: type
    choice: tuple[int, ...] = ()
    bounds: Text | Number | Instant | Document | None = None
    many: Many | None = None
    may_be_none: bool = False
    is_required: bool = True
    default: object = None

    @property
    def is_instant(self) -> bool:
        """Whether it is a point in time."""
        return isinstance(self.bounds, Instant)

    @property
    def is_document(self) -> bool:
        """Whether it is a JSON object."""
        return isinstance(self.bounds, Document)

    @property
    def words(self) -> type[StrEnum] | None:
        """The set of words of which it is one; None: it is no such word."""
        return self.kind if issubclass(self.kind, StrEnum) else None


def keys_of(entry: type) -> tuple[Key, ...]:
    """Return the keys of a kind of entry, ``who`` first, in the order of their declaration.

    Raises:
        TypeError: If a field is of a kind that an entry cannot have.

    >>> from rimewatch.entries import MoveLot
    >>> [key.name for key in keys_of(MoveLot)]
    ['who', 'entered', 'lot', 'unit']
    """
    return _keys(entry)


@cache
def _keys(entry: type) -> tuple[Key, ...]:
    hints = get_type_hints(entry, include_extras=True)
    return tuple(
        _key(field.name, hints[field.name], field.default)
        for field in fields(entry)
        if field.name not in KEPT_BY_THE_BOOKS
    )


def _key(field: str, hint: Any, default: object) -> Key:  # noqa: ANN401 (annotations have no type)
    found: dict[str, Any] = {"kind": None}
    for part in _parts(hint):
        match part:
            case Text() | Number() | Instant() | Document():
                found["bounds"] = part
            case Many():
                found["many"] = part
            case tuple():
                found["kind"], found["choice"] = int, part
            case type() if part is NoneType:
                found["may_be_none"] = True
            case type():
                found["kind"] = part
    kind = found["kind"]
    if not isinstance(kind, type) or not issubclass(kind, str | int | float):
        raise TypeError(f"{field} is {hint}; expected text, a number, a truth or a set of words")
    is_required = default is MISSING
    return Key(
        field=field,
        name=field.removesuffix("_ms") if isinstance(found.get("bounds"), Instant) else field,
        is_required=is_required,
        default=None if is_required else default,
        **found,
    )


def _parts(hint: Any) -> Iterator[Any]:  # noqa: ANN401
    """Yield what an annotation is made of: kinds, bounds, and the numbers of a choice."""
    origin = get_origin(hint)
    if origin is Annotated:
        yield from _parts(hint.__origin__)
        yield from hint.__metadata__
    elif origin in {Union, UnionType}:
        for one in get_args(hint):
            yield from _parts(one)
    elif origin is Literal:
        yield get_args(hint)
    elif origin is tuple:
        yield from _parts(get_args(hint)[0])
    else:
        yield getattr(hint, "__supertype__", hint)  # an id is a text
