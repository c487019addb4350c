"""What programs may read: by scope, page by page, and as the document says."""

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from handmade import Paper, probe, shop, unit
from page_visitor import Pages, pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.intake.trace import TraceEntry
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import ProbeId
from rimewatch.web.api_document import DOCUMENT
from rimewatch.web.people import Role, TokenScope

GUARDED = ["/api/units", "/api/alarms", "/api/lots", "/api/readings?probe=fish", "/metrics"]
START = Paper()


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


@pytest.fixture
def pages(journal: Journal) -> Pages:
    """Return the pages of a case that has been warm for some minutes, with a lot."""
    own = shop(unit(), probe("fish", measures="product"))
    clock = SteppedClock(START.start_ms)
    Writer(own, journal, clock).take(())
    for line in Paper().receive(0, "L1").read():
        assert isinstance(line, TraceEntry)
        journal.add_entry(line.entry, "test")
    journal.add_readings(
        [
            Reading(
                probe=ProbeId("fish"),
                observed_ms=START.at_ms(60 * n),
                arrived_ms=START.at_ms(60 * n),
                raw=value,
                value=value,
            )
            for n in range(25)
            for value in [7.0 + n / 8 if n > 20 else 1.0 + n / 8]
        ]
    )
    clock.move_to(START.at_ms(60 * 24))
    found = pages_of(own, journal.path, clock)
    publish(found, own, journal)
    return found


def program(pages: Pages, *scopes: TokenScope) -> TestClient:
    """Return a program with a token of some scopes."""
    client = pages.client()
    secret = pages.people.add_token("program", frozenset(scopes), START.start_ms)
    client.headers["Authorization"] = f"Bearer {secret}"
    return client


@pytest.mark.parametrize("path", GUARDED)
def test_api_without_a_token_tells_nothing(pages: Pages, path: str) -> None:
    """Nor with one that nobody gave out."""
    client = pages.client()
    assert client.get(path).status_code == 401
    client.headers["Authorization"] = "Bearer made-up"
    answer = client.get(path)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert "case-1" not in answer.text


@pytest.mark.parametrize("path", GUARDED)
def test_token_opens_what_its_scope_names_and_no_more(pages: Pages, path: str) -> None:
    """A token for figures reads no lots, one for reading no figures."""
    wanted, other = TokenScope.READ, TokenScope.METRICS
    if path == "/metrics":
        wanted, other = other, wanted

    assert program(pages, other).get(path).status_code == 401
    assert program(pages, wanted).get(path).status_code == 200


def test_token_that_was_made_void_opens_nothing(pages: Pages) -> None:
    """At once."""
    client = program(pages, TokenScope.READ)
    assert pages.people.remove_token("program")

    assert client.get("/api/units").status_code == 401


def test_token_opens_no_page_and_no_form(pages: Pages) -> None:
    """Programs read; people act."""
    client = program(pages, *TokenScope)

    assert client.get("/").status_code == 303
    assert client.post("/acknowledge", data={"alarm": "x"}).status_code == 303


def test_person_who_is_signed_in_may_read_by_their_session(pages: Pages) -> None:
    """A link to a CSV file works for whoever sees the page."""
    assert pages.signed_in(Role.LOOK).get("/api/units").status_code == 200


def test_units_tell_the_fish_and_how_it_stands(pages: Pages) -> None:
    """As the page does, in °C."""
    told = program(pages, TokenScope.READ).get("/api/units").json()

    (one,) = told["units"]
    assert (one["id"], one["fish_c"], one["standing"]) == ("case-1", 10.0, "warm")
    assert one["read"] == "2026-03-02T12:24:00.000Z"


def test_alarms_and_lots_are_told(pages: Pages) -> None:
    """Rule, priority, state; proof and what it lacks."""
    client = program(pages, TokenScope.READ)
    (alarm,) = client.get("/api/alarms").json()["alarms"]
    (lot,) = client.get("/api/lots").json()["lots"]

    assert (alarm["rule"], alarm["priority"], alarm["state"]) == (
        "holding",
        "high",
        "unacknowledged",
    )
    assert (lot["lot"], lot["proof"], lot["needs_destruction"]) == ("L1", None, True)


