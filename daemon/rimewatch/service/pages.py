"""The service's pages, from start to end: the key, the server, and what is wrong with them.

Pages that cannot be served are told of and tried again; the watch goes on without them,
and messages go out without a link. Here is the one place where parts bring their routes.
"""

from collections.abc import Callable
from functools import partial
from ipaddress import ip_address
from pathlib import Path
from typing import Final

from starlette.applications import Starlette
from starlette.routing import BaseRoute
from starlette.types import Receive, Scope, Send

from rimewatch.clock import Clock
from rimewatch.intake.entries import parse_entry
from rimewatch.service.charts import charts_folder
from rimewatch.service.ice_check import ice_seen
from rimewatch.service.looking_back import review_from_file
from rimewatch.service.postmark import Postmark
from rimewatch.service.records import record_from_file
from rimewatch.shop import Shop, Web
from rimewatch.web.acknowledge import AcknowledgePages
from rimewatch.web.app import make_app
from rimewatch.web.heard import Listens
from rimewatch.web.link_key import LinkKeyError, key_path, link_key
from rimewatch.web.live import Board
from rimewatch.web.people import People, PeopleError, Role, people_path
from rimewatch.web.server import PageServer, PageServerError, bound
from rimewatch.web.settings_keeper import SettingsKeeper
from rimewatch.web.settings_page import ConfigFile
from rimewatch.web.site import Looks, make_site
from rimewatch.web.what_if_page import Supposes

TRY_AGAIN_S: Final = 60.0
"""How long after a failure the pages are tried again (our choice)."""


