"""What programs may read of the past: every entry once, past alarms, mornings as they were."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from handmade import Paper, probe, shop, unit
from page_visitor import Pages, pages_of, publish
from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.codec import alarm_to_json
from rimewatch.alarms.lifecycle import State
from rimewatch.clock import SteppedClock
from rimewatch.entries import CorrectiveAction, MoveLot
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_H, LotId, ProbeId, UnitId
from rimewatch.web.people import Role, TokenScope

START = Paper()
PAGE = {"verdict": ["All held."], "todos": []}


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


@pytest.fixture
def pages(journal: Journal) -> Pages:
    """Return the pages of a case that was warm before, with five entries and three mornings."""
    own = shop(unit(), probe("fish", measures="product"))
    clock = SteppedClock(START.start_ms)
    Writer(own, journal, clock).take(())
    warm = [
        Reading(
            probe=ProbeId("fish"),
            observed_ms=START.at_ms(at_s),
            arrived_ms=START.at_ms(at_s),
            raw=value,
            value=value,
        )
        for at_s, value in ((0, 1.0), (60, 9.0), (120, 9.0))
    ]
    journal.add_readings(warm)
    clock.move_to(START.at_ms(120))
    for n in range(4):
        journal.add_entry(
            MoveLot(
                at_ms=START.at_ms(60 * n), who="Ana", lot=LotId(f"L{n}"), unit=UnitId("case-1")
            ),
            "page",
        )
    said = CorrectiveAction(
        at_ms=START.at_ms(30),
        entered_ms=START.at_ms(300),
        who="Ben",
        unit=UnitId("case-1"),
        text="=Moved it, all",
        lots=(LotId("L1"),),
    )
    journal.add_entry(said, "cli")
    with journal.batch():
        for day in (1, 2, 3):
            page = "" if day == 1 else json.dumps(PAGE)
            journal.put_summary(date(2026, 3, day), f"Day {day}.", f"<p>Day {day}</p>", page)
    found = pages_of(own, journal.path, clock)
    publish(found, own, journal)
    (standing,) = found.board.latest.alarms
    for hours in range(1, 6):  # as in nights before: each was raised and returned within an hour
        raised_ms = standing.raised_ms - hours * MS_PER_H
        put(
            journal,
            replace(
                standing,
                id=f"past-{hours}",
                state=State.NORMAL,
                raised_ms=raised_ms,
                returned_ms=raised_ms + MS_PER_H // 2,
            ),
        )
    return found


def put(journal: Journal, alarm: Alarm) -> None:
    """Keep an alarm."""
    journal.put_alarm(
        alarm.id,
        unit=alarm.key.unit,
        rule=alarm.key.rule,
        raised_ms=alarm.raised_ms,
        returned_ms=alarm.returned_ms,
        text=alarm_to_json(alarm),
    )


def program(pages: Pages) -> TestClient:
    """Return a program that may read."""
    client = pages.client()
    secret = pages.people.add_token("program", frozenset({TokenScope.READ}), START.start_ms)
    client.headers["Authorization"] = f"Bearer {secret}"
    return client


def all_pages(client: TestClient, path: str, key: str, **query: str) -> list[Any]:
    """Return what all pages of an answer hold together."""
    seen: list[Any] = []
    while True:
        page = client.get(path, params=query).json()
        seen += page[key]
        if page["next"] is None:
            return seen
        query["after"] = page["next"]


def test_every_entry_is_told_once_in_the_order_it_came(pages: Pages) -> None:
    """Who, what, when, for which unit and lot; also when it was entered, where that was later."""
    client = program(pages)
    seen = all_pages(client, "/api/entries", "entries", limit="2")

    assert [each["number"] for each in seen] == [1, 2, 3, 4, 5]
    assert seen[1] == {
        "number": 2,
        "at": "2026-03-02T12:01:00.000Z",
        "entered": None,
        "who": "Ana",
        "do": "move-lot",
        "unit": "case-1",
        "lot": "L1",
        "source": "page",
        "said": {},
    }
    assert seen[4]["entered"] == "2026-03-02T12:05:00.000Z"
    assert seen[4]["said"] == {"text": "=Moved it, all", "lots": ["L1"]}
    assert client.get("/api/entries", params={"after": "5"}).json() == {"entries": [], "next": None}


def test_entries_of_a_period_are_those_of_what_was_done_in_it(pages: Pages) -> None:
    """Both ends belong to it; an entry that came late counts when it was done."""
    period = {"from": "2026-03-02T12:00:30Z", "to": "2026-03-02T12:02:00Z"}
    seen = all_pages(program(pages), "/api/entries", "entries", limit="1", **period)

    assert [each["number"] for each in seen] == [2, 3, 5]


def test_entries_as_csv_hold_no_formula_and_link_to_the_next_page(pages: Pages) -> None:
    """What a person wrote is a text in a spreadsheet as well."""
    client = program(pages)
    first = client.get("/api/entries?format=csv&limit=4")
    link = first.headers["link"].partition(">")[0].removeprefix("<")
    last = client.get(link)
    rows = [list(csv.reader(io.StringIO(answer.text))) for answer in (first, last)]

    assert rows[0][0] == rows[1][0] == [
        "number", "at", "entered", "who", "do", "unit", "lot", "source", "said",
    ]  # fmt: skip
    assert [row[0] for row in rows[0][1:] + rows[1][1:]] == ["1", "2", "3", "4", "5"]
    assert json.loads(rows[1][1][-1]) == {"text": "=Moved it, all", "lots": ["L1"]}
    assert "link" not in last.headers
    assert not any(cell.startswith("=") for row in rows[1] for cell in row)


def test_alarms_of_a_period_come_page_by_page(pages: Pages) -> None:
    """Those that stood at some time in it; without a period, those that are on."""
    client = program(pages)
    (now,) = client.get("/api/alarms").json()["alarms"]
    every = all_pages(client, "/api/alarms", "alarms", limit="2", to="2027-01-01T00:00:00Z")
    period = {"from": "2026-03-02T08:20:00Z", "to": "2026-03-02T10:02:00Z"}
    some = all_pages(client, "/api/alarms", "alarms", limit="1", **period)

    past = [f"past-{n}" for n in (5, 4, 3, 2, 1)]
    assert [each["id"] for each in every] == [*past, now["id"]]
    assert [each["id"] for each in some] == ["past-4", "past-3", "past-2"]
    assert (some[0]["state"], some[0]["returned"]) == ("normal", "2026-03-02T08:32:00.000Z")


def test_mornings_are_listed_the_latest_first(pages: Pages) -> None:
    """Each once, page by page."""
    seen = all_pages(program(pages), "/api/summaries", "summaries", limit="2")

    assert seen == [{"date": f"2026-03-0{day}"} for day in (3, 2, 1)]


@pytest.mark.parametrize(
    ("query", "accept", "kind", "held"),
    [
        ("", "*/*", "application/json", '"verdict": ["All held."]'),
        ("", "text/plain", "text/plain; charset=utf-8", "Day 2."),
        ("", "text/html,*/*;q=0.8", "text/html; charset=utf-8", "<p>Day 2</p>"),
        ("", "text/html;q=0.2, application/json;q=0.9", "application/json", "Day 2."),
        ("?format=text", "text/html", "text/plain; charset=utf-8", "Day 2."),
    ],
)
def test_summary_of_a_morning_is_told_as_it_was_made(
    pages: Pages, query: str, accept: str, kind: str, held: str
) -> None:
    """As figures and sentences, as text or as the page, by what is accepted or by name."""
    client = program(pages)
    path = f"/api/summaries/2026-03-02{query}"
    answer = client.get(path, headers={"Accept": accept})
    again = client.get(path, headers={"Accept": accept, "If-None-Match": answer.headers["etag"]})

    assert (answer.status_code, answer.headers["content-type"]) == (200, kind)
    assert held in answer.text
    assert again.status_code == 304
    assert "Accept" in again.headers["vary"]


def test_summary_of_an_older_version_has_its_text_and_no_page(pages: Pages) -> None:
    """Nothing is made up for it."""
    told = program(pages).get("/api/summaries/2026-03-01").json()

    assert told == {"date": "2026-03-01", "text": "Day 1.", "page": None}


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/entries?from=yesterday", 422),
        ("/api/entries?to=2026-03-02T12:00:00", 422),
        ("/api/entries?limit=0", 422),
        ("/api/entries?after=-1", 422),
        ("/api/entries?format=text", 422),
        ("/api/alarms?from=yesterday", 422),
        ("/api/alarms?limit=10001", 422),
        ("/api/alarms?after=nothing", 404),
        ("/api/summaries?after=2026-W10-1", 422),
        ("/api/summaries?limit=x", 422),
        ("/api/summaries/20260302", 422),
        ("/api/summaries/2026-02-30", 422),
        ("/api/summaries/2026-03-09", 404),
        ("/api/summaries/2026-03-02?format=pdf", 422),
    ],
)
def test_past_that_is_asked_for_wrongly_is_refused(pages: Pages, path: str, status: int) -> None:
    """With a sentence that says what is wrong."""
    answer = program(pages).get(path)

    assert answer.status_code == status
    assert answer.text.strip()


def test_past_is_closed_to_a_token_without_the_scope_and_open_to_a_session(pages: Pages) -> None:
    """As everything that tells of the shop."""
    figures = pages.people.add_token("figures", frozenset({TokenScope.METRICS}), START.start_ms)
    looking = pages.signed_in(Role.LOOK)
    for path in ("/api/entries", "/api/summaries", "/api/summaries/2026-03-02", "/api/alarms"):
        client = pages.client()
        assert client.get(path).status_code == 401, path
        answer = client.get(path, headers={"Authorization": f"Bearer {figures}"})
        assert answer.status_code == 401, path
        assert "L1" not in answer.text, path
        assert looking.get(path).status_code == 200, path
