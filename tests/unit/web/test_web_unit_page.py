"""One unit's page: its course without a peak lost, and forms that become entries."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from handmade import probe, shop, unit
from page_visitor import Pages, pages_of, publish, send
from rimewatch.clock import SteppedClock
from rimewatch.entries import CorrectiveAction, InService, OutOfService, Shelve, Unshelve
from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.unit_now import Bucket
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.rules import channel
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, Disposition, ProbeId, Rule
from rimewatch.web.chart import chart_svg
from rimewatch.web.course import SPANS, Course, course_of, gaps, steps
from rimewatch.web.people import Role

START_MS = 1_772_452_800_000


@pytest.fixture(autouse=True)
def _nobody_takes_entries_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """No service runs here that a form would wait for."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)


@pytest.fixture
def own_shop() -> Shop:
    """Return a shop with one case whose fish is measured."""
    return shop(unit(), probe("fish", measures="product"), probe("door", measures="door"))


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


@pytest.fixture
def pages(own_shop: Shop, journal: Journal) -> Pages:
    """Return the pages of a case that got warm half an hour ago."""
    clock = SteppedClock(START_MS)
    Writer(own_shop, journal, clock).take(())
    journal.add_readings(
        [
            Reading(
                probe=ProbeId("fish"),
                observed_ms=START_MS + n * 60_000,
                arrived_ms=START_MS + n * 60_000,
                raw=value,
                value=value,
            )
            for n in range(120)
            for value in [9.0 if n >= 90 else 1.0]
        ]
    )
    clock.move_to(START_MS + 120 * 60_000)
    found = pages_of(own_shop, journal.path, clock)
    publish(found, own_shop, journal)
    return found


def test_unit_page_shows_the_course_and_the_excursion(pages: Pages) -> None:
    """Began, how long, how warm; the drawing has a text of its own."""
    page = pages.signed_in().get("/unit/case-1?span=6h").text

    assert '<svg class="chart"' in page
    assert 'aria-label="case-1, the last 6 hours: fish 33.8 to 48.2 °F"' in page
    assert "30 min so far" in page
    assert "Not measured for 4 h" in page


@pytest.mark.parametrize("span", list(SPANS))
def test_unit_page_draws_every_span(pages: Pages, span: str) -> None:
    """From six hours to a year and beyond."""
    answer = pages.signed_in(name=f"Ana {span}").get(f"/unit/case-1?span={span}")

    assert answer.status_code == 200
    assert '<svg class="chart"' in answer.text


