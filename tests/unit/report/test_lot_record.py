"""A lot's record as it is handed over: a golden text that was read line by line, and its PDF."""

import io
import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader

from core_run import CoreRun, run_core
from document_parts import facts
from handmade import Paper, probe, shop, unit
from rimewatch.entries import CalibrationCheck
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_record import LotRecord, record_of
from rimewatch.evaluation.lot_story import tell
from rimewatch.intake.trace import read_trace
from rimewatch.lots.record import UseBy
from rimewatch.report.document_pdf import document_pdf
from rimewatch.report.document_text import WIDTH, document_text
from rimewatch.report.hold_chart import hold_chart_png
from rimewatch.report.lot_page import lot_page
from rimewatch.report.lot_record_json import lot_record_json
from rimewatch.rules.watch import BreakReason
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, ProbeId, Scale
from rimewatch.vocabulary import Paper as PaperSize

H = 3600.0
LOT = LotId("L-0412")
FREEZING = "Freezing for parasite destruction"
GOLDEN = Path(__file__).parents[2] / "golden" / "lots" / "lot-record.txt"


@cache
def saltmarsh() -> Shop:
    """Return a shop with a freezer, a walk-in and a case, all behind a lag."""
    keys = {"every_s": 600, "stale_s": 1800, "uncertainty_c": 0.3}
    return shop(
        unit("freezer-1", "freezer", name="Chest freezer", lag_s=1200),
        unit("walk-in", "walk-in", name="Walk-in cooler", lag_s=1200),
        unit("case-1", name="Front display case", lag_s=1200),
        probe("freezer-1-air", "freezer-1", **keys),
        probe("walk-in-air", "walk-in", **keys),
        probe("case-1-air", "case-1", **keys),
    )


@cache
def life() -> CoreRun:
    """Return ten days: a hold that breaks after 30 h, completes, and the fish is sold."""
    paper = Paper("2026-02-02T15:00:00Z")
    for n in range(6 * 230):
        freezer_c = -24.0 + 1.2 * math.sin(n / 7.0)
        if 180 <= n < 189:
            freezer_c = -24.0 + 1.6 * (n - 180)
        paper.say(n * 600.0, f"{freezer_c:.2f}", "freezer-1-air")
        paper.say(n * 600.0, f"{1.5 + math.sin(n / 5.0):.2f}", "walk-in-air")
        paper.say(n * 600.0, f"{2.2 + 1.2 * math.sin(n / 5.0):.2f}", "case-1-air")
    paper.receive(
        0,
        LOT,
        species="sockeye salmon",
        thickness_mm=35,
        celsius=1.2,
        kilograms=12.5,
        supplier="Northwater Fish",
        supplier_reference="NW-7781",
        who="Ines",
        rop=True,
    )
    paper.do(600, "correct-lot", lot=LOT, reason="measured again", thickness_mm=30, who="Ines")
    paper.do(
        1800,
        "start-freezing",
        lot=LOT,
        unit="freezer-1",
        option="20C-168h",
        who="Ines",
        needed_by="2026-02-11T18:00:00Z",
    )
    paper.do(2400, "move-lot", lot=LOT, unit="case-1", who="Tom")
    paper.do(2500, "cancel-entry", number=4, reason="that was another lot", who="Tom")
    paper.do(
        206 * H, "start-thawing", lot=LOT, unit="walk-in", who="Ines",
        entered=paper.iso(208 * H),
    )  # fmt: skip
    paper.do(221 * H, "move-lot", lot=LOT, unit="case-1", who="Tom")
    paper.do(229 * H, "withdraw-lot", lot=LOT, reason="sold out", who="Tom")
    return run_core(saltmarsh(), read_trace(io.BytesIO(paper.text())))


@cache
def record() -> LotRecord:
    """Return the lot's record at the end."""
    run, place = life(), saltmarsh()
    histories = run.evaluator.histories()
    entries = run.evaluator.entries
    story = tell(place, run.store, histories, book(entries)[LOT], run.to_ms)
    return record_of(place, run.store, histories, story, entries, run.to_ms)


def test_record_as_text_is_the_golden_one() -> None:
    """Every line of it was read when it was last changed."""
    text = document_text(lot_page(saltmarsh(), record()))

    assert text == GOLDEN.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("at_c", "said"),
    [
        (None, "how long the rest lasts is not known: its temperature is not measured now."),
        (-20.0, "at its present −4.0 °F it uses none of them."),
        (18.0, "how long the rest lasts at its present 64.4 °F is not known: the estimate is for"),
    ],
)
def test_record_says_why_no_use_by_can_be_told(at_c: float | None, said: str) -> None:
    """Fish that nobody measures is not called fish that loses nothing."""
    use_by = UseBy(limit_ice_days=12.0, at_c=at_c, use_by_ms=None)

    told = replace(record(), account=replace(record().account, use_by=use_by))
    text = document_text(lot_page(saltmarsh(), told))

    assert f"The shop allows 12; {said}" in " ".join(text.split())


