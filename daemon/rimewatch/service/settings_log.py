"""Notes in the journal which settings are others than before; with the seals of its events.

What was in use is kept as a state of the journal, so that a change that was made while the
service was down is found when it starts.
"""

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from rimewatch.entries import AnyEntry
from rimewatch.evaluation.settings import (
    Change,
    differences,
    digest,
    offsets_set,
    settings_of,
    within,
)
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReads
from rimewatch.shop import Shop

SETTING_CHANGED: Final = "setting changed"
"""The name of the event; its detail is a change as JSON."""

IN_USE: Final = "configuration"
"""The name of the event that says which configuration is in use from then on."""

_STATE: Final = "settings"


def note_settings(journal: Journal, shop: Shop, at_ms: int, *, who: str = "") -> list[Change]:
    """Note what is different from the settings last in use, in one transaction.

    The first time there is nothing to compare: then it is noted what is in use.

    Args:
        journal: The journal.
        shop: The shop as it is from now on.
        at_ms: Now.
        who: Who changed them; empty: nobody said.

    Returns:
        The changes.

    Raises:
        JournalError: If it could not be written; nothing of it has happened then.
    """
    settings = settings_of(shop)
    text = json.dumps(settings, sort_keys=True, ensure_ascii=False)
    known = journal.load_state(_STATE)
    if known == text:
        return []
    found = [] if known is None else differences(json.loads(known), settings, at_ms)
    changes = [replace(change, who=who) for change in found]
    with journal.batch():
        for change in changes:
            journal.add_event(at_ms, SETTING_CHANGED, change.to_text())
        journal.add_event(at_ms, IN_USE, f"in use from now on: {digest(settings)}")
        journal.save_state(_STATE, text)
    return changes


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
