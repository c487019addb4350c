"""How well the alarms have served, as a document: figures beside their benchmarks.

Every figure is from ``rimewatch.alarms.metrics``; nothing is measured or judged here. Pure.
"""

from collections.abc import Iterator
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.alarms import metrics
from rimewatch.alarms.metrics import Figures
from rimewatch.report import wording
from rimewatch.report.document import (
    Block,
    Column,
    Document,
    Heading,
    Listing,
    Paragraph,
    Point,
    SmallPrint,
    Table,
)
from rimewatch.report.sections import RULES
from rimewatch.rules.provisions_instruments import (
    ALARMS_PER_DAY_MANAGEABLE,
    ALARMS_PER_DAY_TOO_MANY,
    PRIORITY_SHARE_HIGH,
    PRIORITY_SHARE_LOW,
    PRIORITY_SHARE_MEDIUM,
)
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, Priority

SOURCES: Final = (
    "Benchmarks: IEC 62682 and ANSI/ISA-18.2, performance metrics, written for a plant's control "
    "room with one operator always present; some values from memory (docs/alarms.md says which). A "
    "shop with a phone by the bed needs far fewer: they are bounds, not aims. That one in twenty "
    "alarms is high, three medium and the rest low is EEMUA 191's advice."
)
_COLUMNS: Final = (
    Column(title="Alarms", share=2.0),
    Column(title="Figure", share=1.0),
    Column(title="Benchmark", share=3.0),
)


def figures_document(shop: Shop, figures: Figures) -> Document:
    """Return the figures of some time, with what a control room would not accept."""
    zone = ZoneInfo(shop.timezone)
    begins = wording.local_moment(figures.from_ms, zone)
    ends = wording.local_moment(figures.to_ms, zone)
    return Document(
        shop=wording.printable(shop.name),
        title="How the alarms served",
        when=(f"{begins} to {ends}",),
        blocks=(
            Heading(text="Figures"),
            Table(columns=_COLUMNS, rows=tuple(_rows(shop, figures))),
            Heading(text="What stands out"),
            *_standing_out(figures, zone),
            SmallPrint(texts=(SOURCES,)),
        ),
        made=wording.local(figures.to_ms, zone),
    )


def _standing_out(figures: Figures, zone: ZoneInfo) -> Iterator[Block]:
    if beyond := figures.beyond_benchmarks():
        yield Paragraph(text="Beyond what a control room would accept:")
        yield Listing(points=tuple(Point(text=sentence) for sentence in beyond))
    else:
        yield Paragraph(text="Nothing is beyond what a control room would accept.")
    if figures.chattering:
        names = [f"{key.unit or 'several units'}: {RULES[key.rule]}" for key in figures.chattering]
        yield Paragraph(text=f"Chattering: {wording.joined(names)}.")
    for flood in figures.floods:
        lasted_ms = (figures.to_ms if flood.ends_ms is None else flood.ends_ms) - flood.begins_ms
        begins = wording.local_moment(flood.begins_ms, zone)
        lasted = wording.duration(lasted_ms / MS_PER_S)
        yield Paragraph(text=f"Flood: {flood.alarms} alarms from {begins}, {lasted}.")


_ADVISED: Final = {
    Priority.HIGH: PRIORITY_SHARE_HIGH,
    Priority.MEDIUM: PRIORITY_SHARE_MEDIUM,
    Priority.LOW: PRIORITY_SHARE_LOW,
}
"""Of all alarms."""


def _rows(shop: Shop, figures: Figures) -> Iterator[tuple[str, str, str]]:
    yield "raised", str(figures.alarms), ""
    bounds = (
        f"control room: up to {ALARMS_PER_DAY_MANAGEABLE}, to be cut from "
        f"{ALARMS_PER_DAY_TOO_MANY} (IEC 62682)"
    )
    yield "a day, on average", f"{figures.alarms_per_day:.1f}", bounds
    for priority, advised in _ADVISED.items():
        count = figures.by_priority[priority]
        share = f" ({count / figures.alarms:.0%})" if figures.alarms else ""
        yield (
            f"of priority {priority.value}",
            f"{count}{share}",
            f"about {advised * 100:.0f} %",
        )
    if shop.night is not None:
        yield "that sounded in the night", str(figures.woke), ""
    yield "repeats sent", str(figures.repeats_sent), ""
    yield "until acknowledged, median", _duration(figures.to_acknowledge_median_s), ""
    yield "until acknowledged, longest", _duration(figures.to_acknowledge_longest_s), ""
    yield "never acknowledged", str(figures.never_acknowledged), ""
    yield "chattering", str(len(figures.chattering)), "none"
    yield "on at the end", str(figures.standing), ""
    yield (
        "on for more than 24 h at the end",
        str(figures.stale),
        f"fewer than {metrics.STALE_BELOW}",
    )
    yield (
        "time in flood",
        f"{figures.flood_share:.1%}",
        f"below {metrics.FLOOD_SHARE_BELOW:.0%}",
    )


def _duration(seconds: float | None) -> str:
    return "–" if seconds is None else wording.duration(seconds)
