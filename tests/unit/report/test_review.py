"""Weeks beside weeks: what creeps up is named, what does not is left alone."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from handmade import ms, probe, shop, unit
from rimewatch.entries import CalibrationCheck, OutOfService
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.store import Span
from rimewatch.readings import Reading
from rimewatch.report.probe_checks import calibration_log, last_checks_ms
from rimewatch.report.records_tables import _safe
from rimewatch.report.review import Review, build_review, defrost_rise_c_min, worst_doors
from rimewatch.report.review_pages import review_page
from rimewatch.report.seal_line import html_with, seal_line, text_with
from rimewatch.vocabulary import ProbeId, UnitId

SHOP = shop(
    unit("case-1", name="Front display case", operating_limit_c=3.3, defrost=["02:00/30m"]),
    probe("air", every_s=600),
    probe("door", "case-1", "door"),
    timezone="UTC",
)
BEGIN = date(2026, 1, 5)
BEGIN_MS = ms("2026-01-05T00:00:00Z")
DAYS = 56


def review(
    warmer_c_a_day: float = 0.0,
    ice_a_week: float = 0.0,
    days: int = 28,
    checked_days_ago: float | None = None,
    every_days: float = 180.0,
) -> Review:
    """Return the review of eight weeks: a steady case, one that warms, one that ices up."""
    store = MemoryStore()
    rng = np.random.default_rng(5)
    for n in range(DAYS * 144):
        day, minute = n // 144, n % 144 * 10
        value = 1.5 + warmer_c_a_day * day + float(rng.normal(0, 0.05))
        if 120 <= minute < 180:
            value += 3.0 + ice_a_week * (day // 7)
        at_ms = BEGIN_MS + n * 600_000
        store.add(
            Reading(
                probe=ProbeId("air"), observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value
            )
        )
    for day in range(DAYS):
        for minute, is_open in ((600, 1.0), (602, 0.0)):
            at_ms = BEGIN_MS + (day * 1440 + minute) * 60_000
            store.add(
                Reading(
                    probe=ProbeId("door"),
                    observed_ms=at_ms,
                    arrived_ms=at_ms,
                    raw=is_open,
                    value=is_open,
                )
            )
    now_ms = BEGIN_MS + DAYS * 86_400_000
    histories = {ProbeId("air"): history_of(SHOP, SHOP.probes[0], store, now_ms)}
    checked_ms = (
        {}
        if checked_days_ago is None
        else {ProbeId("air"): now_ms - round(checked_days_ago * 86_400_000)}
    )
    return build_review(
        replace(SHOP, probes=tuple(replace(p, check_every_days=every_days) for p in SHOP.probes)),
        store,
        histories,
        [],
        days=days,
        last=BEGIN + timedelta(days=DAYS - 1),
        now_ms=now_ms,
        checked_ms=checked_ms,
    )


def notes(found: Review) -> str:
    """Return what is said of the case."""
    return " ".join(review_page(found).units[0].notes)


def test_a_steady_case_is_called_steady() -> None:
    """Nobody is sent to a compressor that works as ever."""
    said = notes(review())
    assert "steady" in said or "No certain trend" in said
    assert "ice" not in said


def test_a_compressor_working_longer_is_named_with_an_honest_interval() -> None:
    """0.03 °C a day is 0.38 °F a week: named, with bounds that hold the truth."""
    found = review(warmer_c_a_day=0.03)
    slope = found.units[0].daily_mean
    assert slope is not None
    assert slope.low < 0.03 < slope.high
    assert "gets warmer: +0.38 °F a week" in notes(found)


def test_ice_on_the_coil_shows_in_the_defrosts() -> None:
    """Each week's defrosts warm the air for longer and further."""
    found = review(ice_a_week=0.5)
    rises = [week.defrost_rise_c_min for week in found.units[0].weeks]
    assert None not in rises
    assert rises == sorted(set(rises))
    assert "look for ice on the coil" in notes(found)


def test_weeks_add_up_to_what_was_put_in() -> None:
    """Seven openings of two minutes a week, an hour over the early line each night."""
    found = review(days=7)
    assert [len(found.units[0].weeks), found.weeks_under_review] == [4, 1]
    week = found.units[0].weeks[-1]
    assert (week.door_openings, week.door_open_s, week.door_longest_s) == (7, 840.0, 120.0)
    assert week.above_operating_s == pytest.approx(7 * 3600, rel=0.2)
    assert week.above_limit_s == 0
    assert week.unmonitored_s == 0
    assert worst_doors(found) == [("case-1", 7, 840.0, 120.0)]
    assert week.mean_c is not None
    assert week.mean_c == pytest.approx(1.5 + 3.0 / 24, abs=0.02)


