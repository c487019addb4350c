"""What summary and records tell of laxer limits, cooling batches and timers."""

import io
import json
from dataclasses import replace
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader
from report_nights import FROM_MS, TO_MS, bad_ledger, quiet_ledger, shop, summary_of

from handmade import ONE_CONTACT, Paper, probe, unit
from handmade import shop as handmade_shop
from ledger_values import ledger_of
from rimewatch.entries import StartTimeControl
from rimewatch.evaluation.batches import Timed, TimerRecord
from rimewatch.report.batch_words import timed_words
from rimewatch.report.document_pdf import document_pdf
from rimewatch.report.page import page
from rimewatch.report.records import Records
from rimewatch.report.records_document import records_document
from rimewatch.report.records_tables import csv_files, json_text
from rimewatch.report.sections import COOLING, TIMERS
from rimewatch.report.summary import build_summary
from rimewatch.science.time_control import TimeControl, TimeControlState
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, Scale
from rimewatch.vocabulary import Paper as PaperSize

TIMER_SOURCE = "(FDA Food Code 2022, 3-501.19)"
REASON = "Variance 12 of the county"


def laxer(display: Scale = Scale.CELSIUS) -> Shop:
    """Return the shop with a reason for the first case's limit of 6 °C."""
    plain = shop(display=display)
    first = replace(plain.units[0], limit_c=6.0, laxer_because=REASON)
    return replace(plain, units=(first, *plain.units[1:]))


def records_of(of: Shop, ledger: dict[str, Any]) -> Records:
    values = ledger_of(ledger, of)
    return Records(
        first=date(2026, 3, 1),
        last=date(2026, 3, 2),
        from_ms=FROM_MS,
        to_ms=TO_MS,
        facts=build_summary(of, values, {}),
        logs=(),
        handled=(),
        checks=(),
        happenings=(),
        changes=(),
        seals=(),
        ledger=values,
    )


@pytest.mark.parametrize(
    ("scale", "limits"),
    [
        (Scale.CELSIUS, "6.0 °C in place of 5.0 °C"),
        (Scale.FAHRENHEIT, "42.8 °F in place of 41.0 °F"),
    ],
)
def test_summary_says_by_what_reason_a_limit_is_laxer(scale: Scale, limits: str) -> None:
    """A limit of one's own never looks like the published one."""
    seen = page(summary_of(quiet_ledger(), of=laxer(scale)))
    line = f"Limit {limits} (FDA Food Code 2022 3-501.16(A)(2)): {REASON}."

    assert line in seen.units[0].lines
    assert not any("in place of" in text for block in seen.units[1:] for text in block.lines)


def test_records_say_at_their_head_by_what_reason_a_limit_is_laxer() -> None:
    """Whoever inspects sees it on the first page, and in the tables."""
    records = records_of(laxer(), quiet_ledger())
    paper = PdfReader(
        io.BytesIO(document_pdf(records_document(records, {}), paper=PaperSize.LETTER))
    )
    first = " ".join(paper.pages[0].extract_text().split())

    assert "Front display case: limit 6.0 °C in place of 5.0 °C" in first
    assert REASON in first
    (row,) = json.loads(json_text(records))["limits"]
    assert (row["unit"], row["limit_c"], row["published_c"]) == ("case-1", 6.0, 5.0)
    assert row["reason"] == REASON


def test_figures_that_a_check_in_ice_went_into_say_so() -> None:
    """32 °F as the coldest of the night is the bath's, and no fish's."""
    of = shop(display=Scale.CELSIUS)
    (probe_id, *_) = [one.id for one in of.governing_probes(of.units[0].id)]
    ledger = quiet_ledger()
    ledger["calibration_checks"] = [
        {"at": at, "probe": one, "reference": "ice bath", "found_c": 0.1}
        for at, one in (
            ("2026-03-02T09:00:00Z", probe_id),
            ("2026-02-20T09:00:00Z", probe_id),
            ("2026-03-02T10:00:00Z", "another"),
        )
    ]

    first, *rest = page(summary_of(ledger, of=of)).units

    (said,) = [line for line in first.lines if "being checked" in line]
    assert "up to Mon 2 March 03:00 CST against ice bath: what it measured then" in said
    assert not any("being checked" in line for unit_block in rest for line in unit_block.lines)


def test_summary_without_batches_and_timers_has_no_such_sections() -> None:
    """Nothing to tell takes no room."""
    seen = page(summary_of(quiet_ledger()))

    assert not {COOLING, TIMERS} & {section.title for section in seen.sections}


