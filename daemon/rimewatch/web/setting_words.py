"""A change of settings in words: whose, which, before and after, in the shop's scale. Pure."""

from collections.abc import Iterable, Iterator

from rimewatch.evaluation.settings import Change
from rimewatch.report import wording
from rimewatch.vocabulary import Scale
from rimewatch.web.setting_kinds import One
from rimewatch.web.setting_subjects import Field, Subject, subject_of

TOLD_OF_A_NEW_ONE = ("kind", "limit_c", "unit", "measures", "topic", "contacts")
"""What is said of one that was added; all else of it is as usual, or seen on its page."""


def lines_of(changes: Iterable[Change], scale: Scale) -> Iterator[str]:
    """Yield a line for each setting that is another; one for all of a thing that came or went.

    >>> new = [Change(at_ms=0, key=f"unit.a.{k}", before=None, after=v)
    ...        for k, v in (("limit_c", -18.0), ("lag_s", 60.0))]
    >>> list(lines_of(new, Scale.CELSIUS))
    ['unit a added: Limit −18 °C']
    >>> moved = Change(at_ms=0, key="unit.a.limit_c", before=5.0, after=4.4444)
    >>> list(lines_of([moved], Scale.FAHRENHEIT))
    ['a, Limit: 41 °F → 40 °F']
    """
    groups: dict[str, list[Change]] = {}
    for change in changes:
        subject, whose, _ = _parts(change.key)
        groups.setdefault(f"{subject.table}.{whose}" if subject and whose else "", []).append(
            change
        )
    for group in groups.values():
        subject, whose, _ = _parts(group[0].key)
        if subject is not None and whose and len(group) > 1:
            if all(change.before is None for change in group):
                yield wording.printable(_came(subject, whose, group, scale))
                continue
            if all(change.after is None for change in group):
                yield wording.printable(f"{subject.one} {whose} taken away")
                continue
        yield from (wording.printable(_line(change, scale)) for change in group)


def _came(subject: Subject, whose: str, group: Iterable[Change], scale: Scale) -> str:
    told = [
        f"{own.label} {_value(own, change.after, scale)}"
        for change in group
        if (own := subject.field(name := _parts(change.key)[2])) and name in TOLD_OF_A_NEW_ONE
    ]
    return f"{subject.one} {whose} added" + (f": {', '.join(told)}" if told else "")


def _line(change: Change, scale: Scale) -> str:
    subject, whose, name = _parts(change.key)
    own = None if subject is None else subject.field(name)
    label = own.label if own is not None else name.replace("_", " ") or change.key
    before, after = (_value(own, value, scale) for value in (change.before, change.after))
    said = f"{label}: {before} → {after}"
    return f"{whose}, {said}" if whose else said


def _parts(key: str) -> tuple[Subject | None, str, str]:
    """Return what a key is about, whose it is, and its name there."""
    table, _, rest = key.partition(".")
    subject = subject_of(table)
    if subject is None or not subject.is_many:
        return subject, "", rest
    for field in subject.fields:  # an id may hold dots; a key's name is known
        if rest.endswith(f".{field.key}"):
            return subject, rest.removesuffix(f".{field.key}"), field.key
    whose, _, name = rest.rpartition(".")
    return subject, whose, name


def _value(own: Field | None, value: object, scale: Scale) -> str:
    if value is None or value == "":
        return "none"
    if own is None:
        return "yes" if value is True else "no" if value is False else str(value)
    if isinstance(own.kind, One):
        shown = own.kind.show(value, scale)
        return dict(own.kind.options({})).get(shown, shown)
    if isinstance(value, str):
        return value
    shown = own.kind.show(value, scale).replace("-", "−")
    return f"{shown} {own.kind.unit(scale)}".strip()