class Pages:
    """Serves the pages of one shop after the other, as the configuration changes.

    Args:
        journal_path: The journal's file; the key is kept beside it.
        clock: Tells the time to the pages, and measures here.
        say: Told each thing a person at the console would want to know.
        board: Where the writer publishes what the pages show.
        config_file: Where the configuration is, for those who set things up.
        keeper: Keeps the settings; None: no page changes them.
        listens: Listens for probes that watch nothing yet.
        supposes: Plays other settings over the past.
    """

    def __init__(
        self,
        journal_path: Path,
        clock: Clock,
        *,
        say: Callable[[str], None],
        board: Board | None = None,
        config_file: ConfigFile | None = None,
        keeper: SettingsKeeper | None = None,
        listens: Listens | None = None,
        supposes: Supposes | None = None,
    ) -> None:
        self._config_file = config_file
        self._keeper = keeper
        self._listens = listens
        self._supposes = supposes
        self._journal_path = journal_path
        self._board = board or Board()
        self._is_invited = False
        self._clock = clock
        self._say = say
        self._shop: Shop | None = None
        self._key: bytes | None = None
        self._server: PageServer | None = None
        self._open: _Open | None = None
        self._next_try_s = 0.0
        self.trouble = ""
        """What is wrong with the pages, in words; empty: nothing is."""

    @property
    def port(self) -> int | None:
        """Where the pages are served; None: they are not."""
        return None if self._server is None else self._server.port

    def use(self, shop: Shop) -> Postmark:
        """Serve a shop's pages in place of those before; return what marks its messages.

        Where they are at the same address, the server goes on: whoever has just changed a
        setting on a page is answered, and finds the next page.
        """
        stays = self._stays(shop.web)
        if not stays:
            self.stop()
        self._shop = shop
        self._key = None
        self.trouble = ""
        charts = charts_folder(self._journal_path)
        if shop.web is None:
            return Postmark(shop, None, charts)
        try:
            self._key = link_key(key_path(self._journal_path))
        except LinkKeyError as error:
            self._tell(str(error))
        if stays and self._open is not None:
            self._open.app, _ = self._made(shop, shop.web)
            self._board.begin_streams()
        else:
            self._start(shop, shop.web)
        return Postmark(shop, self._key, charts)

    def stand_by(self, shop: Shop) -> None:
        """See that a shop's pages are served while there is no journal to be used."""
        if self._shop is None:
            self.use(shop)
        self.look()

    def require(self, shop: Shop) -> None:
        """See that a shop's pages could be served where it says, before those there are end.

        Raises:
            PageServerError: If they could not; it says why.
        """
        web = shop.web
        if web is None or web.port == 0:
            return
        before = None if self._shop is None else self._shop.web
        if self._server is not None and before is not None:
            same_host = before.host == web.host
            if same_host and web.port in (before.port, self._server.port):
                return  # it is free as soon as we leave it
        bound(web.host, web.port).close()

    def look(self) -> None:
        """Start the pages again where they are down, once in a while."""
        shop = self._shop
        if shop is None or shop.web is None or self._key is None:
            return
        if self._server is not None and self._server.alive:
            return
        if self._server is not None:
            self._tell("The pages have ended unexpectedly; they are started again.")
            self.stop()
        if self._clock.monotonic_s() >= self._next_try_s:
            self._start(shop, shop.web)

    def stop(self) -> None:
        """End the pages."""
        if self._server is not None:
            self._board.end_streams()
            self._server.stop()
            self._server = None

    def _stays(self, web: Web | None) -> bool:
        """Whether the server that runs is where the pages are to be."""
        before = None if self._shop is None else self._shop.web
        if self._server is None or not self._server.alive or before is None or web is None:
            return False
        return before.host == web.host and web.port in (before.port, self._server.port)

    def _made(self, shop: Shop, web: Web) -> tuple[Starlette, People | None]:
        """Return the application of a shop's pages, and who may sign in to them."""
        routes = self._routes(shop)
        people: People | None = None
        handlers = None
        try:
            people = People(people_path(self._journal_path))
            site = make_site(
                shop,
                self._journal_path,
                self._board,
                people,
                self._clock,
                parse_entry,
                partial(record_from_file, shop, self._journal_path),
                self._config_file,
                keeper=self._keeper,
                listens=self._listens,
                looks=Looks(
                    ice=partial(ice_seen, self._journal_path),
                    review=partial(review_from_file, shop, self._journal_path),
                    supposes=self._supposes,
                ),
            )
            routes, handlers = [*routes, *site.routes], site.handlers
        except PeopleError as error:
            self._say(f"{error}. Until then nobody can sign in to the pages.")
        return make_app(routes, handlers, web.path), people

    def _start(self, shop: Shop, web: Web) -> None:
        self._board.begin_streams()
        app, people = self._made(shop, web)
        self._open = _Open(app)
        server = PageServer(self._open, web.host, web.port)
        try:
            server.start()
        except PageServerError as error:
            self._next_try_s = self._clock.monotonic_s() + TRY_AGAIN_S
            self._tell(f"{error}. Until then messages cannot be acknowledged by their link.")
            return
        self._server = server
        if self._key is not None:
            self.trouble = ""
        self._say(f"Pages are served on {web.host}:{server.port}.")
        if not (is_loopback(web.host) or web.url.startswith("https://")):
            self._say(
                f"Warning: {web.host} can be reached from the network, and the pages are not "
                "encrypted: passwords could be read on the way. Listen on 127.0.0.1 behind a "
                "proxy that speaks TLS, and give its address as [web] url."
            )
        if people is not None:
            self._invite_the_first(people, web.reached_at(server.port))

    def _invite_the_first(self, people: People, url: str) -> None:
        """Print a one-time link while nobody can sign in yet, once a start."""
        try:
            if self._is_invited or people.everybody():
                return
            secret = people.invite("", Role.SET_UP, self._clock.now_ms())
        except PeopleError as error:
            self._say(str(error))
            return
        self._is_invited = True
        self._say(f"Nobody can sign in yet. Within 24 hours, open {url}/set-up/{secret}")

    def _routes(self, shop: Shop) -> list[BaseRoute]:
        routes: list[BaseRoute] = []
        if self._key is not None:
            pages = AcknowledgePages(shop, self._journal_path, self._key, self._clock)
            routes.extend(pages.routes())
        return routes

    def _tell(self, trouble: str) -> None:
        if trouble != self.trouble:
            self.trouble = trouble
            self._say(trouble)


class _Open:
    """The application that is served now: another takes its place between two requests."""

    def __init__(self, app: Starlette) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self.app(scope, receive, send)


def is_loopback(host: str) -> bool:
    """Return whether an address is reached from this machine alone.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