def test_records_tell_of_batches_and_timers_on_paper_and_in_tables() -> None:
    """The paper says what the morning said; the table has each stage."""
    records = records_of(shop(display=Scale.CELSIUS), bad_ledger())
    paper = PdfReader(io.BytesIO(document_pdf(records_document(records, {}), paper=PaperSize.A4)))
    text = " ".join(" ".join(one.extract_text() for one in paper.pages).split())
    files = csv_files(records)

    assert "Walk-in cooler, lot C1 (cooked food): not cooled in time" in text
    assert "Lot T1: 4 h by the clock, to be discarded" in text
    assert len(files["cooling.csv"].splitlines()) == 3
    assert (
        files["cooling.csv"]
        .splitlines()[1]
        .endswith(",1,21.0,2.0,2026-03-01T19:00:00-06:00,2026-03-01T19:30:00-06:00,True")
    )
    assert files["time-control.csv"].splitlines()[1].startswith(",T1,4.0,2026-03-01T17:00:00-06:00")


def test_freezing_on_paper_names_the_source_of_each_option_and_no_other() -> None:
    """The European option is none of the Food Code, and paper says so to an inspector."""
    ledger = bad_ledger()
    ledger["lots"][0] |= {"option": "20C-24h", "received_too_warm": True}
    records = records_of(shop(display=Scale.CELSIUS), ledger | {"lots": ledger["lots"][:1]})
    paper = PdfReader(io.BytesIO(document_pdf(records_document(records, {}), paper=PaperSize.A4)))
    pages = [" ".join(one.extract_text().split()) for one in paper.pages]
    (text,) = (one for one in pages if "Freezing by lot" in one)

    assert "in all parts for 24 h (Regulation (EC) 853/2004" in text
    assert "no option of the FDA Food Code" in text
    assert "3-402.11" not in text
    assert "A proof speaks of parasites alone." in text
    assert "It came in above 5 °C (41 °F), to be refused" in text


def test_batch_that_was_measured_is_told_as_the_ledger_has_it() -> None:
    """From the probe's readings to the sentence."""
    of = handmade_shop(unit(), probe("air"), probe("core", measures="product"), ONE_CONTACT)
    trace = Paper().curve([(0, 1.0), (600, 1.0)], "core", 60)
    trace.receive(0, "L9").do(600, "start-cooling", unit="case-1", lot="L9")
    trace.curve([(660, 60.0), (6060, 20.0), (15_060, 4.0), (18_660, 3.0)], "core", 60)
    seen = page(build_summary(of, trace.replay(of).ledger, {}))
    (section,) = [section for section in seen.sections if section.title == COOLING]

    (item,) = section.items
    assert item.head == "case-1, lot L9 (cooked food): cooled in time"
    assert [line[:17] for line in item.lines[1:]] == ["69.8 °F within 2 ", "41.0 °F within 6 "]


START = StartTimeControl(at_ms=FROM_MS, hours=6, lot=LotId("T1"))
RUNS = TimeControl(
    state=TimeControlState.RUNNING,
    started_ms=FROM_MS,
    ends_ms=FROM_MS + 21_600_000,
    discard_ms=None,
    warmest_c=12.0,
    unmonitored_s=0.0,
    reason="",
)


def timer(ended_ms: int | None = None, **stands: Any) -> TimerRecord:
    """Return a timer as the ledger has it."""
    return TimerRecord(timed=Timed(start=START, ended_ms=ended_ms), verdict=replace(RUNS, **stands))


@pytest.mark.parametrize(
    ("item", "head", "last"),
    [
        (timer(), "running", "Warmest 12.0 °C."),
        (timer(FROM_MS + 60_000), "ended in time", "Warmest 12.0 °C."),
        (
            timer(state=TimeControlState.DISCARD, discard_ms=FROM_MS + 60_000),
            "to be discarded",
            f"Not to be served from Sun 1 March 06:31 CST on: it got too warm {TIMER_SOURCE}.",
        ),
        (
            replace(timer(), verdict=None),
            "not eligible",
            "Nobody measured the food as it left temperature control.",
        ),
        (
            timer(state=TimeControlState.NOT_ELIGIBLE),
            "not eligible",
            "It was too warm as it left temperature control for a timer to count.",
        ),
        (timer(unmonitored_s=1800.0), "running", "Unmonitored for 30 min."),
    ],
)
def test_timer_is_told_by_how_it_stands(item: TimerRecord, head: str, last: str) -> None:
    """Running, ended, run out, too warm, or never valid."""
    said, lines = timed_words(item, "", ZoneInfo("America/Chicago"), Scale.CELSIUS)

    assert said == f"Lot T1: 6 h by the clock, {head}"
    assert lines[-1] == last