def test_readings_come_page_by_page_without_loss_or_repetition(pages: Pages) -> None:
    """Every reading once, in order."""
    client = program(pages, TokenScope.READ)
    seen: list[Any] = []
    query = {"probe": "fish", "limit": "7"}
    while True:
        page = client.get("/api/readings", params=query).json()
        seen += page["readings"]
        if page["next"] is None:
            break
        query["after"] = page["next"]

    assert len(seen) == 25
    assert seen == sorted(seen)
    assert seen[0] == ["2026-03-02T12:00:00.000Z", 1.0]
    assert seen[-1] == ["2026-03-02T12:24:00.000Z", 10.0]


@pytest.mark.parametrize(
    ("query", "accept"), [({"format": "csv"}, "application/json"), ({}, "text/csv")]
)
def test_readings_as_csv_link_to_the_next_page(
    pages: Pages, query: dict[str, str], accept: str
) -> None:
    """By name or by what the asker accepts."""
    answer = program(pages, TokenScope.READ).get(
        "/api/readings",
        params={"probe": "fish", "limit": "20", **query},
        headers={"Accept": accept},
    )
    rows = list(csv.reader(io.StringIO(answer.text)))

    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert rows[0] == ["time", "value"]
    assert len(rows) == 21
    assert 'rel="next"' in answer.headers["link"]


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ({"probe": "nothing"}, 404),
        ({"probe": "fish' OR '1'='1"}, 404),
        ({"probe": "fish", "from": "yesterday"}, 422),
        ({"probe": "fish", "to": "2026-03-02T12:00:00"}, 422),
        ({"probe": "fish", "limit": "0"}, 422),
        ({"probe": "fish", "limit": "1e3"}, 422),
        ({"probe": "fish", "limit": "²"}, 422),
        ({"probe": "fish", "format": "xml"}, 422),
        ({}, 404),
    ],
)
def test_readings_asked_for_wrongly_are_refused(
    pages: Pages, query: dict[str, str], status: int
) -> None:
    """With a sentence that says what is wrong."""
    answer = program(pages, TokenScope.READ).get("/api/readings", params=query)

    assert answer.status_code == status
    assert answer.text.strip()


def test_answer_that_has_not_changed_is_not_sent_again(pages: Pages) -> None:
    """RFC 9110, 13.1.2."""
    client = program(pages, TokenScope.READ)
    first = client.get("/api/readings?probe=fish")
    again = client.get("/api/readings?probe=fish", headers={"If-None-Match": first.headers["etag"]})

    assert (again.status_code, again.content) == (304, b"")


def test_health_needs_no_token_and_turns_to_503_when_the_watch_stands_still(pages: Pages) -> None:
    """For a container's check."""
    well = {"status": "at work", "late": False, "delay_s": 0.0}
    assert pages.client().get("/api/health").json() == well
    pages.clock.move_to(pages.clock.now_ms() + 600_000)

    assert pages.client().get("/api/health").status_code == 503


def test_metrics_are_open_metrics_text(pages: Pages) -> None:
    """OpenMetrics 1.0: each sample's family is declared before it, and the text has an end."""
    answer = program(pages, TokenScope.METRICS).get("/metrics")
    lines = answer.text.split("\n")

    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    assert lines[-2:] == ["# EOF", ""]
    declared: set[str] = set()
    for line in lines[:-2]:
        if line.startswith("# TYPE "):
            declared.add(line.split()[2])
        elif not line.startswith("#"):
            found = re.fullmatch(r'([a-z_]+)(\{[a-z]+="[^"\n]*"\})? (-?\d+(?:\.\d+)?)', line)
            assert found is not None, line
            assert found[1].removesuffix("_total") in declared, line
    assert 'rimewatch_fish_celsius{unit="case-1"} 10.000' in lines
    assert 'rimewatch_alarms{priority="high"} 1' in lines


def test_document_names_every_route_and_no_other(pages: Pages) -> None:
    """The document and the service cannot drift apart."""
    served = {
        route.path
        for route in pages.app.routes
        if getattr(route, "path", "").startswith(("/api/", "/metrics"))
    }

    assert served == set(DOCUMENT["paths"])
    assert pages.client().get("/api/openapi.json").json() == DOCUMENT