def test_defrost_rise_is_the_area_over_the_level_before() -> None:
    """A triangle of 6 °C over 60 min has 180 °C·min, whatever the level."""
    minutes = np.arange(-40, 121)
    values = -2.0 + np.maximum(0.0, 6.0 - np.abs(minutes - 30) / 5.0)
    span = Span((minutes * 60_000).astype(np.int64), values)
    assert defrost_rise_c_min(span, 0.0, 30 * 60_000.0, 180_000.0) == pytest.approx(180.0)


def test_a_defrost_with_a_gap_says_nothing() -> None:
    """What was not measured is not guessed."""
    minutes = np.array([*range(-40, 10), *range(30, 121)])
    span = Span((minutes * 60_000).astype(np.int64), np.zeros(len(minutes)))
    assert defrost_rise_c_min(span, 0.0, 30 * 60_000.0, 180_000.0) is None


def test_a_period_that_is_not_over_is_refused() -> None:
    """Half a week beside whole ones would look like an improvement."""
    store = MemoryStore()
    for days, last, said in ((7, date(2026, 3, 2), "not over yet"), (9, BEGIN, "expected 7 or 28")):
        with pytest.raises(ValueError, match=said):
            build_review(SHOP, store, {}, [], days=days, last=last, now_ms=BEGIN_MS + 86_400_000)


def test_a_unit_without_a_probe_is_told_as_such() -> None:
    """An empty row would look like a good week."""
    bare = replace(SHOP, probes=())
    found = build_review(
        bare, MemoryStore(), {}, [], days=7, last=BEGIN, now_ms=BEGIN_MS + 86_400_000
    )
    assert review_page(found).units[0].notes == ("No probe measures it.",)


def test_a_seal_is_put_where_it_can_be_read() -> None:
    """In the text at the end, in the HTML at its place; without a seal nothing changes."""
    line = seal_line(date(2026, 3, 1), "3f1a 9c02 77de 41b0")
    assert text_with("All cold held.\n", line).endswith(f"\n{line}\n")
    assert line in html_with('<p><span class="seal"></span></p>', line)
    assert text_with("x", "") == "x"
    assert html_with("x", "") == "x"


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx"])
def test_a_note_is_never_a_formula_in_a_spreadsheet(cell: str) -> None:
    """What a person typed is shown, not run (OWASP, CSV Injection)."""
    assert _safe(cell) == f"'{cell}"
    assert _safe("Moved - at once") == "Moved - at once"
    assert _safe(-18.0) == -18.0


@pytest.mark.parametrize(
    ("checked_days_ago", "every_days", "said"),
    [
        (None, 180.0, ("No check is on record for air: check it in ice water.",)),
        (29.5, 30.0, ()),
        (30.0, 30.0, ("air: last checked 30 days ago, due every 30; check it in ice water.",)),
        (179.0, 180.0, ()),
        (179.0, 90.0, ("air: last checked 179 days ago, due every 90; check it in ice water.",)),
    ],
)
def test_a_probe_is_due_by_its_own_interval(
    checked_days_ago: float | None, every_days: float, said: tuple[str, ...]
) -> None:
    """A shop that checks each month is told each month; doors are not put in ice."""
    found = review(checked_days_ago=checked_days_ago, every_days=every_days, days=7)
    assert review_page(found).checks == said


def test_the_calibration_log_tells_what_was_found_and_set() -> None:
    """In order of time, and the latest of each probe counts for when it is due."""
    air = ProbeId("air")
    first = CalibrationCheck(
        at_ms=1000, who="Ana", probe=air, found_c=0.3, reference="ice bath", offset_c=-0.3
    )
    second = CalibrationCheck(at_ms=5000, who="Ben", probe=air, found_c=-0.05)
    entries = [second, first, OutOfService(at_ms=9000, unit=UnitId("case-1"))]

    assert [(item.at_ms, item.who, item.what) for item in calibration_log(entries)] == [
        (1000, "Ana", "off by +0.30 °C against ice bath; offset set to -0.30 °C"),
        (5000, "Ben", "off by -0.05 °C"),
    ]
    assert last_checks_ms(entries, 6000) == {air: 5000}
    assert last_checks_ms(entries, 4000) == {air: 1000}
    assert last_checks_ms(entries, 999) == {}
