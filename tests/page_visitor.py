"""A shop's pages with a person before them: signs in, reads, fills in forms. For tests."""

import html
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from starlette.applications import Starlette
from starlette.testclient import TestClient

from rimewatch.clock import SteppedClock
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.journal import Journal
from rimewatch.service.publisher import Publisher
from rimewatch.service.records import record_from_file
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.web.app import make_app
from rimewatch.web.heard import Listens
from rimewatch.web.live import Board, Health
from rimewatch.web.people import People, Role, people_path
from rimewatch.web.settings_keeper import SettingsKeeper
from rimewatch.web.settings_page import ConfigFile
from rimewatch.web.site import Looks, make_site

PASSWORD = "ice and salt and ice"


@dataclass
class Pages:
    """The pages of a shop whose writer a test drives itself."""

    app: Starlette
    board: Board
    people: People
    clock: SteppedClock
    journal_path: Path

    def client(self, **kinds: object) -> TestClient:
        """Return somebody's browser, not signed in."""
        return TestClient(
            self.app,
            base_url="http://127.0.0.1:8080",
            follow_redirects=False,
            **kinds,  # type: ignore[arg-type]
        )

    def signed_in(self, role: Role = Role.ACT, name: str = "") -> TestClient:
        """Return the browser of somebody with a role."""
        own = name or role.word
        secret = self.people.invite(own, role, self.clock.now_ms())
        client = self.client()
        answer = client.post(f"/set-up/{secret}", data={"password": PASSWORD})
        assert answer.status_code == 303, answer.text
        return client


def pages_of(
    shop: Shop,
    journal_path: Path,
    clock: SteppedClock,
    config_file: ConfigFile | None = None,
    *,
    keeper: SettingsKeeper | None = None,
    listens: Listens | None = None,
    looks: Looks | None = None,
) -> Pages:
    """Return a shop's pages; nothing is published yet."""
    board = Board()
    people = People(people_path(journal_path))
    make_record = partial(record_from_file, shop, journal_path)
    site = make_site(
        shop,
        journal_path,
        board,
        people,
        clock,
        parse_entry,
        make_record,
        config_file,
        keeper=keeper,
        listens=listens,
        looks=looks,
    )
    path = "" if shop.web is None else shop.web.path
    return Pages(make_app(site.routes, site.handlers, path), board, people, clock, journal_path)


def publish(pages: Pages, shop: Shop, journal: Journal, health: Health | None = None) -> None:
    """Publish what the journal holds, by the service's own publisher."""
    writer = Writer(shop, journal, pages.clock)
    writer.take(())
    Publisher(pages.board, pages.clock, lambda _: health or Health(listening=True)).look(writer)


def form_token(page: str) -> str:
    """Return the token that a page's forms bear."""
    found = re.search(r'name="form_token" value="([^"]+)"', page)
    assert found is not None, page
    return html.unescape(found[1])


def send(client: TestClient, path: str, fields: Mapping[str, str], at: str = "/") -> int:
    """Send a form from a page, with that page's token; return the answer's status."""
    token = form_token(client.get(at).text)
    return client.post(path, data={"form_token": token, **fields}).status_code