def test_steps_of_a_year_keep_a_peak_of_one_minute() -> None:
    """The one warm reading of half a million is there, at its height."""
    times = START_MS + np.arange(525_600, dtype=np.int64) * 60_000
    values = np.full(len(times), 1.0)
    values[400_123] = 9.5
    found = steps(times, values, START_MS, START_MS + 365 * MS_PER_DAY, 365 * MS_PER_DAY // 360)

    assert len(found) == 360
    assert [step.high_c for step in found if step.high_c > 1.0] == [9.5]
    assert all(step.low_c == 1.0 for step in found)


def test_gaps_hold_the_edges_of_a_period() -> None:
    """What was not measured at its beginning and its end is a gap like any other."""
    times = np.array([50, 60, 90], dtype=np.int64)

    assert gaps(times, 0, 200, 20.0) == ((0.0, 50.0), (60.0, 90.0), (90.0, 200.0))
    assert gaps(np.array([], dtype=np.int64), 0, 200, 20.0) == ((0.0, 200.0),)


@pytest.mark.parametrize("length_ms", [MS_PER_DAY, 300 * MS_PER_DAY])
def test_course_without_a_reading_is_one_gap(
    own_shop: Shop, journal: Journal, length_ms: int
) -> None:
    """Missing data is never cold: nothing is drawn."""
    course = course_of(own_shop, journal, own_shop.probes[0], 0, length_ms)

    assert course.fish == ()
    assert course.gaps == ((0.0, float(length_ms)),)
    assert "fish" not in chart_svg(own_shop, own_shop.units[0], course, "")


LATER_MS = START_MS + 60 * MS_PER_DAY


@pytest.fixture
def sixty_days(journal: Journal) -> Journal:
    """Give a case whose air was measured each half hour, with one peak and nine days' silence."""
    values = np.round(2.0 + np.sin(np.arange(60 * 48)), 3)
    values[777] = 19.25
    silent = range(30 * 48, 39 * 48)
    journal.add_readings(
        [
            Reading(probe=ProbeId("air"), observed_ms=at_ms, arrived_ms=at_ms, raw=v, value=v)
            for n, v in enumerate(values.tolist())
            if n not in silent
            for at_ms in [START_MS + n * 1_800_000]
        ]
    )
    journal.compact(LATER_MS, 99)
    return journal


@pytest.mark.parametrize("is_rolled_up", [True, False])
def test_long_course_keeps_a_peak_of_one_reading_and_a_gap_open(
    sixty_days: Journal, is_rolled_up: bool
) -> None:
    """The air at its height, the fish behind its lag at its own; nothing across the silence."""
    own = shop(unit(lag_s=1800), probe("air", every_s=1800))
    while is_rolled_up and sixty_days.roll_up([(ProbeId("air"), 1800.0, 5_400_000.0)], 99):
        pass
    every = sixty_days.span(ProbeId("air"))
    folding = settings_for(own.units[0], own.probes[0])
    felt = channel.governing_curve(folding, every.times_ms, every.values)

    course = course_of(own, sixty_days, own.probes[0], LATER_MS - 365 * MS_PER_DAY, LATER_MS - 1)

    assert max(step.high_c for step in course.air) == 19.25
    assert max(step.high_c for step in course.fish) == pytest.approx(felt.max(), abs=1e-6)
    assert min(step.low_c for step in course.fish) == pytest.approx(felt.min(), abs=1e-6)
    before, silence = course.gaps
    assert before == (float(LATER_MS - 365 * MS_PER_DAY), float(START_MS))
    assert silence[1] - silence[0] == 9 * MS_PER_DAY + 1_800_000
    svg = chart_svg(own, own.units[0], course, "the year")
    for kind in ("airband", "fishband"):
        (line,) = re.findall(f'<path class="{kind}" d="([^"]*)"/>', svg)
        assert line.count("M") == 2
    assert len(svg) < 12_000


def test_thinned_hours_are_drawn(sixty_days: Journal) -> None:
    """Of readings that are no longer kept, the range of each hour is seen."""
    own = shop(unit(lag_s=1800), probe("air", every_s=1800))
    sixty_days.seal_days("UTC", LATER_MS, 99)
    thinned = sixty_days.thin_readings(ProbeId("air"), START_MS + 20 * MS_PER_DAY, 99)
    assert thinned > 15
    from_ms = sixty_days.oldest_ms(ProbeId("air"))
    assert from_ms == START_MS

    course = course_of(own, sixty_days, own.probes[0], from_ms, LATER_MS - 1)

    assert max(step.high_c for step in course.air) == 19.25
    assert len(course.gaps) == 1


def test_all_that_is_kept_reaches_back_to_the_first_reading(pages: Pages) -> None:
    """A shop that began this morning sees its one day, with what came before as not measured."""
    page = pages.signed_in().get("/unit/case-1?span=all").text

    assert 'aria-label="case-1, all that is kept: fish 33.8 to 48.2 °F"' in page
    assert "Not measured for 22 h" in page


def test_a_year_of_an_often_opened_door_stays_small(own_shop: Shop) -> None:
    """Bars that lie on one another are drawn as one; over long times there are none."""
    doors = tuple((n * 60_000.0, n * 60_000.0 + 20_000.0) for n in range(10_000))
    course = Course(
        from_ms=0,
        to_ms=7 * MS_PER_DAY,
        step_ms=MS_PER_DAY // 51,
        fish=(Bucket(0, 1.0, 2.0),),
        air=(),
        gaps=(),
        doors=doors,
        defrosts=(),
    )

    week = chart_svg(own_shop, own_shop.units[0], course, "")
    year = chart_svg(own_shop, own_shop.units[0], replace(course, to_ms=365 * MS_PER_DAY), "")

    assert len(week) < 4000
    assert 'class="door"' in week
    assert 'class="door"' not in year


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (0.25, "09:00"),
        (1, "20:00"),
        (7, "Thu 5"),
        (30, "10 Mar"),
        (365, "Jul"),
        (2000, "2029"),
    ],
)
def test_axis_tells_round_times_of_the_wall_clock(own_shop: Shop, days: float, said: str) -> None:
    """Hours, days, months or years, by how long the time is."""
    course = Course(
        from_ms=START_MS,
        to_ms=START_MS + round(days * MS_PER_DAY),
        step_ms=round(days * MS_PER_DAY) // 360,
        fish=(Bucket(START_MS, 1.0, 2.0),),
        air=(),
        gaps=(),
        doors=(),
        defrosts=(),
    )

    svg = chart_svg(own_shop, own_shop.units[0], course, "")

    assert f">{said}</text>" in svg


