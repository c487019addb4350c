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

from rimewatch.config.changing import Way
from rimewatch.entries import AnyEntry, ChangeSettings
from rimewatch.evaluation.settings import (
    Change,
    differences,
    digest,
    offsets_set,
    settings_of,
    within,
)
from rimewatch.journal.errors import reading_back
from rimewatch.journal.held_settings import TABLES, tables_in_use
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
    journal.save_state(TABLES, shop.said)
    return changes


def hold_from_now(journal: Journal, now_ms: int) -> bool:
    """Have the settings in use hold from now on where they were noted by a clock that was ahead.

    Inside a batch, once the clock has been set back: else those of before would hold until it has
    come so far again.

    Returns:
        Whether that was so.
    """
    entries = journal.settings_changes()
    if not entries or entries[-1].from_ms <= now_ms:
        return False
    latest = entries[-1]
    anew = replace(
        latest, at_ms=now_ms, entered_ms=None, entry_number=0, reason="the clock was set back"
    )
    journal.add_entry(anew, SOURCE)
    return True


def _text(shop: Shop) -> str:
    return json.dumps(settings_of(shop), sort_keys=True, ensure_ascii=False)


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
