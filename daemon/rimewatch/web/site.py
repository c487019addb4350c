"""All pages of one shop, put together: what each needs, and where each is found."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from rimewatch.clock import Clock
from rimewatch.shop import Shop
from rimewatch.web.api import Api
from rimewatch.web.api_past import ApiPast
from rimewatch.web.enter import Desk, ParseEntry
from rimewatch.web.guard import Guard, SignInFirst
from rimewatch.web.health_page import HealthPage
from rimewatch.web.heard import Listens
from rimewatch.web.heard_page import HeardPage
from rimewatch.web.ice_page import IcePage, LookAtIce
from rimewatch.web.live import Board
from rimewatch.web.lot_forms import LotForms
from rimewatch.web.lot_page import LotPage
from rimewatch.web.lots_page import LotPages
from rimewatch.web.mornings_page import MorningPages
from rimewatch.web.now_page import NowPage
from rimewatch.web.page import Means
from rimewatch.web.people import People, PeopleError
from rimewatch.web.records_page import RecordFiles, RecordPages
from rimewatch.web.rendering import STATIC, Renderer
from rimewatch.web.review_page import MakeReview, ReviewPages
from rimewatch.web.setting_pages import SettingPages
from rimewatch.web.settings_keeper import SettingsKeeper
from rimewatch.web.settings_page import ConfigFile, SettingsPage
from rimewatch.web.sign_in import SignInPages
from rimewatch.web.unit_forms import UnitForms
from rimewatch.web.unit_page import UnitPage
from rimewatch.web.what_if_page import Supposes, WhatIfPage

PAGES = (
    ("/", "Now"),
    ("/lots", "Lots"),
    ("/mornings", "Mornings"),
    ("/records", "Records"),
    ("/health", "Health"),
)
"""Path and name of what the menu leads to."""

FILES = {
    "style.css": "text/css",
    "now.js": "text/javascript",
    "again.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "app.webmanifest": "application/manifest+json",
}
"""The files that anybody may load; no other name leads to a file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The routes of the pages, and who answers what goes wrong on them."""

    routes: list[BaseRoute]
    handlers: Mapping[Any, Callable[[Request, Exception], Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """What is worked out by the service when somebody asks for it on a page."""

    ice: LookAtIce
    review: MakeReview
    supposes: Supposes | None = None
    """Plays other settings over the past; None: nobody does."""


def make_site(
    shop: Shop,
    journal_path: Path,
    board: Board,
    people: People,
    clock: Clock,
    parse: ParseEntry,
    record_files: RecordFiles,
    config_file: ConfigFile | None = None,
    *,
    keeper: SettingsKeeper | None = None,
    listens: Listens | None = None,
    looks: Looks | None = None,
) -> Site:
    """Return the pages of a shop.

    Args:
        shop: The shop.
        journal_path: Where pages read the past and write down what people enter.
        board: Where the writer's latest snapshot is.
        people: Who may sign in.
        clock: Tells the time.
        parse: Checks what people enter.
        record_files: Makes the record of a period.
        config_file: Where the configuration is, for those who set things up.
        keeper: Keeps the settings; None: no page changes them.
        listens: Listens for probes that watch nothing yet; None: nobody does.
        looks: What is worked out when somebody asks for it; None: nothing is.
    """
    means = Means(
        shop=shop,
        journal_path=journal_path,
        board=board,
        guard=Guard(people, clock, shop.pages_url, shop.pages_path),
        renderer=Renderer(
            shop, PAGES, has_settings=keeper is not None, has_looks=looks is not None
        ),
        clock=clock,
    )
    desk = Desk(shop, journal_path, board, clock, parse)
    routes: list[BaseRoute] = [
        *NowPage(means).routes(),
        *UnitPage(means).routes(),
        *UnitForms(means, desk).routes(),
        *LotPages(means, desk).routes(),
        *LotPage(means).routes(),
        *LotForms(means, desk).routes(),
        *([] if looks is None else _looking(means, desk, looks, keeper)),
        *MorningPages(means).routes(),
        *RecordPages(means, record_files).routes(),
        *HealthPage(means).routes(),
        *SettingsPage(means, config_file, keeper).routes(),
        *([] if keeper is None or listens is None else HeardPage(means, keeper, listens).routes()),
        *([] if keeper is None else SettingPages(means, keeper).routes()),
        *Api(means).routes(),
        *ApiPast(means).routes(),
        *SignInPages(means).routes(),
        Route("/static/{name}", static_file),
    ]
    return Site(
        routes=routes,
        handlers={
            SignInFirst: means.renderer.sign_in_first,
            HTTPException: means.renderer.refused,
            PeopleError: means.renderer.people_away,
        },
    )


def _looking(
    means: Means, desk: Desk, looks: Looks, keeper: SettingsKeeper | None
) -> list[BaseRoute]:
    routes = [*IcePage(means, desk, looks.ice).routes(), *ReviewPages(means, looks.review).routes()]
    if keeper is not None and looks.supposes is not None:
        routes += WhatIfPage(means, keeper, looks.supposes).routes()
    return routes


async def static_file(request: Request) -> Response:
    """Return one of our few files."""
    name = request.path_params["name"]
    kind = FILES.get(name)
    if kind is None:
        raise HTTPException(404)
    return FileResponse(STATIC / name, media_type=kind, headers={"Cache-Control": "max-age=300"})