def test_corrective_action_is_written_down_with_who_and_what_became_of_the_fish(
    pages: Pages, journal: Journal
) -> None:
    """As the person said it."""
    fields = {"text": "Moved <all> to the walk-in", "disposition": "kept"}
    status = send(pages.signed_in(name="Ana"), "/unit/case-1/note", fields, "/unit/case-1")

    assert status == 303
    entry = journal.entries_after(0)[-1][1]
    assert isinstance(entry, CorrectiveAction)
    assert (entry.who, entry.text, entry.disposition) == (
        "Ana",
        "Moved <all> to the walk-in",
        Disposition.KEPT,
    )
    assert entry.at_ms == pages.clock.now_ms()


def test_corrective_action_without_words_is_refused(pages: Pages, journal: Journal) -> None:
    """An empty form is no record."""
    status = send(pages.signed_in(), "/unit/case-1/note", {"text": " "}, "/unit/case-1")

    assert status == 422
    assert journal.entries_after(0) == []


def test_unit_is_taken_out_of_service_and_put_back(pages: Pages, journal: Journal) -> None:
    """Two entries, nothing else."""
    client = pages.signed_in()
    for do in ("out-of-service", "in-service"):
        assert send(client, "/unit/case-1/service", {"do": do}, "/unit/case-1") == 303

    kinds = [type(entry) for _, entry in journal.entries_after(0)]
    assert kinds == [OutOfService, InService]


def test_alarm_is_put_aside_for_a_while_and_never_for_ever(pages: Pages, journal: Journal) -> None:
    """Four hours at most."""
    (alarm,) = pages.board.latest.alarms
    client = pages.signed_in()
    asked = {"alarm": alarm.id, "from": "unit"}

    assert send(client, "/shelve", {**asked, "minutes": "100000"}, "/unit/case-1") == 422
    assert send(client, "/shelve", {**asked, "minutes": "nan"}, "/unit/case-1") == 422
    assert send(client, "/shelve", {**asked, "minutes": "30"}, "/unit/case-1") == 303
    (entry,) = [entry for _, entry in journal.entries_after(0)]
    assert isinstance(entry, Shelve)
    assert entry.minutes == 30.0


def test_what_is_put_aside_is_listed_until_somebody_lets_it_be_heard(
    pages: Pages, own_shop: Shop, journal: Journal
) -> None:
    """Also what was put aside before it came; the second who presses the button is told."""
    unit_id, at_ms = own_shop.units[0].id, pages.clock.now_ms()
    journal.add_entry(Shelve(at_ms=at_ms, unit=unit_id, rule=Rule.DOOR, minutes=30.0), "test")
    publish(pages, own_shop, journal)
    client = pages.signed_in(name="Ana")
    shown = client.get("/unit/case-1").text
    assert "Door open: silent until 08:30" in shown
    asked = {"unit": "case-1", "rule": "door", "from": "case-1"}

    assert send(client, "/unshelve", asked, "/unit/case-1") == 303
    publish(pages, own_shop, journal)

    entry = journal.entries_after(0)[-1][1]
    assert isinstance(entry, Unshelve)
    assert (entry.who, entry.unit, entry.rule) == ("Ana", unit_id, Rule.DOOR)
    assert "silent until" not in client.get("/unit/case-1").text
    assert send(client, "/unshelve", asked, "/unit/case-1") == 410


@pytest.mark.parametrize(
    "path", ["/acknowledge", "/shelve", "/unshelve", "/unit/case-1/service", "/unit/case-1/note"]
)
def test_form_of_somebody_who_only_looks_is_refused(
    pages: Pages, journal: Journal, path: str
) -> None:
    """A role is checked where the form arrives, and not only where it is shown."""
    client = pages.signed_in(Role.LOOK)

    assert send(client, path, {"text": "x", "do": "in-service"}) == 403
    assert journal.entries_after(0) == []


@pytest.mark.parametrize(
    "path",
    [
        "/unit/nowhere",
        "/unit/..%2f..%2fetc%2fpasswd",
        "/static/..%2f..%2fapp.py",
        "/static/../app.py",
        "/static/%2e%2e/people.py",
        "/unit/case-1%00",
    ],
)
def test_path_that_leads_out_leads_to_nothing(pages: Pages, path: str) -> None:
    """Names are looked up, never opened."""
    answer = pages.signed_in().get(path)

    assert answer.status_code == 404
    assert "import" not in answer.text
