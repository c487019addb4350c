"""Keeps which settings held when, and who changed what; sealed with its entries and events.

Every change is an entry, with the whole configuration from then on (secrets but for marks); the
first one is what held before. Beside it each key that is another stands as an event of its own.
What was in use is a state of the journal, so that a change that was made while the service was
down is found when it starts. A journal that was begun before this was kept has no such entry: what
is configured is then taken to have held from its beginning.
"""

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from rimewatch.config.changing import Way, past_shop
from rimewatch.entries import AnyEntry, ChangeSettings
from rimewatch.evaluation.over_time import followed_by, placed_anew
from rimewatch.evaluation.settings import (
    Change,
    differences,
    digest,
    offsets_set,
    settings_of,
    within,
)
from rimewatch.journal.errors import reading_back
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReads
from rimewatch.shop import Shop

SETTING_CHANGED: Final = "setting changed"
"""The name of the event; its detail is a change as JSON."""

IN_USE: Final = "configuration"
"""The name of the event that says which configuration is in use from then on."""

SOURCE: Final = "settings"
"""By what way such entries come into the journal."""

_STATE: Final = "settings"
_TABLES: Final = "settings tables"


def note_settings(
    journal: Journal,
    shop: Shop,
    at_ms: int,
    *,
    way: Way = Way.FILE,
    who: str = "",
    reason: str = "",
) -> list[Change]:
    """Note what is different from the settings last in use, in one transaction.

    The first time there is nothing to compare: then it is noted what is in use.

    Args:
        journal: The journal, outside a batch.
        shop: The shop as it is from now on.
        at_ms: Now.
        way: By what way it was changed.
        who: Who did; empty: nobody said.
        reason: Why, in their words.

    Returns:
        The changes, key by key.

    Raises:
        JournalError: If it could not be written; nothing of it has happened then.
    """
    if is_in_use(journal, shop):
        return []
    with journal.batch():
        return keep_settings(journal, shop, at_ms, way=way, who=who, reason=reason)


def is_in_use(journal: JournalReads, shop: Shop) -> bool:
    """Return whether a configuration is what the journal last noted."""
    return journal.load_state(_STATE) == _text(shop) and tables_in_use(journal) == shop.said


def tables_in_use(journal: JournalReads) -> str:
    """Return the tables last in use, as JSON; empty: none were noted."""
    return journal.load_state(_TABLES) or ""


def keep_settings(
    journal: Journal, shop: Shop, at_ms: int, *, way: Way, who: str, reason: str
) -> list[Change]:
    """Do what :func:`note_settings` does, inside a batch, whether or not anything is different."""
    known, tables = journal.load_state(_STATE), tables_in_use(journal)
    changes = []
    if known is not None:
        with reading_back(journal.path, "which settings were in use"):
            before = json.loads(known)
            found = differences(before, settings_of(shop), at_ms)
        changes = [replace(change, who=who) for change in found]
    if tables and shop.said and tables != shop.said:
        if not journal.settings_changes():
            first = ChangeSettings(at_ms=at_ms, settings=tables, way=Way.START.value)
            journal.add_entry(first, SOURCE)
        entry = ChangeSettings(
            at_ms=at_ms, settings=shop.said, way=way.value, who=who, reason=reason
        )
        journal.add_entry(entry, SOURCE)
    for change in changes:
        journal.add_event(at_ms, SETTING_CHANGED, change.to_text())
    if known != _text(shop):
        journal.add_event(at_ms, IN_USE, f"in use from now on: {digest(settings_of(shop))}")
    journal.save_state(_STATE, _text(shop))
    journal.save_state(_TABLES, shop.said)
    return changes


def _text(shop: Shop) -> str:
    return json.dumps(settings_of(shop), sort_keys=True, ensure_ascii=False)


def with_history(shop: Shop, journal: JournalReads, now_ms: int) -> Shop:
    """Return a shop that knows what held before, by what the journal has on its books.

    Args:
        shop: The shop as it is configured now.
        journal: The journal.
        now_ms: The present instant: a configuration that no one has noted yet holds from then on.
    """
    entries, places = journal.settings_changes(), journal.corrected_places()
    if entries:
        known = past_shop(entries[0].settings)
        for entry in entries[1:]:
            known = followed_by(known, past_shop(entry.settings), entry.from_ms)
        shop = followed_by(known, shop, now_ms)
    for correction in places:
        shop = placed_anew(shop, correction)
    return shop


def changes_between(
    shop: Shop, journal: JournalReads, entries: Iterable[AnyEntry], from_ms: int, to_ms: int
) -> tuple[Change, ...]:
    """Return the changes of settings on record, and the offsets that were set with checks."""
    noted = [
        Change.from_text(row.at_ms, row.detail)
        for row in journal.events_between(from_ms, to_ms)
        if row.what == SETTING_CHANGED
    ]
    return within([*noted, *offsets_set(shop, entries)], from_ms, to_ms)
