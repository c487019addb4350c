"""Which settings held when, by what a journal has on its books. Reads only."""

from dataclasses import replace
from typing import Final

from rimewatch.config.changing import past_shop
from rimewatch.evaluation.over_time import are_alike, followed_by, placed_anew
from rimewatch.journal.reader import JournalReads
from rimewatch.shop import Shop

TABLES: Final = "settings tables"
"""The state that holds the tables last in use."""


def tables_in_use(journal: JournalReads) -> str:
    """Return the tables last in use, as JSON; empty: none were noted."""
    return journal.load_state(TABLES) or ""


def with_history(shop: Shop, journal: JournalReads, now_ms: int) -> Shop:
    """Return a shop that knows what held before, by what the journal has on its books.

    Args:
        shop: The shop as it is configured now.
        journal: The journal.
        now_ms: The present instant: a configuration that no one has noted yet holds from then on.
    """
    entries, last = journal.settings_changes(), tables_in_use(journal)
    first = entries[0].settings if entries else last
    if first:
        known = past_shop(first)
        for entry in entries[1:]:
            known = followed_by(known, past_shop(entry.settings), entry.from_ms)
        if shop.said == last or are_alike(known, shop):
            shop = replace(shop, earlier=known.earlier)
        else:
            shop = followed_by(known, shop, now_ms)
    for correction in journal.corrected_places():
        shop = placed_anew(shop, correction)
    return shop
