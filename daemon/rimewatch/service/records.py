"""The record of a period from a journal, in the forms that people ask for.

The command and the pages write it through here, so that paper, table and download say the
same. Reads only; tells no time.
"""

from collections.abc import Callable, Collection
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.nearby import Nearby
from rimewatch.journal.reader import JournalReader, JournalReads
from rimewatch.service.resume import account_of, resume
from rimewatch.service.settings_log import SETTING_CHANGED
from rimewatch.shop import Shop

if TYPE_CHECKING:
    from rimewatch.report.records import Kept, Records

FORMATS: Final = ("csv", "json", "pdf")


class Written(NamedTuple):
    """A record, laid out."""

    files: dict[str, str | bytes]
    """Content by path, relative to where it is to be kept."""
    open_excursions: int
    """How many have no corrective action on record."""


def write_record(
    shop: Shop,
    journal: JournalReads,
    evaluator: Evaluator,
    *,
    first: date,
    last: date,
    now_ms: int,
    formats: Collection[str] = FORMATS,
    progress: Callable[[str], None] | None = None,
) -> Written:
    """Return the record of some local days.

    Args:
        shop: The shop.
        journal: Its journal.
        evaluator: What follows from the journal by now.
        first: The first local day.
        last: The last local day, included.
        now_ms: The present instant.
        formats: Which of :data:`FORMATS`.
        progress: Told each step as it is begun, in a few words; None: nobody is.

    Raises:
        ValueError: If the days are no period.
        JournalError: If the journal cannot be read.
    """
    # Late: only who asks for a record needs these, and they are slow to load.
    from rimewatch.report.records import build_records, period_ms  # noqa: PLC0415
    from rimewatch.report.records_tables import csv_files, json_text  # noqa: PLC0415

    tell = progress or (lambda _: None)
    shop = evaluator.shop  # with what held before
    from_ms, to_ms = period_ms(first, last, shop.timezone, now_ms)
    tell(f"{(last - first).days + 1} days of {len(shop.units)} units: evaluating")
    records = build_records(
        shop,
        Nearby(journal),
        account_of(journal, evaluator, from_ms, to_ms),
        evaluator.histories(),
        _kept(shop, journal, evaluator, from_ms, to_ms),
        first=first,
        last=last,
        now_ms=now_ms,
    )
    name = f"record-{records.first}-to-{records.last}"
    files: dict[str, str | bytes] = {}
    if "csv" in formats:
        tell("writing tables")
        files |= {f"{name}/{file}": text for file, text in csv_files(records).items()}
    if "json" in formats:
        files[f"{name}.json"] = json_text(records)
    if "pdf" in formats:
        files[f"{name}.pdf"] = _pdf(shop, journal, records, tell)
    return Written(files, len(records.open_excursions))


def record_from_file(
    shop: Shop, path: Path, first: date, last: date, form: str, now_ms: int
) -> dict[str, str | bytes]:
    """Return the files of a record, read through a connection of its own; for any thread.

    Args:
        shop: The shop.
        path: The journal.
        first: The first local day.
        last: The last local day, included.
        form: One of :data:`FORMATS`.
        now_ms: The present instant.

    Raises:
        ValueError: If the days are no period.
        JournalError: If the journal cannot be read.
    """
    with JournalReader.open(path) as journal:
        evaluator = resume(shop, journal, now_ms).evaluator
        return write_record(
            shop, journal, evaluator, first=first, last=last, now_ms=now_ms, formats=(form,)
        ).files


def _kept(
    shop: Shop, journal: JournalReads, evaluator: Evaluator, from_ms: int, to_ms: int
) -> "Kept":
    from rimewatch.journal.entering import in_words  # noqa: PLC0415 (as above)
    from rimewatch.report.probe_checks import calibration_log  # noqa: PLC0415
    from rimewatch.report.records import Happening, Kept, SealedDay  # noqa: PLC0415
    from rimewatch.report.temperature_log import Range  # noqa: PLC0415

    return Kept(
        happenings=[
            Happening(at_ms=row.at_ms, what=row.what, detail=in_words(row))
            for row in journal.events_between(from_ms, to_ms)
            if row.what != SETTING_CHANGED
        ],
        checks=calibration_log(evaluator.entries, shop.display),
        seals=[
            SealedDay(day=row.day, seal=row.seal)
            for row in journal.seal_rows()
            if row.kind == "day"
        ],
        ranges={
            probe.id: [
                Range(from_ms=item.from_ms, low_c=item.lowest, high_c=item.highest)
                for item in journal.hour_ranges(probe.id, from_ms, to_ms)
            ]
            for unit in shop.units
            for probe in shop.governing_probes(unit.id)[:1]
        },
    )


def _pdf(
    shop: Shop, journal: JournalReads, records: "Records", tell: Callable[[str], None]
) -> bytes:
    from rimewatch.report.document_pdf import document_pdf  # noqa: PLC0415 (as above)
    from rimewatch.report.period_chart import period_chart_png  # noqa: PLC0415
    from rimewatch.report.records_document import records_document  # noqa: PLC0415

    charts = {}
    for number, facts in enumerate(records.facts.units, start=1):
        tell(f"drawing {facts.name}, {number} of {len(records.facts.units)}")
        png = period_chart_png(
            shop,
            journal,
            facts.unit,
            from_ms=records.from_ms,
            to_ms=records.to_ms,
            zone=records.facts.zone,
            gaps=facts.account.gaps,
        )
        if png is not None:
            charts[facts.unit.id] = png
    tell("laying out pages")
    return document_pdf(records_document(records, charts), paper=shop.paper)
