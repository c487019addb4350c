"""A form about some settings: what it shows, and what somebody made of it. Pure.

Each field goes with what it showed (``was``), so that a form that was open while somebody else
changed a setting undoes nothing: a field that was left alone is as it is now; one that both
changed is shown with both, and asked again. What was typed is never thrown away.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field, replace
from typing import Any, Final

from rimewatch.config.changing import Finding, Tables
from rimewatch.report import wording
from rimewatch.vocabulary import Scale
from rimewatch.web.setting_kinds import (
    MANY,
    Choice,
    Degrees,
    Difference,
    NotRead,
    Number,
    One,
    Secret,
    Some,
)
from rimewatch.web.setting_subjects import Field, Subject

TYPED: Final = "f."
WAS: Final = "was."
_ANY_DEGREES: Final = re.compile(r"(-?\d+(?:\.\d+)?) °C(?: \((-?\d+(?:\.\d+)?) °F\))?")
_WRITTEN: Final = re.compile(r'\bwrite ([a-z_]+) = "[^"]*"')
_OF_THE_FILE: Final = re.compile(r"^expected (a number in °C|a difference in °C|seconds)")
"""What the file's own units are named by: a page has others."""
_SOURCE: Final = re.compile(r"^\S+: ")
"""The file's name, which a page has no need of."""
_TABLE: Final = re.compile(r"\[\[?([a-z_]+)\]\]?")
_KEY: Final = re.compile(r"\b[a-z]+(?:_[a-z]+)+\b")

ByWhom = Callable[[str], str]
"""Who changed a key last, and when, in words; empty: nobody knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldView:
    """One field as a template shows it."""

    name: str
    label: str
    widget: str
    unit: str
    value: str
    was: str
    help: str
    usual: str
    options: tuple[Choice, ...] = ()
    ticked: frozenset[str] = frozenset()
    held: str = ""
    """Of a secret: what may be said of what is kept."""
    error: str = ""
    is_more: bool = False
    is_needed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What somebody made of a form."""

    item: dict[str, Any]
    """The table as it would be."""
    typed: Mapping[str, str]
    """By key, as they typed it."""
    errors: dict[str, str] = field(default_factory=dict)
    """By key, what is wrong, in the shop's words."""

    def also(self, errors: Mapping[str, str]) -> "Filled":
        """Return it with further errors."""
        return replace(self, errors={**self.errors, **errors})


def views_of(
    subject: Subject,
    item: Mapping[str, Any],
    tables: Tables,
    scale: Scale,
    filled: Filled | None = None,
) -> list[FieldView]:
    """Return the fields of a form.

    Args:
        subject: What it is about.
        item: The table as it is now; empty for a new one.
        tables: The whole configuration, which says what there is to choose from.
        scale: What the shop reads.
        filled: What somebody made of it, where it is shown again.
    """
    return [_view(each, item, tables, scale, filled) for each in subject.fields]


def _view(
    each: Field,
    item: Mapping[str, Any],
    tables: Tables,
    scale: Scale,
    filled: Filled | None,
) -> FieldView:
    held = value_at(item, each.key)
    shown = "" if held is None else _shown(each, held, scale)
    value = shown if filled is None else filled.typed.get(each.key, shown)
    options = tuple(each.kind.options(tables)) if isinstance(each.kind, One | Some) else ()
    if isinstance(each.kind, One) and value and value not in [sent for sent, _ in options]:
        options = (*options, (value, value))
    is_needed = not each.usual and each.kind.widget not in ("ticks", "secret")
    return FieldView(
        name=TYPED + each.key,
        label=each.label,
        widget=each.kind.widget,
        unit=each.kind.unit(scale),
        value=value,
        was=shown,
        help=each.help,
        usual=_usual(each, scale),
        options=options,
        ticked=frozenset(value.split(MANY)),
        held=each.kind.held(held) if isinstance(each.kind, Secret) else "",
        error="" if filled is None else filled.errors.get(each.key, ""),
        is_more=each.is_more,
        is_needed=is_needed and not (isinstance(each.kind, Secret) and held),
    )


def _usual(each: Field, scale: Scale) -> str:
    if each.usual_value is None:
        return each.usual
    return each.usual.format(f"{each.kind.show(each.usual_value, scale)} {each.kind.unit(scale)}")


def filled_in(
    subject: Subject,
    item: Mapping[str, Any],
    sent: Mapping[str, str],
    tables: Tables,
    scale: Scale,
    by_whom: ByWhom = lambda _: "",
) -> Filled:
    """Return what somebody made of a form.

    Args:
        subject: What it is about.
        item: The table as it is now.
        sent: The form's fields as they were sent.
        tables: The whole configuration.
        scale: What the shop reads.
        by_whom: Tells who changed a key last.
    """
    made, typed, errors = deepcopy(dict(item)), {}, {}
    for each in subject.fields:
        text = _sent(each, sent, tables)
        if text is None:
            continue  # the form did not ask for it
        typed[each.key] = text
        was = _plain(sent.get(WAS + each.key, ""))
        held = value_at(item, each.key)
        now = "" if held is None else _shown(each, held, scale)
        if text == was:
            # Left alone, it is shown as it is now: sent again, the form undoes nothing of others'.
            typed.pop(each.key)
            if now == "" and _is_needed(each, held):
                errors[each.key] = "This has to be filled in."
            continue
        if now not in (was, text):
            who = by_whom(each.key)
            errors[each.key] = (
                f"Meanwhile this was changed to {now or 'nothing'}{f' ({who})' if who else ''}. "
                "Send it again to have it as you typed it."
            )
        elif text == "" and _is_needed(each, None):
            errors[each.key] = "This has to be filled in."
        elif text == "":
            _take(made, each.key)
        else:
            try:
                _put(made, each.key, each.kind.read(text, scale))
            except NotRead as unread:
                errors[each.key] = str(unread)
    return Filled(item=made, typed=typed, errors=errors)


