"""Weeks beside weeks: what creeps up is named, what does not is left alone."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from document_parts import table, texts
from handmade import ms, probe, shop, unit
from rimewatch.entries import CalibrationCheck, OutOfService
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.store import Span
from rimewatch.readings import Reading
from rimewatch.report.probe_checks import calibration_log, last_checks_ms
from rimewatch.report.records_tables import safe_cell
from rimewatch.report.review import (
    Review,
    UnitReview,
    build_review,
    calendar_month,
    defrost_rise_c_min,
    last_whole_week,
    week_ending,
    worst_doors,
)
from rimewatch.report.review_document import review_document
from rimewatch.report.seal_line import html_with, seal_line, text_with
from rimewatch.science.duty_cycle import DutyCycle
from rimewatch.vocabulary import ProbeId, Scale, UnitId

CASE = "Front display case"
SHOP = shop(
    unit("case-1", name="Front display case", operating_limit_c=3.3, defrost=["02:00/30m"]),
    probe("air", every_s=600),
    probe("door", "case-1", "door"),
    timezone="UTC",
)
BEGIN = date(2026, 1, 5)
BEGIN_MS = ms("2026-01-05T00:00:00Z")
DAYS = 56
EIGHT_WEEKS = [BEGIN + timedelta(days=7 * n) for n in range(9)]
LAST_WEEK = week_ending(BEGIN + timedelta(days=DAYS - 1))


def review(
    warmer_c_a_day: float = 0.0,
    ice_a_week: float = 0.0,
    edges: Sequence[date] = EIGHT_WEEKS,
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
        edges=edges,
        now_ms=now_ms,
        checked_ms=checked_ms,
    )


def notes(found: Review) -> str:
    """Return what is said of the case."""
    return " ".join(texts(review_document(found), CASE))


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
    rises = [week.defrost_rise_c_min for week in found.units[0].stretches]
    assert None not in rises
    assert rises == sorted(set(rises))
    assert "look for ice on the coil" in notes(found)


def test_weeks_add_up_to_what_was_put_in() -> None:
    """Seven openings of two minutes a week, an hour over the operating limit each night."""
    found = review(edges=LAST_WEEK)
    assert [len(found.units[0].stretches), found.is_month] == [5, False]
    week = found.units[0].stretches[-1]
    assert (week.door_openings, week.door_open_s, week.door_longest_s) == (7, 840.0, 120.0)
    assert week.above_operating_s == pytest.approx(7 * 3600, rel=0.2)
    assert week.above_limit_s == 0
    assert week.unmonitored_s == 0
    assert worst_doors(found) == [("case-1", 7, 840.0, 120.0)]
    assert week.mean_c is not None
    assert week.mean_c == pytest.approx(1.5 + 3.0 / 24, abs=0.02)


def test_a_month_is_the_calendars_and_told_beside_the_one_before() -> None:
    """January of 31 days and February of 28; the case was warmer in the second."""
    found = review(warmer_c_a_day=0.02, edges=calendar_month(2026, 2))
    page = review_document(found)
    weeks = table(page, CASE)

    assert page.title == "February 2026"
    assert "28 days, beside the months before" in page.when[0]
    assert weeks.columns[0].title == "Month"
    assert [row[0] for row in weeks.rows] == ["2025-12", "2026-01", "2026-02"]
    january, february = found.units[0].stretches[1:]
    assert (january.first, january.last) == (date(2026, 1, 1), date(2026, 1, 31))
    assert (february.first, february.last) == (date(2026, 2, 1), date(2026, 2, 28))
    assert january.door_openings == 27  # the probes began on the 5th
    assert february.door_openings == 28
    assert january.unmonitored_s == pytest.approx(4 * 86_400, abs=1200)
    assert "Beside the month before: mean +" in notes(found)
    assert "unmonitored none after 4 d" in notes(found)


@pytest.mark.parametrize(
    ("edges", "hours", "said"),
    [
        (calendar_month(2026, 3), 743, "31 days of 743 h in all"),
        (calendar_month(2026, 11), 721, "30 days of 721 h in all"),
        (week_ending(date(2026, 3, 8)), 167, "7 days of 167 h in all"),
        (week_ending(date(2026, 3, 15)), 168, "7 days, beside"),
    ],
)
def test_weeks_and_months_follow_the_shops_clock(
    edges: Sequence[date], hours: int, said: str
) -> None:
    """In Chicago the clocks change on 8 March and 1 November 2026: an hour less, an hour more."""
    chicago = replace(SHOP, timezone="America/Chicago")
    found = build_review(
        chicago, MemoryStore(), {}, [], edges=edges, now_ms=ms("2027-01-01T00:00:00Z")
    )

    assert (found.to_ms - found.from_ms) / 3_600_000 == hours
    assert found.units[0].stretches[-1].unmonitored_s == hours * 3600
    assert said in review_document(found).when[0]


def test_the_last_whole_week_is_monday_to_sunday() -> None:
    """On a Sunday the week is not over; on the Monday after it is."""
    monday, sunday = date(2026, 3, 23), date(2026, 3, 29)

    for today, last in ((sunday, date(2026, 3, 22)), (sunday + timedelta(days=1), sunday)):
        edges = last_whole_week(today)
        assert edges[-1] - timedelta(days=1) == last
        assert edges[-2].isoweekday() == 1
    assert last_whole_week(date(2026, 4, 3))[-2] == monday


def with_duty(found: Review, *shares: float | None) -> Review:
    """Return a review whose compressor worked for such shares, a week after the other."""

    def duty(share: float | None) -> DutyCycle | None:
        return None if share is None else DutyCycle(
            cooling_share=share, cycles_an_hour=4.0, counted_h=75.0
        )  # fmt: skip

    unit = found.units[0]
    stretches = tuple(
        replace(one, duty=duty(share)) for one, share in zip(unit.stretches, shares, strict=True)
    )
    told = UnitReview(
        unit=unit.unit,
        measures=unit.measures,
        stretches=stretches,
        daily_mean=unit.daily_mean,
        has_doors=unit.has_doors,
    )
    return replace(found, units=(told,))


@pytest.mark.parametrize(
    ("shares", "said"),
    [
        ((0.50, 0.51, 0.53, 0.55, 0.56), "runs 12 % longer than four weeks ago: 56 % of"),
        ((0.50, None, None, 0.50, 0.40), "runs 20 % shorter than four weeks ago: 40 % of"),
        ((0.50, 0.5, 0.5, 0.5, 0.51), "runs as four weeks ago: 51 % of undisturbed time, 4.0 cyc"),
        ((None, 0.5, 0.5, 0.5, 0.51), "runs 51 % of undisturbed time"),
        ((0.50, 0.6, 0.8, 0.9, None), "may run without a rest"),
    ],
)
def test_a_compressor_is_told_beside_four_weeks_ago(
    shares: tuple[float | None, ...], said: str
) -> None:
    """Longer is a sign, a change within a twentieth is none, and no swing at all is the worst."""
    told = notes(with_duty(review(edges=LAST_WEEK), *shares))

    assert said in told
    assert "estimated from its air" in told or shares[-1] is None


def test_air_that_does_not_swing_is_told_of_no_compressor() -> None:
    """A regulated one, or readings too far apart: nothing is made up."""
    assert "compressor" not in notes(review(edges=LAST_WEEK))


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
    for edges in (week_ending(date(2026, 3, 2)), calendar_month(2026, 1)):
        with pytest.raises(ValueError, match="not over yet"):
            build_review(SHOP, store, {}, [], edges=edges, now_ms=BEGIN_MS + 86_400_000)


def test_a_unit_without_a_probe_is_told_as_such() -> None:
    """An empty row would look like a good week."""
    bare = replace(SHOP, probes=())
    found = build_review(
        bare, MemoryStore(), {}, [], edges=week_ending(BEGIN), now_ms=BEGIN_MS + 86_400_000
    )
    assert texts(review_document(found), CASE) == ("No probe measures it.",)


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
    assert safe_cell(cell) == f"'{cell}"
    assert safe_cell("Moved - at once") == "Moved - at once"
    assert safe_cell(-18.0) == -18.0


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
    found = review(checked_days_ago=checked_days_ago, every_days=every_days, edges=LAST_WEEK)
    assert texts(review_document(found), "Probe checks") == said


def test_the_calibration_log_tells_what_was_found_and_set() -> None:
    """In order of time, and the latest of each probe counts for when it is due."""
    air = ProbeId("air")
    first = CalibrationCheck(
        at_ms=1000, who="Ana", probe=air, found_c=0.3, reference="ice bath", offset_c=-0.3
    )
    second = CalibrationCheck(at_ms=5000, who="Ben", probe=air, found_c=-0.05)
    entries = [second, first, OutOfService(at_ms=9000, unit=UnitId("case-1"))]

    assert [
        (item.at_ms, item.who, item.what) for item in calibration_log(entries, Scale.CELSIUS)
    ] == [
        (1000, "Ana", "off by +0.30 °C against ice bath; offset set to −0.30 °C"),
        (5000, "Ben", "off by −0.05 °C"),
    ]
    assert calibration_log([second], Scale.FAHRENHEIT)[0].what == "off by −0.09 °F"
    assert last_checks_ms(entries, 6000) == {air: 5000}
    assert last_checks_ms(entries, 4000) == {air: 1000}
    assert last_checks_ms(entries, 999) == {}
