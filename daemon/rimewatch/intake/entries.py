"""Operator entries from outside: checked, then made into the service's own values.

An entry is a JSON object with ``do`` and that entry's keys. A key nobody knows is
refused: what a person meant to put on the record must not be lost. What is well-formed is then
asked for at the door (``rimewatch.evaluation.door``). Never reads a clock.
"""

import difflib
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Annotated, Any, Final, Literal, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    create_model,
)
from pydantic_core import PydanticCustomError

from rimewatch.config.secrets import canonical, without_secrets
from rimewatch.entries import ENTRY_CLASSES, AlarmEntry, AnyEntry
from rimewatch.entry_keys import Key, Number, Text, keys_of
from rimewatch.evaluation.door import OVER_SEVERAL
from rimewatch.instants import iso_ms


class EntryError(ValueError):
    """An entry cannot be taken. The text says what is wrong and what would be right."""


def parse_entry(entry: Mapping[str, object], at_ms: int) -> AnyEntry:
    """Return what a person entered.

    Args:
        entry: The entry's keys. ``at`` is left to the caller and not looked at.
        at_ms: When it was entered, milliseconds UTC.

    Raises:
        EntryError: If it is no entry: an unknown ``do``, a key missing or unknown, a
            value that is none of those allowed. One sentence, with the cure.
    """
    do = entry.get("do")
    kind = ENTRY_CLASSES.get(do) if isinstance(do, str) else None
    if kind is None:
        expected = ", ".join(ENTRY_CLASSES)
        said = "missing" if do is None else f"{_shown(do)}"
        raise EntryError(f'"do" is {said}; expected one of {expected}{_guess(do, ENTRY_CLASSES)}')
    given = {key: value for key, value in entry.items() if key != "at"}
    if kind in get_args(AlarmEntry) and given.get("rule") in OVER_SEVERAL:
        given.setdefault("unit", None)  # one alarm over several units
    model = _model(kind.do)
    try:
        checked = model.model_validate(given)
    except ValidationError as err:
        raise EntryError(_sentence(str(do), model, given, err)) from None
    said_of = {key.field: getattr(checked, key.name) for key in keys_of(kind)}
    for key in keys_of(kind):
        if key.many is not None:
            said_of[key.field] = tuple(said_of[key.field])
    if kind.one_of and sum(said_of[name] is not None for name in kind.one_of) != 1:
        choice = " or ".join(f'"{name}"' for name in kind.one_of)
        raise EntryError(f"{do}: expected {choice}, and not both")
    return kind(at_ms=at_ms, **said_of)


_CONFIG: Final = ConfigDict(
    strict=True, frozen=True, extra="forbid", allow_inf_nan=False, hide_input_in_errors=True
)


@cache
def _model(do: str) -> type[BaseModel]:
    """Return what checks a kind of entry, made from its declaration."""
    kind = ENTRY_CLASSES[do]
    keys: dict[str, Any] = {
        key.name: (_annotation(key), ... if key.is_required else key.default)
        for key in keys_of(kind)
    }
    keys["do"] = (Literal[do], ...)
    return create_model(kind.__name__, __config__=_CONFIG, **keys)


def _annotation(key: Key) -> Any:  # noqa: ANN401 (annotations have no type)
    kind: Any = key.kind
    if key.is_instant:
        kind = Annotated[int, BeforeValidator(_instant)]
    elif key.is_document:
        kind = Annotated[str, BeforeValidator(_document)]
    elif key.choice:
        kind = Literal[key.choice]
    elif key.words is not None:
        kind = Annotated[kind, Field(strict=False)]
    elif isinstance(key.bounds, Text):
        kind = Annotated[
            kind,
            StringConstraints(
                strip_whitespace=key.bounds.is_stripped,
                min_length=key.bounds.least,
                max_length=key.bounds.longest,
                pattern=key.bounds.pattern,
            ),
        ]
    elif isinstance(key.bounds, Number):
        kind = Annotated[kind, Field(gt=key.bounds.over, ge=key.bounds.least, le=key.bounds.most)]
    if key.many is not None:
        kind = Annotated[list[kind], Field(max_length=key.many.most)]
    return kind | None if key.may_be_none else kind


def _instant(value: object) -> int:
    at_ms = iso_ms(value) if isinstance(value, str) else None
    if at_ms is None:
        raise PydanticCustomError("instant", "not an instant")
    return at_ms


def _document(value: object) -> str:
    """Return a JSON object's text; secrets in it go no further than this."""
    if not isinstance(value, dict):
        raise PydanticCustomError("document", "not an object")
    try:
        return canonical(without_secrets(value))
    except ValueError:  # a number that is not finite
        raise PydanticCustomError("document", "not an object") from None


def _sentence(
    do: str, model: type[BaseModel], given: Mapping[str, object], err: ValidationError
) -> str:
    first = err.errors(include_url=False, include_context=True, include_input=False)[0]
    key = str(first["loc"][0])
    kind, context = first["type"], first.get("ctx", {})
    allowed = [name for name in model.model_fields if name not in ("do", "entered")]
    if kind == "missing":
        return f'{do}: "{key}" is missing; it needs {", ".join(_needed(model))}'
    if kind == "extra_forbidden":
        guess = _guess(key, allowed)
        return f"{do}: unknown key {_shown(key)}; it may have {', '.join(allowed)}{guess}"
    say = _SAID.get(kind)
    expected = say(context) if say is not None else first["msg"].lower()
    words = _ALTERNATIVE.findall(str(context["expected"])) if kind == "enum" else []
    value = given.get(key)
    return f'{do}: "{key}" is {_shown(value)}; expected {expected}{_guess(value, words)}'


_ALTERNATIVE: Final = re.compile(r"'([^']+)'")
_SAID: Final[Mapping[str, Callable[[Mapping[str, object]], str]]] = {
    "enum": lambda c: f"one of {str(c['expected']).replace(chr(39), '')}",
    "document": lambda _: "a table of keys and values, as JSON",
    "instant": lambda _: 'ISO 8601 with a zone, such as "2026-03-06T18:00:00Z"',
    "string_pattern_mismatch": lambda _: "64 lower-case hexadecimal digits",
    "int_type": lambda _: "a whole number",
    "bool_type": lambda _: "true or false",
    "string_type": lambda _: "text",
    "string_too_short": lambda _: "text that is not empty",
    "string_too_long": lambda c: f"at most {c['max_length']} characters",
    "float_type": lambda _: "a number",
    "finite_number": lambda _: "a finite number",
    "greater_than": lambda c: f"more than {c['gt']}",
    "greater_than_equal": lambda c: f"at least {c['ge']}",
    "less_than_equal": lambda c: f"at most {c['le']}",
    "literal_error": lambda c: f"one of {c['expected']}",
    "list_type": lambda _: "a list",
    "too_long": lambda c: f"at most {c['max_length']} of them",
}


def _needed(model: type[BaseModel]) -> list[str]:
    return [
        name for name, field in model.model_fields.items() if field.is_required() and name != "do"
    ]


def _guess(said: object, known: Mapping[str, object] | list[str]) -> str:
    close = difflib.get_close_matches(said, list(known), n=1) if isinstance(said, str) else []
    return f'; did you mean "{close[0]}"?' if close else ""


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f'"{value[:80]}"'
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    return ascii(value)[:80] if isinstance(value, float) else f"a {type(value).__name__}"
