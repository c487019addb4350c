"""A lot's record as a document: its sentences and rows, for every way of laying it out. Pure.

References:
    [1] FDA Food Code 2022, 3-402.12(A): freezing temperature and time are on the record.
    [2] FDA Food Code 2022, 3-501.13: thawing, and packaging of reduced oxygen.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.lot_record import LotRecord
from rimewatch.evaluation.solidity import ASSUMED_THICKNESS_MM
from rimewatch.lots.hold import Break
from rimewatch.lots.record import (
    PROVISION_OF,
    Evidence,
    HoldRecord,
    Place,
    ProbeUsed,
)
from rimewatch.report import wording
from rimewatch.report.document import (
    Block,
    Column,
    Document,
    Facts,
    Heading,
    Listing,
    Picture,
    Point,
    SmallPrint,
    Table,
    Tone,
)
from rimewatch.report.hold_chart import RATIO
from rimewatch.report.lot_standing import PARASITES_ALONE, in_full, lot_words, receiving_paragraph
from rimewatch.report.lot_words import ORIGINS, STATES, entry_words, moment, probe_words
from rimewatch.rules.watch import BreakReason
from rimewatch.science.spoilage import root_rate
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Option, Scale, States, UnitId

CAUTIONS: Final = (
    (
        "This record is evidence, not a guarantee of safety. The person in charge decides; local "
        "codes and the licensed authority come first."
    ),
    PARASITES_ALONE,
)
LEGEND: Final = (
    "Line: governing temperature. Dashed: the option’s; dotted: that less the probe’s uncertainty, "
    "which a reading must reach. Bands: interruptions."
)
PATH: Final = (
    Column(title="Where", share=22.0),
    Column(title="From", share=21.0),
    Column(title="To", share=21.0),
    Column(title="Fish from to", share=20.0),
    Column(title="Above limit", share=14.0, align="R"),
    Column(title="Unseen", share=14.0, align="R"),
    Column(title="Ice days", share=10.0, align="R"),
)
ROP_REMINDER: Final = (
    "Vacuum-packed: to be out of its packaging before it thaws under refrigeration "
    "(FDA Food Code 2022, 3-501.13(E))."
)
"""[2]."""


@dataclass(frozen=True, slots=True)
class _Reader:
    """How this shop reads numbers and names."""

    scale: Scale
    zone: tzinfo
    units: Mapping[UnitId, str]

    def at(self, at_ms: float) -> str:
        return moment(at_ms, self.zone)

    def temperature(self, celsius: float | None) -> str:
        return "not measured" if celsius is None else wording.temperature(celsius, self.scale)


def lot_page(
    shop: Shop,
    record: LotRecord,
    files: Mapping[str, str] | None = None,
    *,
    curve: bytes | None = None,
) -> Document:
    """Return a record as a document, on one sheet for an ordinary lot.

    Args:
        shop: Names, zone and scale.
        record: The record.
        files: What was found of each attached file, by its SHA-256: ``present``,
            ``changed`` or ``missing``; None: nobody looked.
        curve: The curve of its hold, as ``hold_chart`` draws it; None: it has none.
    """
    reader = _Reader(
        shop.display,
        ZoneInfo(shop.timezone),
        {unit.id: wording.printable(unit.name) for unit in shop.units},
    )
    verdict = in_full(shop, record.story, reader.at)
    return Document(
        shop=wording.printable(shop.name),
        title=_title(record),
        when=(f"As of {reader.at(record.made_ms)}",),
        verdict=verdict,
        tone=Tone.GOOD if lot_words(shop, record.story).is_proven else Tone.BAD,
        blocks=(
            Heading(text="What it is"),
            Facts(rows=tuple(_identity(record, reader))),
            *(() if record.hold is None else _frozen(record.hold, reader, verdict[0], curve)),
            *_headed("Statements of the supplier", _statements(record, reader, files or {})),
            Heading(text="Where it has been"),
            Table(columns=PATH, rows=tuple(_place(place, reader) for place in record.account.path)),
            *_headed("Settings that were changed while it stood there", _changes(record, reader)),
            *_headed("After that", _after(record, reader)),
            *_headed("Entries, every one, in the order they came", _entries(record, reader)),
            SmallPrint(texts=CAUTIONS),
        ),
        made=wording.local(record.made_ms, reader.zone),
        is_dense=True,
    )


def _headed(title: str, points: Iterable[Point]) -> tuple[Block, ...]:
    """Return a list below its title; nothing where there is no point."""
    found = tuple(points)
    return (Heading(text=title), Listing(points=found)) if found else ()


def _frozen(
    hold: HoldRecord, reader: _Reader, verdict: str, curve: bytes | None
) -> Iterator[Block]:
    yield Heading(text="Freezing for parasite destruction")
    broken = " ".join(_interruption(item, reader) for item in hold.interruptions)
    yield Facts(rows=(*_freezing(hold, reader), ("Interruptions", broken or "none")))
    if curve is not None:
        legend = f"°{reader.scale.value}. {LEGEND}"
        yield Picture(png=curve, ratio=RATIO, says=f"The hold: {verdict}", legend=legend)


def _entries(record: LotRecord, reader: _Reader) -> Iterator[Point]:
    for line in record.lines:
        entry = line.entry
        late = "" if entry.entered_ms is None else f", entered {reader.at(entry.entered_ms)}"
        who = wording.printable(entry.who) or "not said"
        what = entry_words(line, reader.units, reader.zone, reader.scale)
        yield Point(
            mark=f"{entry.entry_number}.", text=f"{what} ({reader.at(entry.at_ms)}, by {who}{late})"
        )


def _changes(record: LotRecord, reader: _Reader) -> Iterator[Point]:
    for change in record.changes:
        by = f", by {change.who}" if change.who else ""
        yield Point(
            text=wording.printable(
                f"{change.words} ({reader.at(change.at_ms)}{by}). What came before is judged as it "
                "was watched then."
            )
        )


def _title(record: LotRecord) -> str:
    story, received = record.story, record.story.entries.received
    species = story.need.species if story.need is not None else None
    if species is not None:
        what = species.label
    else:
        what = "nobody entered what it is" if received is None else received.species
    return wording.printable(f"Lot {story.lot}: {what}")


def _identity(record: LotRecord, reader: _Reader) -> Iterator[tuple[str, str]]:
    entry, need = record.story.entries.received, record.story.need
    if entry is None:
        yield "Received", "nobody has entered it"
        return
    yield "Received", reader.at(entry.at_ms)
    yield "Species as written", wording.printable(f"{entry.species}, {ORIGINS[entry.origin]}")
    supplier = ", their lot ".join(x for x in (entry.supplier, entry.supplier_reference) if x)
    yield "Supplier", wording.printable(supplier) or "not said"
    weight = "not weighed" if entry.kilograms is None else f"{entry.kilograms:g} kg"
    thick = "thickness not measured"
    if entry.thickness_mm is not None:
        thick = f"{entry.thickness_mm:g} mm thick"
    packed = "vacuum-packed" if entry.rop else "not vacuum-packed"
    use = "to be served raw" if entry.serve_raw else "not to be served raw"
    yield "Goods and use", f"{weight}, {thick}, {packed}, {use}"
    warm = ""
    if need is not None and need.receipt_too_warm:
        warm = (
            f"; above {reader.temperature(need.receipt_limit_c)} (FDA Food Code 2022, "
            f"{receiving_paragraph(need.receipt_limit_c)})"
        )
    yield "Temperature at receipt", reader.temperature(entry.celsius) + warm
    if entry.statement:
        yield "Supplier’s statement", wording.printable(entry.statement)


def _freezing(hold: HoldRecord, reader: _Reader) -> Iterator[tuple[str, str]]:
    yield (
        "Option",
        f"{wording.option_words(hold.option, reader.scale)} ({PROVISION_OF[hold.option]})",
    )
    yield "Put to freeze", reader.at(hold.begun_ms)
    counted = wording.credited_hours(hold.credited_h, hold.required_h)
    if hold.started_ms is None:
        yield "Hours proven", f"{counted}; the count has not begun"
    else:
        ends = ""
        if hold.completed_ms is not None:
            ends = f", complete {reader.at(hold.completed_ms)}"
        elif hold.expected_ms is not None:
            ends = f", complete {reader.at(hold.expected_ms)} if the cold holds"
        yield "Hours proven", f"{counted}, counted from {reader.at(hold.started_ms)}{ends}"
    if not hold.is_sure:
        yield "Hours sure", _sure(hold, reader)
    if hold.warmest_c is not None and hold.warmest_guarded_c is not None:
        warmest = reader.temperature(hold.warmest_c)
        guarded = reader.temperature(hold.warmest_guarded_c)
        against = f"against {reader.temperature(hold.line_c)}"
        yield (
            "Warmest while counted",
            f"{warmest}; {guarded} with the uncertainty on top, {against}",
        )
    yield "Cold inside", _inside(hold)
    for number, used in enumerate(hold.probes):
        yield "Measured by" if number == 0 else "", _used(used, reader)
    if not hold.probes:
        yield "Measured by", "no probe: nothing is proven"


def _used(used: ProbeUsed, reader: _Reader) -> str:
    return probe_words(used, reader.units, reader.zone, reader.scale)


def _sure(hold: HoldRecord, reader: _Reader) -> str:
    at = "" if hold.sure_by_ms is None else reader.at(hold.sure_by_ms)
    return wording.sure_hours(hold.sure_h, hold.required_h, at, hold.doubts)


def _inside(hold: HoldRecord) -> str:
    if hold.option is Option.F20C_168H:
        return "not asked for: the option names the temperature of the freezer"
    if any(used.in_lot for used in hold.probes):
        return "shown by the probe in this lot, as was entered"
    if any(used.evidence is Evidence.CENTRE_PROBE for used in hold.probes):
        return (
            "credited by the probe in a product of the unit, which is not known to lie in this "
            "lot: warm fish put in beside it is colder only later"
        )
    if hold.lead_h is None:
        return "taken from the governing temperature; no estimate was made"
    thick = f"{ASSUMED_THICKNESS_MM:g} mm, assumed"
    if hold.thickness_mm is not None:
        thick = f"{hold.thickness_mm:g} mm"
    took = wording.duration(hold.lead_h * MS_PER_H / MS_PER_S)
    return f"estimated from the air, for a thickness of {thick}: {took} of cold before the count"


def _interruption(item: Break, reader: _Reader) -> str:
    until = "and lasts" if item.end_ms is None else f"until {reader.at(item.end_ms)}"
    peak = "" if item.peak_c is None else f"up to {reader.temperature(item.peak_c)}"
    is_gap = item.reason is BreakReason.GAP
    why = wording.broken_by(is_gap=is_gap, is_warm=item.is_warm, peak=peak)
    lost = f"{item.lost_h:.1f} h of the count lost" if item.lost_h >= 0.05 else "no hours lost"
    return f"From {reader.at(item.start_ms)} {until}: {why}; {lost}."


def _statements(record: LotRecord, reader: _Reader, files: Mapping[str, str]) -> Iterator[Point]:
    found = {
        "present": "the file is kept and unchanged",
        "changed": "THE FILE KEPT IS NOT THE ONE THAT WAS ATTACHED",
        "missing": "THE FILE IS MISSING",
    }
    for item in record.story.entries.statements:
        text = f"{item.reference}, {STATES[item.states]}, {reader.at(item.at_ms)}"
        if item.option is not None:
            text += f": {wording.option_words(item.option, reader.scale)}"
        elif item.states is States.FREEZING:
            text += ": for temperature and time see the statement itself"
        if item.sha256:
            text += f". File {item.file}, SHA-256 {item.sha256[:16]}…"
            if item.sha256 in files:
                text += f", {found[files[item.sha256]]}"
        else:
            text += ". Kept on paper"
        yield Point(text=wording.printable(f"{text}."))


def _after(record: LotRecord, reader: _Reader) -> Iterator[Point]:
    """Tell of thawing, quality, what else to heed, and how long the record is kept."""
    yield from (Point(text=text) for text in _after_texts(record, reader))


def _after_texts(record: LotRecord, reader: _Reader) -> Iterator[str]:
    story, entries = record.story, record.story.entries
    if entries.thawing is not None:
        where = reader.units.get(entries.thawing.unit, entries.thawing.unit)
        yield f"Put to thaw {reader.at(entries.thawing.at_ms)} in {where}."
    if entries.received is not None and entries.received.rop:
        yield ROP_REMINDER
    if story.ice_days >= 0.05:
        text = f"Estimated age: as after {story.ice_days:.1f} days on ice."
        if record.account.use_by is not None:
            text += _use_by(record, reader)
        yield text
    if story.need is not None:
        yield from story.need.remaining_hazards
    if record.account.keep_until is not None:
        last = record.account.keep_until
        yield (
            f"To be kept through {last.isoformat()}: {record.keep_days} calendar days beyond the "
            "last sale (FDA Food Code 2022, 3-402.12(A))."
        )
    else:
        yield f"To be kept until {record.keep_days} calendar days beyond the last sale."


def _use_by(record: LotRecord, reader: _Reader) -> str:
    use_by = record.account.use_by
    assert use_by is not None, "asked for only where there is one"
    text = f" The shop allows {use_by.limit_ice_days:g}"
    if use_by.use_by_ms is None:
        return f"{text}; {_untold(use_by.at_c, reader)}. Quality, not safety."
    at = reader.at(use_by.use_by_ms)
    if use_by.use_by_ms <= record.made_ms:
        return f"{text}: used up. Quality, not safety."
    kept = "" if use_by.at_c is None else f" at the present {reader.temperature(use_by.at_c)}"
    return f"{text}: used up {at}{kept}. Quality, not safety."


def _untold(at_c: float | None, reader: _Reader) -> str:
    """Return why it is not told when they are used up."""
    if at_c is None:
        return "how long the rest lasts is not known: its temperature is not measured now"
    at = f"at its present {reader.temperature(at_c)}"
    if root_rate(at_c) == 0.0:
        return f"{at} it uses none of them"
    return f"how long the rest lasts {at} is not known: the estimate is for fresh, cold fish"


def _place(place: Place, reader: _Reader) -> tuple[str, ...]:
    where = "before any unit" if place.unit is None else reader.units.get(place.unit, place.unit)
    fish = "not measured"
    if place.min_c is not None and place.max_c is not None:
        fish = wording.temperature_range(place.min_c, place.max_c, reader.scale)
    return (
        where,
        reader.at(place.from_ms),
        "still there" if place.lasts else reader.at(place.to_ms),
        fish,
        "—" if place.limit_c is None else wording.duration(place.above_limit_s),
        wording.duration(place.unmonitored_s),
        f"{place.ice_days:.1f}",
    )