def beside_fields(
    subject: Subject, place: str, findings: Iterable[Finding], scale: Scale
) -> tuple[dict[str, str], list[str]]:
    """Return what the configuration's check says, beside its fields; and what is of none of them.

    Args:
        subject: What the form is about.
        place: Where its table stands, such as ``unit[1]``.
        findings: What is wrong.
        scale: What the shop reads.
    """
    errors: dict[str, str] = {}
    others: list[str] = []
    for finding in findings:
        key = re.sub(r"\[\d+\]$", "", finding.path.removeprefix(f"{place}."))
        is_inside = finding.path.startswith(f"{place}.")
        own = (subject.field(key) or subject.field(key.partition(".")[0])) if is_inside else None
        said = in_shops_words(finding.sentence, subject, own, scale)
        if own is None:
            others.append(said)
        else:
            errors.setdefault(own.key, said)
    return errors, others


def in_shops_words(sentence: str, subject: Subject, own: Field | None, scale: Scale) -> str:
    """Return a sentence of the check as a page says it: in the shop's scale, with its labels.

    >>> from rimewatch.web.setting_subjects import UNIT
    >>> said = 'shop.toml: unit "a": limit_c is 6.0; expected 5.0 °C (41 °F) or less'
    >>> in_shops_words(said, UNIT, UNIT.field("limit_c"), Scale.FAHRENHEIT)
    'Expected 41 °F or less.'
    """
    said = sentence
    if own is not None:
        head, cut, tail = sentence.partition("; expected ")
        said = f"expected {tail}" if cut else head
        if _OF_THE_FILE.search(said) and isinstance(own.kind, Degrees | Difference | Number):
            said = f"expected {own.kind.wanted(scale)}"
    else:
        said = _SOURCE.sub("", said)
    said = _WRITTEN.sub(r"fill in \1", said)

    def in_scale(found: re.Match[str]) -> str:
        if scale is Scale.FAHRENHEIT:
            number = found[2] or f"{wording.in_scale(float(found[1]), scale):g}"
            return f"{number} °F"
        return f"{float(found[1]):g} °C"

    def label(found: re.Match[str]) -> str:
        known = subject.field(found[0])
        return f"“{known.label}”" if known is not None else found[0]

    said = _TABLE.sub(r"\1", said)
    said = _KEY.sub(label, _ANY_DEGREES.sub(in_scale, said)).strip()
    said = said[:1].upper() + said[1:]
    return said if said.endswith((".", "?", "!")) else f"{said}."


def value_at(item: Mapping[str, Any], key: str) -> Any:  # noqa: ANN401 (whatever it holds)
    """Return what a table holds under a key; None: nothing."""
    first, _, rest = key.partition(".")
    held = item.get(first)
    return held.get(rest) if rest and isinstance(held, dict) else None if rest else held


def name_for(name: str, taken: Iterable[str]) -> str:
    """Return an id of its own, made of a name.

    >>> name_for("Front case, left", ["front-case-left"])
    'front-case-left-2'
    """
    base = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:50] or "new"
    known, found, count = set(taken), base, 2
    while found in known:
        found, count = f"{base}-{count}", count + 1
    return found


def _sent(each: Field, sent: Mapping[str, str], tables: Tables) -> str | None:
    """Return what a field was sent with, as one text; None: it was not in the form."""
    name = TYPED + each.key
    if isinstance(each.kind, Some):
        if WAS + each.key not in sent:
            return None
        options: Sequence[Choice] = each.kind.options(tables)
        return MANY.join(value for value, _ in options if f"{name}:{value}" in sent)
    return _plain(sent[name]) if name in sent else None


def _shown(each: Field, held: object, scale: Scale) -> str:
    return _plain(each.kind.show(held, scale))


def _plain(text: str) -> str:
    """Return a text with the line ends that a form's are compared by."""
    return text.replace("\r\n", "\n").strip()


def _is_needed(each: Field, held: object) -> bool:
    return not each.usual and held is None


def _put(item: dict[str, Any], key: str, value: object) -> None:
    first, _, rest = key.partition(".")
    if not rest:
        item[first] = value
        return
    inner = dict(item.get(first) or {})
    inner[rest] = value
    item[first] = inner


def _take(item: dict[str, Any], key: str) -> None:
    first, _, rest = key.partition(".")
    if not rest:
        item.pop(first, None)
        return
    inner = dict(item.get(first) or {})
    inner.pop(rest, None)
    if inner:
        item[first] = inner
    else:
        item.pop(first, None)
