"""The pages below a path of a host that has other things on it too."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Mount, Route
from starlette.testclient import TestClient
from starlette.types import ASGIApp, Receive, Scope, Send

from handmade import Paper, probe, shop, unit
from page_visitor import PASSWORD, Pages, form_token, pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.config.checks import PAGE_NAMES
from rimewatch.intake.trace import TraceEntry
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.service.writer import Writer
from rimewatch.shop import Web
from rimewatch.vocabulary import ProbeId
from rimewatch.web.people import Role

BELOW = "/shop/rimewatch"


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


@pytest.fixture
def pages(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> Pages:
    """Return the pages of a case that is too warm, with a lot in it, below a path."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)
    web = Web(host="127.0.0.1", port=8080, url=f"https://host.example{BELOW}", path=BELOW)
    own = replace(shop(unit(), probe("fish", measures="product")), web=web)
    paper = Paper().receive(0, "L1")
    clock = SteppedClock(paper.start_ms)
    Writer(own, journal, clock).take(())
    for line in paper.read():
        assert isinstance(line, TraceEntry)
        journal.add_entry(line.entry, "test")
    at_ms = [paper.at_ms(60 * n) for n in range(25)]
    journal.add_readings(
        [
            Reading(probe=ProbeId("fish"), observed_ms=at, arrived_ms=at, raw=n / 2, value=n / 2)
            for n, at in enumerate(at_ms)
        ]
    )
    clock.move_to(at_ms[-1])
    found = pages_of(own, journal.path, clock)
    publish(found, own, journal)
    return found


def passing_on(app: ASGIApp) -> ASGIApp:
    """Return a host that passes the whole path on, and has another program beside it."""

    async def below(scope: Scope, receive: Receive, send: Send) -> None:
        # Mount tells the path it serves below; a proxy would say nothing but the path.
        await app({**scope, "root_path": ""}, receive, send)

    other = Route("/{rest:path}", lambda _: PlainTextResponse("another program", 418))
    return Starlette(routes=[Mount(BELOW, below), other])


def taking_away(app: ASGIApp) -> ASGIApp:
    """Return such a host whose proxy takes the path away before it passes a request on."""

    async def below(scope: Scope, receive: Receive, send: Send) -> None:
        await app(
            {**scope, "root_path": "", "path": scope["path"].removeprefix(BELOW)}, receive, send
        )

    other = Route("/{rest:path}", lambda _: PlainTextResponse("another program", 418))
    return Starlette(routes=[Mount(BELOW, below), other])


PROXIES = pytest.mark.parametrize("proxy", [passing_on, taking_away])
Proxy = Callable[[ASGIApp], ASGIApp]


def browser(pages: Pages, proxy: Proxy) -> TestClient:
    """Return a browser of somebody who is signed in, before the proxy."""
    client = TestClient(proxy(pages.app), base_url="https://host.example", follow_redirects=False)
    secret = pages.people.invite("Ana", Role.SET_UP, pages.clock.now_ms())
    answer = client.post(f"{BELOW}/set-up/{secret}", data={"password": PASSWORD})
    assert answer.headers["location"] == f"{BELOW}/", answer.text
    return client


class _Addresses(HTMLParser):
    """Notes what a page leads to, by GET and by its forms."""

    def __init__(self) -> None:
        super().__init__()
        self.gets: set[str] = set()
        self.posts: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        self.gets.update(
            said[name] for name in ("href", "src") if not said.get(name, "#").startswith("#")
        )
        if tag == "form":
            which = self.posts if said.get("method") == "post" else self.gets
            which.add(said.get("action", ""))


@PROXIES
def test_everything_a_page_leads_to_lies_below_the_path(pages: Pages, proxy: Proxy) -> None:
    """Every page that can be reached from the first one, its files and its forms."""
    client = browser(pages, proxy)
    waiting, seen, posts = {f"{BELOW}/"}, set(), set()
    while waiting:
        path = waiting.pop()
        seen.add(path)
        answer = client.get(path)
        assert answer.status_code in (200, 422), path  # a record wants its days
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        found = _Addresses()
        found.feed(answer.text)
        for address in found.gets:
            whole = urlsplit(urljoin(f"https://host.example{path}", address))
            assert whole.netloc == "host.example", address
            assert whole.path.startswith(f"{BELOW}/"), f"{path} leads to {address}"
            if whole.path not in seen and "?" not in address:
                waiting.add(whole.path)
        posts |= {urljoin(path, action) for action in found.posts if action}

    assert {f"{BELOW}/unit/case-1", f"{BELOW}/lots", f"{BELOW}/static/style.css"} <= seen
    assert f"{BELOW}/acknowledge" in posts
    assert all(action.startswith(f"{BELOW}/") for action in posts), posts


