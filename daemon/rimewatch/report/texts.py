"""The words of messages: shipped in some languages, and a shop's own over them.

Every language has the same keys with the same alternatives; a test holds that. A shop's
file may have any of them. Reads the shipped files; decides nothing, sends nothing.
"""

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Any, Final

from rimewatch.shop import MessageTexts

LANGUAGES: Final = ("en", "es")

ALWAYS_KNOWN: Final = frozenset({"unit", "since", "lasting", "waiting", "above", "first"})
"""Facts that every message has: the last alternative of a title or lead needs no others."""

FACTS: Final = ALWAYS_KNOWN | {
    "names", "fish", "air", "limit", "peak", "rate", "left", "cause", "why", "lots", "detail",
    "kilograms", "held", "needed", "passed", "nearest", "used", "unread", "link",
    "seen_at", "shared",
}  # fmt: skip
"""Every fact that a sentence about an alarm may ask for."""

LONGEST_FIRST: Final = 28
"""Characters of the first thing to do, so that it fits the first hundred of a message."""

_OTHER_FACTS: Final[Mapping[str, frozenset[str]]] = {
    "words.more": frozenset({"count"}),
    "words.late": frozenset({"made", "sent"}),
    "words.link": frozenset({"link"}),
    "test.title": frozenset({"shop"}),
    "test.body": frozenset({"shop"}),
    "page.raised": frozenset({"at", "ago"}),
    "page.acknowledged": frozenset({"at", "who"}),
    "page.returned": frozenset({"at"}),
    "page.measured": frozenset({"value", "probe", "ago"}),
    "page.limit": frozenset({"limit"}),
    "page.minutes": frozenset({"count"}),
    "page.back": frozenset({"at"}),
}
"""Facts of sentences that are about something else."""


def texts_of(messages: MessageTexts) -> Mapping[str, Any]:
    """Return the words to tell alarms in; a shop's own in place of the shipped ones."""
    shipped = shipped_texts(messages.language)
    return _merged(shipped, messages.overrides) if messages.overrides else shipped


@cache
def shipped_texts(language: str) -> Mapping[str, Any]:
    """Return a language's words as they are shipped."""
    source = files("rimewatch.report").joinpath(f"templates/messages.{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def problems_of(messages: MessageTexts) -> list[str]:
    """Return what is wrong with a shop's own words, a sentence each with the key's path."""
    shipped = shipped_texts(messages.language)
    return [
        f"{messages.source or 'messages.toml'}: {problem}"
        for problem in _problems(messages.overrides, shipped, "")
    ]


def _merged(base: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    return {
        key: _merged(value, over[key])
        if isinstance(value, dict) and isinstance(over.get(key), dict)
        else over.get(key, value)
        for key, value in base.items()
    }


def _problems(given: Mapping[str, Any], shipped: Mapping[str, Any], path: str) -> Iterator[str]:
    for key, value in given.items():
        here = f"{path}.{key}" if path else key
        if key not in shipped:
            meant = difflib.get_close_matches(key, list(shipped), n=1)
            known = f"did you mean {meant[0]}?" if meant else f"known here: {', '.join(shipped)}"
            yield f"{here} is not a known key; {known}"
        elif isinstance(shipped[key], dict):
            if isinstance(value, dict):
                yield from _problems(value, shipped[key], here)
            else:
                yield f"{here} is {_shown(value)}; expected a table"
        else:
            yield from _text_problems(value, shipped[key], here)


def _text_problems(value: object, shipped: object, path: str) -> Iterator[str]:
    like = _shape(shipped)
    if _shape(value) != like:
        yield f"{path} is {_shown(value)}; expected {like}"
        return
    if path == "words.weekdays" and isinstance(value, list) and len(value) != 7:
        yield f"{path} has {len(value)} texts; expected 7, Monday first"
    allowed = _OTHER_FACTS.get(path, FACTS)
    readable = True
    for place, text in _texts_in(value, path):
        for problem in _sentence_problems(text, allowed, place):
            readable = False
            yield problem
        if path.startswith("first.") and len(text) > LONGEST_FIRST:
            yield f"{place} has {len(text)} characters; expected at most {LONGEST_FIRST}"
    last = path.rpartition(".")[2]
    if last in ("title", "lead") and isinstance(value, list) and readable:
        rare = sorted(names_in(value[-1]) - ALWAYS_KNOWN)
        if rare:
            yield (
                f"{path}[{len(value) - 1}] needs {{{rare[0]}}}, which is not always known; "
                "expected a last text without it, or nothing could be said"
            )


def _sentence_problems(text: str, allowed: frozenset[str], place: str) -> Iterator[str]:
    try:
        names = names_in(text)
    except ValueError as error:
        yield f"{place} can't be filled in ({error}); a plain brace is written twice"
        return
    for name in sorted(names - allowed):
        meant = difflib.get_close_matches(name, sorted(allowed), n=1)
        cure = f"did you mean {{{meant[0]}}}?" if meant else f"known: {', '.join(sorted(allowed))}"
        yield f"{place} asks for {{{name}}}, which is no fact; {cure}"
    if not text.strip():
        yield f"{place} is empty; expected a text"


def names_in(text: str) -> set[str]:
    """Return the facts a text asks for.

    Raises:
        ValueError: If its braces cannot be read, or one holds more than a name.
    """
    names = set()
    for _, name, form, conversion in Formatter().parse(text):
        if name is None:
            continue
        if not name.isidentifier() or form or conversion:
            raise ValueError(f"{{{name}}} is not a plain name")
        names.add(name)
    return names


def _shape(value: object) -> str:
    if isinstance(value, str):
        return "a text"
    if isinstance(value, list) and value:
        shapes = {_shape(item) for item in value}
        if shapes == {"a text"}:
            return "a list of texts"
        if shapes == {"a list of texts"}:
            return "a list of lists of texts"
    return "something else"


def _texts_in(value: object, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _texts_in(item, f"{path}[{index}]")


def _shown(value: object) -> str:
    return f'"{value[:40]}"' if isinstance(value, str) else f"a {type(value).__name__}"
