"""Changes of settings as the journal keeps them: who made them, and the tables around them.

Kept as events, which are sealed with the day. Secrets are in none: a mark stands for each.
"""

import json
from collections.abc import Sequence
from typing import Any, Final

from rimewatch.config.changing import Tables, Way, canonical, without_secrets
from rimewatch.evaluation.settings import Change
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReads
from rimewatch.web.settings_keeper import Made

EVENT: Final = "settings made"


def note_made(
    journal: Journal,
    at_ms: int,
    who: str,
    way: Way,
    changes: Sequence[Change],
    before: Tables,
    after: Tables,
) -> int:
    """Note a change; return its number."""
    detail = {
        "who": who,
        "way": str(way),
        "changes": [json.loads(change.to_text()) for change in changes],
        "before": json.loads(canonical(without_secrets(before))),
        "after": json.loads(canonical(without_secrets(after))),
    }
    text = json.dumps(detail, ensure_ascii=False, separators=(",", ":"))
    return journal.add_event(at_ms, EVENT, text)


def latest_made(journal: JournalReads, now_ms: int, most: int) -> list[Made]:
    """Return the latest changes, the last one first."""
    rows = [row for row in journal.events_between(0, now_ms) if row.what == EVENT]
    found = []
    for row in reversed(rows[-most:]):
        detail = json.loads(row.detail)
        found.append(
            Made(
                number=row.id,
                at_ms=row.at_ms,
                who=detail["who"],
                way=detail["way"],
                changes=tuple(
                    Change.from_text(row.at_ms, json.dumps(each)) for each in detail["changes"]
                ),
            )
        )
    return found


def tables_around(
    journal: JournalReads, now_ms: int, number: int
) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """Return the tables before and after a change, marks for secrets; None: there is none such."""
    for row in journal.events_between(0, now_ms):
        if row.id == number and row.what == EVENT:
            detail = json.loads(row.detail)
            return detail["before"], detail["after"]
    return None
