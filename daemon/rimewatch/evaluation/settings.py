"""What a shop's configuration says, key by key, and what is different in another one. Pure.

For the record: a limit that was moved is as much a part of it as a temperature. Values that
are secret (addresses of contacts, passwords, tokens) are never named: of those it is told
whether they are set, or how many. Every field that :mod:`rimewatch.shop` keeps out of its
texts (``repr=False``) is one, so that a new secret is left out by the same word.

References:
    [1] 21 CFR 123.9(a): date, time and signature or initials on each record.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date, time
from enum import Enum
from itertools import pairwise
from typing import Final

from rimewatch.entries import AnyEntry, CalibrationCheck, ChangeSettings
from rimewatch.shop import Shop
from rimewatch.vocabulary import UnitId

Value = str | int | float | bool | None
Settings = Mapping[str, Value]
"""Values by their keys' paths, such as ``unit.case-1.limit_c``."""

LIMITS: Final = frozenset({"limit_c", "operating_limit_c", "deadband_c", "on_delay_s", "lag_s"})
"""A unit's settings that decide when somebody is told: whoever moves them moves the watch."""

_LONGEST: Final = 200
_KEYS: Final = {
    "name": "shop.name",
    "timezone": "shop.timezone",
    "display": "shop.display",
    "summary_at": "shop.summary_at",
    "holidays": "shop.holidays",
    "use_by_ice_days": "shop.use_by_ice_days",
    "acknowledged_for_s": "shop.acknowledged_for_s",
    "units": "unit",
    "probes": "probe",
    "contacts": "contact",
    "shifts": "rota",
    "self_watch": "watch",
    "paper": "records.paper",
    "keep_chilled_days": "records.keep_chilled_days",
    "keep_frozen_days": "records.keep_frozen_days",
    "keep_days": "records.keep_days",
}
"""The shop's parts, by the names that the configuration file has for them."""
_INNER: Final = {"begins": "from", "ends": "to"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One setting that is another than before."""

    at_ms: int
    """When the service began to use it."""
    key: str
    before: Value
    """None: there was no such setting."""
    after: Value
    """None: there is no such setting any more."""
    who: str = ""
    """Who changed it, where somebody said so; empty: nobody did."""

    @property
    def unit(self) -> str:
        """The unit whose setting it is; empty: none's."""
        kind, _, rest = self.key.partition(".")
        return rest.rpartition(".")[0] if kind == "unit" else ""

    @property
    def name(self) -> str:
        """The last part of its key."""
        return self.key.rpartition(".")[2]

    @property
    def moves_the_watch(self) -> bool:
        """Whether it is a limit, or a delay, of a unit that is watched before and after."""
        return bool(self.unit) and self.name in LIMITS

    @property
    def words(self) -> str:
        """The change as a line: ``case-1 limit_c 5.0 → 4.4``."""
        kind, _, rest = self.key.partition(".")
        where, _, name = rest.rpartition(".")
        is_of_one = kind in ("unit", "probe", "contact") and where
        subject = f"{where} {name}" if is_of_one else self.key
        return f"{subject} {_shown(self.before)} → {_shown(self.after)}"

    def to_text(self) -> str:
        """Return it as JSON, without its time."""
        return json.dumps(
            {"key": self.key, "before": self.before, "after": self.after, "who": self.who},
            ensure_ascii=False,
            separators=(",", ":"),
        )

    @classmethod
    def from_text(cls, at_ms: int, text: str) -> "Change":
        """Return what :meth:`to_text` wrote."""
        found = json.loads(text)
        return cls(
            at_ms=at_ms,
            key=found["key"],
            before=found["before"],
            after=found["after"],
            who=found["who"],
        )


def settings_of(shop: Shop) -> dict[str, Value]:
    """Return a shop's settings with their defaults filled in, secrets left out."""
    found: dict[str, Value] = {}
    for field in fields(shop):
        if field.name in {"said", "earlier"}:
            continue  # the same in other words; and each of those is told of by itself
        key = _KEYS.get(field.name, field.name)
        found |= dict(_flat(key, getattr(shop, field.name), secret=not field.repr))
    return found


def differences(before: Settings, after: Settings, at_ms: int) -> list[Change]:
    """Return what is different, in the order of the keys.

    >>> [c.words for c in differences({"unit.a.limit_c": 5.0}, {"unit.a.limit_c": 4.4}, 0)]
    ['a limit_c 5.0 → 4.4']
    """
    return [
        Change(at_ms=at_ms, key=key, before=before.get(key), after=after.get(key))
        for key in sorted(before.keys() | after.keys())
        if before.get(key) != after.get(key)
    ]


def changes_around(
    shop: Shop, stays: Iterable[tuple[UnitId, float, float]], entries: Iterable[AnyEntry]
) -> tuple[Change, ...]:
    """Return what was changed of units, and of the probes in them, while something stood there.

    Args:
        shop: The shop, with what held before.
        stays: Unit, start and end of each stay.
        entries: Every entry: those of changes say who made them.
    """
    who = {entry.from_ms: entry.who for entry in entries if isinstance(entry, ChangeSettings)}
    stays = list(stays)
    found: dict[tuple[int, str], Change] = {}
    for (_, _, before), (from_ms, _, after) in pairwise(shop.held):
        there = {unit for unit, start_ms, end_ms in stays if start_ms <= from_ms <= end_ms}
        if not there:
            continue
        at_ms = round(from_ms)
        prefixes = [
            *(f"unit.{unit}." for unit in there),
            *(
                f"probe.{probe.id}."
                for one in (before, after)
                for probe in one.probes
                if probe.unit in there
            ),
        ]
        for change in differences(settings_of(before), settings_of(after), at_ms):
            if change.key.startswith(tuple(prefixes)):
                found[at_ms, change.key] = replace(change, who=who.get(at_ms, ""))
    return tuple(found.values())


def digest(settings: Settings) -> str:
    """Return 16 hexadecimal digits that stand for settings as a whole (SHA-256, cut off)."""
    text = json.dumps(dict(settings), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def offsets_set(shop: Shop, entries: Iterable[AnyEntry]) -> list[Change]:
    """Return the offsets that were set with checks of probes, by whom, the earliest first."""
    checks = [
        entry
        for entry in entries
        if isinstance(entry, CalibrationCheck) and entry.offset_c is not None
    ]
    now = {probe.id: probe.offset_c for probe in shop.probes}
    found = []
    for check in sorted(checks, key=lambda check: (check.at_ms, check.probe)):
        assert check.offset_c is not None, "only such were chosen"
        before = now.get(check.probe)
        if before != check.offset_c:
            found.append(
                Change(
                    at_ms=check.from_ms,
                    key=f"probe.{check.probe}.offset_c",
                    before=before,
                    after=check.offset_c,
                    who=check.who,
                )
            )
        now[check.probe] = check.offset_c
    return found


def within(changes: Iterable[Change], from_ms: int, to_ms: int) -> tuple[Change, ...]:
    """Return the changes of some time, in order."""
    return tuple(
        sorted(
            (change for change in changes if from_ms <= change.at_ms <= to_ms),
            key=lambda change: (change.at_ms, change.key),
        )
    )


def _flat(key: str, value: object, *, secret: bool = False) -> Iterator[tuple[str, Value]]:
    if secret:
        count = len(value) if isinstance(value, tuple) else int(bool(value))
        yield key, f"{count} set" if count else "not set"
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name != "id":
                inner = f"{key}.{_INNER.get(field.name, field.name)}"
                yield from _flat(inner, getattr(value, field.name), secret=not field.repr)
    elif isinstance(value, Mapping):
        for name in sorted(value, key=str):
            yield from _flat(f"{key}.{_plain(name)}", value[name])
    elif isinstance(value, Sequence) and value and is_dataclass(value[0]):
        for number, item in enumerate(value, start=1):
            name = getattr(item, "id", None) or getattr(item, "common", None) or number
            yield from _flat(f"{key}.{name}", item)
    else:
        yield key, _plain(value)


def _plain(value: object) -> Value:
    if isinstance(value, Enum):
        return str(value.value)
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, frozenset):
        return ", ".join(sorted(str(_plain(item)) for item in value))
    if isinstance(value, tuple):
        return ", ".join(str(_plain(item)) for item in value)
    text = str(value)
    return _without_login(text)[:_LONGEST] if "://" in text else text[:_LONGEST]


def _without_login(address: str) -> str:
    """Return an address without the name and password that may stand in it, nor a query."""
    scheme, _, rest = address.partition("://")
    host, slash, path = rest.partition("?")[0].partition("/")
    return f"{scheme}://{host.rpartition('@')[2]}{slash}{path}"


def _shown(value: Value) -> str:
    match value:
        case None | "":
            return "none"
        case bool():
            return "yes" if value else "no"
        case _:
            return str(value)
