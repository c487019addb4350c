"""Changes of settings as the journal keeps them, for whoever looks back or puts one back.

Each is an entry with the whole configuration from then on; secrets are in none: a mark stands for
each.
"""

import json
from itertools import pairwise
from typing import Any

from rimewatch.config.changing import settings_before
from rimewatch.evaluation.settings import differences
from rimewatch.journal.reader import JournalReads
from rimewatch.web.settings_keeper import Made


def latest_made(journal: JournalReads, most: int) -> list[Made]:
    """Return the latest changes, the last one first."""
    entries = journal.settings_changes()[-most - 1 :]
    settings = [settings_before(json.loads(entry.settings)) for entry in entries]
    found = []
    for (_, after), (then, now) in zip(pairwise(entries), pairwise(settings), strict=True):
        found.append(
            Made(
                number=after.entry_number,
                at_ms=after.at_ms,
                who=after.who,
                way=after.way,
                changes=tuple(differences(then, now, after.at_ms)),
            )
        )
    return found[::-1]


def tables_around(
    journal: JournalReads, number: int
) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """Return the tables before and after a change, marks for secrets; None: there is none such."""
    for before, after in pairwise(journal.settings_changes()):
        if after.entry_number == number:
            return json.loads(before.settings), json.loads(after.settings)
    return None


def last_number(journal: JournalReads) -> int:
    """Return the number of the latest change; 0: there is none."""
    entries = journal.settings_changes()
    return entries[-1].entry_number if len(entries) > 1 else 0
