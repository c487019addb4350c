"""What holds for every address of the pages, whichever is added next."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.routing import Route

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from page_visitor import Pages, form_token, pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.journal.journal import Journal
from rimewatch.service.writer import Writer
from rimewatch.web.people import Role

DAY = "2026-03-02"
FOR_STRANGERS = {"/sign-in", "/set-up/{secret}", "/static/{name}", "/api/health"}
FOR_STRANGERS |= {"/api/openapi.json"}
"""What anybody may ask for: the way in, its files, whether the watch is at work."""
PARTS = {"unit": "case-1", "day": DAY, "date": DAY, "name": "now.js", "secret": "x"}
BY_SECRET = {"/sign-in", "/set-up/{secret}"}
"""Forms whose right is in what they hold: a password, or a link."""


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


@pytest.fixture
def pages(journal: Journal) -> Pages:
    """Return the pages of a shop with one case."""
    own = shop(unit(), probe("fish", measures="product"), ONE_CONTACT)
    clock = SteppedClock(Paper().start_ms)
    Writer(own, journal, clock).take(())
    found = pages_of(own, journal.path, clock)
    publish(found, own, journal)
    return found


def addresses(pages: Pages, method: str) -> list[tuple[str, str]]:
    """Return each route that takes a method, and an address of it."""
    routes = [route for route in pages.app.routes if isinstance(route, Route)]
    return [
        (
            route.path,
            route.path.format(
                unit="case-1", day="2026-03-02", date="2026-03-02", name="now.js", secret="x"
            ),
        )
        for route in routes
        if method in (route.methods or ())
    ]


def test_strangers_see_nothing_but_the_way_in(pages: Pages, journal: Journal) -> None:
    """Every page, every form, every answer for programs."""
    client = pages.client()
    for method in ("GET", "POST"):
        for route, path in addresses(pages, method):
            answer = client.request(method, path)
            if route in FOR_STRANGERS:
                continue
            wanted = 401 if path.startswith(("/api/", "/metrics")) else 303
            assert answer.status_code == wanted, (method, path)
            assert "case-1" not in answer.text, (method, path)
    assert journal.entries_after(0) == []


def test_no_form_is_taken_without_its_token_or_from_another_site(
    pages: Pages, journal: Journal
) -> None:
    """Whatever the role: another site's page can send a form, and its cookie may go with it."""
    client = pages.signed_in(Role.SET_UP)
    token = form_token(client.get("/").text)
    forms = [(route, path) for route, path in addresses(pages, "POST") if route not in BY_SECRET]
    assert len(forms) > 15
    for route, path in forms:
        kinds = {"data": {"form_token": token, "lot": "L1", "name": "set-up"}}
        if route == "/lots/attach":
            kinds["files"] = {"file": ("scan.pdf", b"%PDF", "application/pdf")}  # type: ignore[dict-item]  # bytes
        bare = {**kinds, "data": {"lot": "L1", "name": "set-up"}}
        assert client.post(path, **bare).status_code == 403, path
        for headers in (
            {"Origin": "https://elsewhere.example"},
            {"Sec-Fetch-Site": "cross-site"},
            {"Sec-Fetch-Site": "same-site"},
        ):
            answer = client.post(path, headers=headers, **kinds)
            assert answer.status_code == 403, (path, headers)

    assert journal.entries_after(0) == []
    assert client.get("/").status_code == 200, "signed in still"


def test_who_only_looks_changes_nothing(pages: Pages, journal: Journal) -> None:
    """With a token of their own session; but they may leave."""
    client = pages.signed_in(Role.LOOK)
    token = form_token(client.get("/").text)
    for route, path in addresses(pages, "POST"):
        if route in BY_SECRET or route == "/sign-out":
            continue
        answer = client.post(path, data={"form_token": token, "lot": "L1", "name": "look"})
        assert answer.status_code == 403, path
        assert "; yours is look." in answer.text, path

    assert journal.entries_after(0) == []
    assert client.post("/sign-out", data={"form_token": token}).status_code == 303


def test_every_answer_forbids_frames_foreign_scripts_and_keeping(pages: Pages) -> None:
    """Also a refusal, and an address that leads to nothing."""
    client = pages.signed_in(Role.SET_UP)
    paths = [path for _, path in addresses(pages, "GET") if path != "/now/stream"]
    for path in [*paths, "/nothing", "/static/..%2fsite.py", "/static/%2e%2e/people.py"]:
        answer = client.get(path)
        assert answer.status_code < 500, path
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy, path
        assert "unsafe-inline" not in policy.partition("script-src")[2], path
        assert answer.headers["x-content-type-options"] == "nosniff", path
        assert answer.headers["referrer-policy"] == "no-referrer", path
        assert "import " not in answer.text, path


def test_method_that_is_not_meant_is_refused_with_those_that_are(pages: Pages) -> None:
    """RFC 9110, 15.5.6: with Allow."""
    client = pages.signed_in(Role.SET_UP)
    for method in ("PUT", "DELETE", "PATCH"):
        for path in ("/", "/lots", "/api/units", "/settings"):
            answer = client.request(method, path)
            assert answer.status_code == 405, (method, path)
            assert "GET" in answer.headers["allow"], (method, path)
