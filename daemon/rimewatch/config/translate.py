"""One table of the file against its model: what pydantic found, said as problems.

A table with a wrong key is read again without it, so that the other keys can still
be checked against each other and everything is reported at once.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Generic, TypeVar, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from rimewatch.config.keys import Expect
from rimewatch.config.problems import NOT_SHOWN, Problem, nearest, show
from rimewatch.config.table import Table
from rimewatch.config.tables import FieldsTable, MatchTable

SECRET_KEYS: Final = frozenset({"urls", "password", "heartbeat_url", "token"})
"""Keys whose values are never shown, whatever is wrong with them."""

INNER_TABLES: Final[Mapping[str, type[Table]]] = {"fields": FieldsTable, "match": MatchTable}
"""Tables inside a table, by their key."""

AnyTable = TypeVar("AnyTable", bound=Table)


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the file a table stands."""

    source: str
    path: str
    subject: str

    def problem(self, key: str, value: str, expected: str, verdict: str = "") -> Problem:
        """Return a problem with one of this table's keys (empty: with the table itself)."""
        return Problem(
            source=self.source,
            path=".".join(part for part in (self.path, key) if part),
            subject=self.subject,
            key=key,
            value=value,
            expected=expected,
            verdict=verdict,
        )


@dataclass(frozen=True, slots=True)
class Row(Generic[AnyTable]):
    """A table as read: its model where enough of it was right, and the keys that were wrong."""

    place: Place
    raw: Mapping[str, Any] = field(repr=False)
    table: AnyTable | None = field(repr=False)
    wrong: frozenset[str]

    def right(self, *keys: str) -> bool:
        """Return whether none of these keys has been refused already."""
        return self.wrong.isdisjoint(keys)


@dataclass(frozen=True, slots=True)
class Rows:
    """Every table of the file, as read, by its model."""

    read: Mapping[type[Table], Sequence[Row[Any]]]

    def every(self, model: type[AnyTable]) -> Sequence[Row[AnyTable]]:
        """Return the tables of a kind, in the order of the file."""
        return self.read[model]

    def tables(self, model: type[AnyTable]) -> list[AnyTable]:
        """Return those of a kind that could be read."""
        return [row.table for row in self.every(model) if row.table is not None]

    def one(self, model: type[AnyTable]) -> Row[AnyTable] | None:
        """Return the one table of a kind; None: the file has none."""
        return next(iter(self.every(model)), None)

    def the(self, model: type[AnyTable]) -> Row[AnyTable]:
        """Return the one table of a kind whose every key has a default: there always is one."""
        (row,) = self.every(model)
        return row


def read_table(
    model: type[AnyTable], raw: object, place: Place, problems: list[Problem]
) -> Row[AnyTable]:
    """Read one table; whatever is wrong with it is added to ``problems``.

    Args:
        model: What the table may hold.
        raw: The value that stands where the table should.
        place: Where that is.
        problems: Grows by one for each key that is wrong.
    """
    if not isinstance(raw, dict):
        problems.append(place.problem("", _shown(raw, ""), "expected a table of keys and values"))
        return Row(place, {}, None, frozenset())
    try:
        return Row(place, raw, model.model_validate(raw), frozenset())
    except ValidationError as refused:
        errors = refused.errors(include_url=False, include_context=False)
    problems.extend(_problems(errors, model, place))
    wrong = frozenset(str(error["loc"][0]) for error in errors)
    rest = {key: value for key, value in raw.items() if key not in wrong}
    try:
        table = model.model_validate(rest)
    except ValidationError:  # a key it can't do without: nothing more to be learned here
        return Row(place, raw, None, wrong)
    return Row(place, raw, table, wrong)


def unknown_key(place: Place, key: str, known: list[str]) -> Problem:
    """Return the problem of a key that means nothing here, with the one probably meant."""
    meant = nearest(key, known)
    cure = f"did you mean {meant}?" if meant else f"known here: {', '.join(known)}"
    shown = key if key.replace("-", "_").isidentifier() else show(key)
    return place.problem(shown, shown, cure, "is not a known key")


def keys_of(model: type[Table]) -> list[str]:
    """Return the keys a table may hold, as written in the file."""
    return [info.alias or name for name, info in model.model_fields.items()]


def _problems(errors: list[ErrorDetails], model: type[Table], place: Place) -> Iterator[Problem]:
    for error in errors:
        loc = error["loc"]
        inner = INNER_TABLES.get(str(loc[0]), model) if len(loc) > 1 else model
        if error["type"] == "extra_forbidden":
            problem = unknown_key(place, str(loc[-1]), keys_of(inner))
            if inner is not model:
                problem = place.problem(
                    f"{loc[0]}.{problem.key}", problem.value, problem.expected, problem.verdict
                )
            yield problem
            continue
        expect = _expectation(inner, loc if inner is model else loc[1:])
        missing = error["type"] == "missing"
        value = "missing" if missing else _shown(error["input"], str(loc[0]))
        cure = expect.sentence if missing or loc[0] in SECRET_KEYS else expect.cure(error["input"])
        yield place.problem(_joined(loc), value, cure)


def _shown(value: object, key: str) -> str:
    if key in SECRET_KEYS and not isinstance(value, list | dict):
        shown = show(value)
        return shown if isinstance(value, str) and "://" in value else NOT_SHOWN
    return show(value)


def _joined(loc: tuple[int | str, ...]) -> str:
    path = ""
    for part in loc:
        path += f"[{part}]" if isinstance(part, int) else f".{part}"
    return path.removeprefix(".")


def _expectation(model: type[Table], loc: tuple[int | str, ...]) -> Expect:
    """Return what a key should hold; for an item of a list, what the item should."""
    info = next(info for name, info in model.model_fields.items() if loc[0] in (info.alias, name))
    expects = list(_expects(info))
    assert expects, f"{model.__name__}.{loc[0]} has no Expect"
    return expects[-1] if len(loc) > 1 else expects[0]


def _expects(info: FieldInfo) -> Iterator[Expect]:
    yield from (item for item in info.metadata if isinstance(item, Expect))
    yield from _inside(info.annotation)


def _inside(annotation: object) -> Iterator[Expect]:
    """Yield expectations from the outside in: a list's own, then its items'."""
    if get_origin(annotation) is Annotated:
        first, *metadata = get_args(annotation)
        yield from (item for item in metadata if isinstance(item, Expect))
        yield from _inside(first)
    else:
        for argument in get_args(annotation):
            yield from _inside(argument)
