"""One morning's summary, from the shop's readings to the finished texts. Pure.

The live service and a replay call this at the same point with the same values, so a
replayed night gives the very bytes that the mail had.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rimewatch.evaluation.channels import ChannelHistory, seat_span, stages_for
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.governing import seat_of
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.lot_book import without_gone
from rimewatch.evaluation.store import ReadingStore
from rimewatch.report.curve import Curve
from rimewatch.report.html_draft import HtmlDraft
from rimewatch.report.message import Message
from rimewatch.report.page import page
from rimewatch.report.page_json import page_json
from rimewatch.report.push_text import summary_message
from rimewatch.report.summary import build_summary
from rimewatch.report.summary_document import file_text, html_draft, html_without_charts
from rimewatch.rules.stages import governing_curve
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import ProbeId

WARM_UP_MS = 6 * 3_600_000
"""Readings from before the period, so that the fish behind the air has found its place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Morning:
    """A summary as it is kept, mailed and pushed."""

    text: str
    html: str
    page: str
    """Its sentences as JSON, for further layouts."""
    message: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class MorningDraft:
    """A summary whose charts are still to be drawn: the smaller part of the work."""

    text: str
    html: HtmlDraft
    html_without_charts: str
    """For want of a pen: the same page in words alone."""
    page: str
    message: Message

    def drawn(self) -> Morning:
        """Return the summary, its charts drawn now."""
        return Morning(text=self.text, html=self.html.drawn(), page=self.page, message=self.message)


def render_morning(
    shop: Shop,
    store: ReadingStore,
    account: Account,
    histories: Mapping[ProbeId, ChannelHistory],
    *,
    from_ms: int,
    to_ms: int,
) -> Morning:
    """Return the summary of a period, charts and all; see :func:`draft_morning`."""
    return draft_morning(shop, store, account, histories, from_ms=from_ms, to_ms=to_ms).drawn()


def draft_morning(
    shop: Shop,
    store: ReadingStore,
    account: Account,
    histories: Mapping[ProbeId, ChannelHistory],
    *,
    from_ms: int,
    to_ms: int,
) -> MorningDraft:
    """Return the summary of a period but for its charts.

    Args:
        shop: The shop.
        store: Its readings.
        account: Entries, alarms, messages and quarantine; what lies outside the period
            is left out here.
        histories: The channels folded up to ``to_ms``.
        from_ms: Start of the period.
        to_ms: Its end, the morning itself.
    """
    within = replace(
        account,
        # A morning tells of no fish that was gone before its night; to judge all that ever was
        # here takes minutes in the tenth year.
        entries=without_gone(account.entries, from_ms),
        alarms=[
            alarm
            for alarm in account.alarms
            if alarm.raised_ms <= to_ms
            and (alarm.returned_ms is None or alarm.returned_ms >= from_ms)
        ],
        messages=[m for m in account.messages if from_ms <= m.at_ms <= to_ms],
    )
    ledger = build_ledger(shop, store, within, from_ms=from_ms, to_ms=to_ms, histories=histories)
    curves = {
        unit.id: curve
        for unit in shop.units
        if (curve := unit_curve(shop, store, unit, from_ms, to_ms)) is not None
    }
    summary = build_summary(shop, ledger, curves)
    return MorningDraft(
        text=file_text(summary),
        html=html_draft(summary),
        html_without_charts=html_without_charts(summary),
        page=page_json(page(summary)),
        message=summary_message(summary),
    )


def unit_curve(
    shop: Shop, store: ReadingStore, unit: Unit, from_ms: int, to_ms: int
) -> Curve | None:
    """Return a unit's measured and governing temperature over a period; None without a probe."""
    probes = shop.governing_probes(unit.id)
    if not probes:
        return None
    seat = seat_of(shop, probes[0])
    span = seat_span(store, seat, from_ms - WARM_UP_MS, to_ms)
    governing = governing_curve(stages_for(seat), span.times_ms, span.values)
    inside = span.times_ms >= from_ms
    return Curve(
        times_ms=span.times_ms[inside],
        measured_c=span.values[inside],
        governing_c=governing[inside],
        doors=tuple(
            (round(start), round(end))
            for start, end in door_times(shop, store, unit.id, from_ms, to_ms)
        ),
        defrosts=tuple(
            (round(start), round(end))
            for start, end in scheduled(unit, shop.timezone, from_ms, to_ms)
        ),
    )