@PROXIES
def test_form_is_taken_and_leads_back_below_the_path(
    pages: Pages, journal: Journal, proxy: Proxy
) -> None:
    """From a tap on the phone to the entry in the journal."""
    client = browser(pages, proxy)
    page = client.get(f"{BELOW}/").text
    (alarm,) = re.findall(r'name="alarm" value="([^"]+)"', page)
    before = len(journal.entries_after(0))
    answer = client.post(
        f"{BELOW}/acknowledge", data={"form_token": form_token(page), "alarm": alarm}
    )

    assert (answer.status_code, answer.headers["location"]) == (303, f"{BELOW}/")
    assert len(journal.entries_after(0)) == before + 1


@PROXIES
def test_stranger_is_led_to_sign_in_and_back_below_the_path(pages: Pages, proxy: Proxy) -> None:
    """Also from a link that was kept."""
    browser(pages, proxy).close()
    client = TestClient(proxy(pages.app), base_url="https://host.example", follow_redirects=False)
    led = client.get(f"{BELOW}/lots").headers["location"]
    back = re.search(r'name="back" value="([^"]+)"', client.get(led).text)
    assert back is not None
    fields = {"name": "Ana", "password": PASSWORD, "back": back[1]}

    answer = client.post(f"{BELOW}/sign-in", data=fields)
    assert answer.headers["location"] == f"{BELOW}/lots"


def test_cookie_is_sent_to_nothing_else_on_the_host(pages: Pages) -> None:
    """The other programs there never see it."""
    client = browser(pages, passing_on)
    cookies = {cookie.name: cookie for cookie in client.cookies.jar}
    cookie, browsers = cookies["__Secure-rimewatch"], cookies["rimewatch-browser"]
    assert (browsers.path, browsers.secure) == (BELOW, True)

    assert (cookie.name, cookie.path, cookie.secure) == ("__Secure-rimewatch", BELOW, True)


def test_manifest_names_addresses_beside_itself(pages: Pages) -> None:
    """What is put on the phone's first screen opens the shop's pages."""
    client = browser(pages, passing_on)
    at = f"https://host.example{BELOW}/static/app.webmanifest"
    manifest = json.loads(client.get(at).text)

    assert urljoin(at, manifest["start_url"]) == f"https://host.example{BELOW}/"
    assert urljoin(at, manifest["scope"]) == f"https://host.example{BELOW}/"
    assert client.get(urljoin(at, manifest["icons"][0]["src"])).status_code == 200


def test_csv_leads_to_its_next_page_below_the_path(pages: Pages) -> None:
    """For programs that follow the link."""
    client = browser(pages, passing_on)
    answer = client.get(f"{BELOW}/api/readings?probe=fish&format=csv&limit=20")
    link = re.fullmatch(r'<([^>]+)>; rel="next"', answer.headers["link"])
    assert link is not None

    assert link[1].startswith(f"{BELOW}/api/readings?")
    assert len(client.get(link[1]).text.splitlines()) == 6


def test_paths_that_only_begin_alike_are_not_ours(pages: Pages) -> None:
    """Whole segments count."""
    client = pages.client()

    assert client.get(f"{BELOW}/sign-in").status_code == 200
    assert client.get(f"{BELOW}-other/sign-in").status_code == 404
    assert client.get(BELOW).headers["location"] == f"{BELOW}/sign-in"


def test_names_of_the_pages_are_known_where_a_path_is_checked(pages: Pages) -> None:
    """A path that is named like a page could not be told from it."""
    routed = {path.split("/")[1] for route in pages.app.routes if (path := str(route.path))}  # type: ignore[attr-defined]  # each is a Route

    assert routed - {""} <= PAGE_NAMES
