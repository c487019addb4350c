"""What one key of the file may hold: types with their bounds, and the words that explain them.

An :class:`Expect` is written once beside each key and serves the refusals as well
as the schema that editors read. Pure.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, time
from enum import StrEnum
from functools import cache
from typing import Annotated, Any, Literal
from zoneinfo import available_timezones

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    GetJsonSchemaHandler,
    PlainValidator,
    WithJsonSchema,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from rimewatch.config.notation import (
    DEFROST_PATTERN,
    LOCAL_DATE_PATTERN,
    LOCAL_TIME_PATTERN,
    defrost,
    local_date,
    local_time,
)
from rimewatch.config.problems import listed, nearest
from rimewatch.config.topics import filter_fault
from rimewatch.shop import DefrostWindow
from rimewatch.vocabulary import Priority, Scale

Format = Literal["number", "json", "senml", "sparkplug", "csv"]


@dataclass(frozen=True, slots=True)
class Expect:
    """What a key should hold, for messages, and an example, for messages and editors."""

    what: str
    example: Any = field(hash=False)  # may be a list, which has no hash
    choices: Callable[[], Iterable[str]] | None = None
    """The words there are, where they are a closed set."""

    @property
    def sentence(self) -> str:
        """Return what was expected, with an example."""
        if self.what.startswith("one of "):
            return f"expected {self.what}"
        return f"expected {self.what}, such as {toml_text(self.example)}"

    def cure(self, given: object) -> str:
        """Return what was expected, and the word that was probably meant where one comes near."""
        if self.choices is None or not isinstance(given, str):
            return self.sentence
        meant = nearest(given, self.choices())
        return f'expected {self.what}; did you mean "{meant}"?' if meant else self.sentence

    def __get_pydantic_json_schema__(
        self, core_schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Give editors the same example."""
        schema = handler(core_schema)
        schema["examples"] = [self.example]
        return schema


def toml_text(value: Any) -> str:  # noqa: ANN401 - whatever a TOML file may hold
    r"""Return a value as it would be written in the file; text must be printable.

    >>> print(toml_text(["a", {"b": 'said "so"'}]))
    ["a", { b = "said \"so\"" }]
    """
    if isinstance(value, str | bool):
        return json.dumps(value, ensure_ascii=False)  # JSON's strings are TOML's basic strings
    if isinstance(value, list):
        return "[" + ", ".join(toml_text(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml_text(v)}" for k, v in value.items()) + " }"
    return str(value)


def _not_dots(value: str) -> str:
    # Ids become parts of file names and addresses, where "." and ".." mean folders.
    if not value.strip("."):
        raise ValueError("only dots")
    return value


def _named(value: str) -> str:
    if not value.strip():
        raise ValueError("blank")
    return value


@cache
def _zones() -> frozenset[str]:
    # Each call of the library walks through the whole database of time zones on the disk.
    return frozenset(available_timezones())


def _zone(value: str) -> str:
    if value not in _zones():
        raise ValueError("no such zone")
    return value


def _for_people(value: Scale) -> Scale:
    if value not in (Scale.CELSIUS, Scale.FAHRENHEIT):
        raise ValueError("people read °C or °F")
    return value


def _topic(value: str) -> str:
    if filter_fault(value):
        raise ValueError("not a topic filter")
    return value


Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9._-]+$", max_length=64), AfterValidator(_not_dots)]
Name = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_named)]
Celsius = Annotated[
    float, Field(ge=-273.15, le=500)
]  # absolute zero by the SI; nothing hotter here
Duration = Annotated[float, Field(ge=0, le=30 * 86_400)]
Interval = Annotated[float, Field(gt=0, le=30 * 86_400)]
LocalTime = Annotated[
    time,
    BeforeValidator(local_time),
    WithJsonSchema({"type": "string", "pattern": LOCAL_TIME_PATTERN}),
]
Holiday = Annotated[
    date,
    BeforeValidator(local_date),
    WithJsonSchema({"type": "string", "pattern": LOCAL_DATE_PATTERN}),
]
Defrost = Annotated[
    DefrostWindow,
    PlainValidator(defrost),
    WithJsonSchema({"type": "string", "pattern": DEFROST_PATTERN}),
]
Word = Field(strict=False)
"""For closed sets: a TOML file writes their words as text."""


def word_of(words: type[StrEnum] | tuple[str, ...], example: str) -> Expect:
    """Return the expectation of one word of a closed set."""
    choices = tuple(str(word) for word in words)
    return Expect("one of " + listed(choices), example, lambda: choices)


ID = Expect('letters, digits, ".", "_" and "-" alone (at most 64)', "case-1")
NAME = Expect("a name that people will recognise", "Front display case")
CLOCK = Expect("a local time HH:MM between 00:00 and 23:59, in quotes", "06:30")
PRIORITY = word_of(Priority, "high")

PeoplesScale = Annotated[
    Scale,
    Field(strict=False),
    AfterValidator(_for_people),
    WithJsonSchema({"type": "string", "enum": ["C", "F"]}),
]
Zone = Annotated[str, AfterValidator(_zone)]
Topic = Annotated[str, AfterValidator(_topic)]
RulePriority = Annotated[Priority, Word, PRIORITY] | None
