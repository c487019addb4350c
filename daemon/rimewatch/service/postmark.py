"""What is added to a message as it goes out: that it is late, a picture, where to acknowledge.

Pure but for the key it is given; called from the contacts' threads.
"""

from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.letter import Extras
from rimewatch.report import wording
from rimewatch.report.message import local_time
from rimewatch.report.texts import texts_of
from rimewatch.service.charts import CALLS, chart_path
from rimewatch.shop import Shop
from rimewatch.vocabulary import About
from rimewatch.web.links import VALID_MS, Claim, token_of

LATE_AFTER_MS: Final = 5 * 60_000
"""A message that goes out so long after it was made says so (our choice): whoever reads "for
15 min" must know that those minutes are over."""

_CALLS: Final = (About.RAISED, About.REPEAT, About.ESCALATED)


class Postmark:
    """Says what is added to one shop's messages.

    Args:
        shop: Zone, words and where the pages are found.
        key: What links are signed with; None: messages hold no link.
        charts: Where pictures lie; None: there are none.
    """

    def __init__(self, shop: Shop, key: bytes | None, charts: Path | None = None) -> None:
        self._charts = charts
        self._url = "" if shop.web is None else shop.web.url
        self._key = key
        self._zone = ZoneInfo(shop.timezone)
        self._words = texts_of(shop.messages)["words"]

    def __call__(self, row: OutboxRow, now_ms: int) -> Extras:
        """Return what is added to a message that goes out now."""
        return Extras(
            late=self._late(row, now_ms), link=self._link(row), attachment=self._picture(row)
        )

    def _late(self, row: OutboxRow, now_ms: int) -> str:
        if now_ms - row.at_ms < LATE_AFTER_MS or row.about is About.SUMMARY:
            return ""
        made = local_time(row.at_ms, self._zone, self._words, day_of_ms=now_ms)
        sent = wording.local_time(now_ms, self._zone)
        return str(self._words["late"].format(made=made, sent=sent))

    def _picture(self, row: OutboxRow) -> str:
        if self._charts is None or row.about not in CALLS:
            return ""
        return str(chart_path(self._charts, row.idempotency_key))

    def _link(self, row: OutboxRow) -> str:
        if not self._url or self._key is None or row.alarm_id is None or row.about not in _CALLS:
            return ""
        claim = Claim(alarm_id=row.alarm_id, contact=row.contact, expires_ms=row.at_ms + VALID_MS)
        link = f"{self._url}/a/{token_of(self._key, claim)}"
        return str(self._words["link"].format(link=link))