def test_record_as_text_fits_its_width() -> None:
    """Only the table of places may be wider: its cells are not broken."""
    text = document_text(lot_page(saltmarsh(), record()))
    before, _, after = text.partition("WHERE IT HAS BEEN")

    wide = [line for line in before.splitlines() + after.splitlines()[7:] if len(line) > WIDTH]
    assert wide == []


def test_record_as_json_is_in_celsius_and_utc() -> None:
    """Whatever the shop reads: other programs need one way."""
    told = json.loads(lot_record_json(record()))

    assert (told["proof"], told["hold"]["line_c"]) == ("own-freezing", -20.0)
    assert told["hold"]["warmest_with_uncertainty_c"] <= -20.0 + 1e-3
    assert told["hold"]["completed"].endswith("Z")
    assert [i["reason"] for i in told["hold"]["interruptions"]] == ["warm"]
    assert told["hold"]["interruptions"][0]["lost_h"] == pytest.approx(30.2, abs=0.1)
    assert told["entries"][5]["entered"] == "2026-02-11T07:00:00Z"


def test_interruption_by_silence_is_not_called_too_warm() -> None:
    """A break keeps the temperature last seen before it; that one was cold."""
    whole = record()
    assert whole.hold is not None
    silence = replace(
        whole.hold.interruptions[0], reason=BreakReason.GAP, peak_c=-24.1, seen_warm=False
    )
    quiet = replace(whole, hold=replace(whole.hold, interruptions=(silence,)))

    said = facts(lot_page(saltmarsh(), quiet), FREEZING)["Interruptions"]

    assert "no readings" in said
    assert "warm" not in said


@pytest.mark.parametrize(
    ("done_h", "offset_c", "said"),
    [
        # The hold is complete after 199.8 h; an offset holds from its entry on.
        (20.0, 0.2, "offset 0.4 °F, checked 2026-02-03 05:00 CST against ice bath: off by −0.4 °F"),
        (20.0, None, "offset 0.0 °F, checked 2026-02-03 05:00 CST against ice bath"),
        (210.0, 0.2, "offset 0.0 °F, checked 2026-02-11 03:00 CST against ice bath"),
        (231.0, 0.2, "offset 0.0 °F, no calibration check on record"),
    ],
)
def test_record_says_when_its_probe_was_checked(
    done_h: float, offset_c: float | None, said: str
) -> None:
    """Before the hold's end, or else after it; never from a time the record does not know."""
    run, place = life(), saltmarsh()
    check = CalibrationCheck(
        at_ms=run.store.span(ProbeId("freezer-1-air")).times_ms[0].item() + round(done_h * 3.6e6),
        probe=ProbeId("freezer-1-air"),
        found_c=-0.2,
        reference="ice bath",
        offset_c=offset_c,
    )
    histories, entries = run.evaluator.histories(), [*run.evaluator.entries, check]
    story = tell(place, run.store, histories, book(entries)[LOT], run.to_ms)

    page = lot_page(place, record_of(place, run.store, histories, story, entries, run.to_ms))

    assert said in facts(page, FREEZING)["Measured by"]


def test_record_as_pdf_is_one_page_and_the_same_bytes_again() -> None:
    """What was handed over can be made again and compared."""
    hold = record().hold
    assert hold is not None
    curve = hold_chart_png(hold, ZoneInfo("America/Chicago"), Scale.FAHRENHEIT)
    page = lot_page(saltmarsh(), record(), curve=curve)

    first = document_pdf(page, paper=PaperSize.LETTER)

    assert first == document_pdf(page, paper=PaperSize.LETTER)
    pages = PdfReader(io.BytesIO(first)).pages
    assert len(pages) == 1
    words = " ".join(pages[0].extract_text().split())
    for sentence in (page.verdict[0], "no calibration check on record", "[cancelled by entry 5]"):
        assert sentence in words


def test_chart_of_a_hold_is_the_same_picture_again_and_differs_by_scale() -> None:
    """Nothing of the machine or the day is in it."""
    hold = record().hold
    assert hold is not None
    zone = ZoneInfo("America/Chicago")

    png = hold_chart_png(hold, zone, Scale.FAHRENHEIT)

    assert png is not None
    assert png == hold_chart_png(hold, zone, Scale.FAHRENHEIT)
    assert png != hold_chart_png(hold, zone, Scale.CELSIUS)
