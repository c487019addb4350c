"""From a template to an answer: escaped, under a strict policy, in the shop's scale.

Every page loads its style and its one script from here and nothing from elsewhere; it
works without the script.
"""

from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from rimewatch.report import wording
from rimewatch.shop import Shop
from rimewatch.web.enter import TYPED, Typed
from rimewatch.web.guard import SignInFirst, Visitor, sign_in_path
from rimewatch.web.people import PeopleError, Role

POLICY: Final = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
CAUTION: Final = (
    "A record of what the probes measured, not a guarantee of food safety. The person in "
    "charge decides about the fish; local codes and the licensed authority come first."
)
SET_UP_PAGE: Final = ("/settings", "Set-up")
"""Path and name of the page for those who set things up."""

UNSEEN: Final = frozenset({"alarm", "do", "from", "number", "seen"})
"""Fields of forms that nobody fills in."""

STATIC: Final = Path(__file__).with_name("static")


class Renderer:
    """Renders the templates of one shop's pages.

    Args:
        shop: Its name, scale and language.
        pages: Path and name of each page that the menu leads to.
        has_settings: Whether there are pages on which settings are changed.
        has_looks: Whether there are the pages of what is worked out when asked for.
    """

    def __init__(
        self,
        shop: Shop,
        pages: tuple[tuple[str, str], ...],
        *,
        has_settings: bool = False,
        has_looks: bool = False,
    ) -> None:
        self._has_settings = has_settings
        self._has_looks = has_looks
        self._shop = shop
        self._pages = pages
        self._root = "" if shop.web is None else shop.web.path

    def page(
        self,
        template: str,
        *,
        title: str,
        visitor: Visitor | None = None,
        here: str = "",
        status: int = 200,
        **shown: Any,  # noqa: ANN401 (what a template shows is the template's)
    ) -> Response:
        """Return a page.

        Args:
            template: Its file.
            title: What it is called.
            visitor: Who looks; None: nobody is signed in, and there is no menu.
            here: Its path in the menu.
            status: The answer's status.
            shown: What the template shows.
        """
        text = (
            _environment()
            .get_template(template)
            .render(
                shop=self._shop.name,
                title=title,
                visitor=visitor,
                person=None if visitor is None else visitor.person,
                form_token="" if visitor is None else visitor.form_token,
                may_act=visitor is not None and visitor.may(Role.ACT),
                may_set_up=visitor is not None and visitor.may(Role.SET_UP),
                has_settings=self._has_settings,
                has_looks=self._has_looks,
                pages=self._menu(visitor),
                here=here,
                root=self._root,
                caution=CAUTION,
                **shown,
            )
        )
        return HTMLResponse(text, status_code=status, headers={"Content-Security-Policy": POLICY})

    def part(self, template: str, **shown: Any) -> str:  # noqa: ANN401 (as above)
        """Return a part of a page, that holds nothing of who looks at it."""
        return _environment().get_template(template).render(root=self._root, **shown)

    @staticmethod
    def answer(text: str) -> Response:
        """Return a part of a page as an answer of its own."""
        return HTMLResponse(text, headers={"Content-Security-Policy": POLICY})

    def _menu(self, visitor: Visitor | None) -> tuple[tuple[str, str], ...]:
        """Return what the menu leads to: nothing that would be refused."""
        if visitor is None:
            return ()
        return (*self._pages, SET_UP_PAGE) if visitor.may(Role.SET_UP) else self._pages

    async def sign_in_first(self, _request: Request, error: Exception) -> Response:
        """Send whoever is not signed in to where they can."""
        assert isinstance(error, SignInFirst), "registered for that alone"
        return go_to(sign_in_path(error.back))

    async def people_away(self, request: Request, error: Exception) -> Response:
        """Say that it cannot be looked up who somebody is; the watch goes on without it."""
        assert isinstance(error, PeopleError), "registered for that alone"
        said = "Who may sign in cannot be looked up right now. Try again in a moment."
        return await self.refused(request, HTTPException(503, said))

    async def refused(self, request: Request, error: Exception) -> Response:
        """Say why something was refused, in words."""
        assert isinstance(error, HTTPException), "registered for that alone"
        if request.url.path.startswith(("/api/", "/metrics")):
            return PlainTextResponse(
                f"{error.detail}\n", status_code=error.status_code, headers=error.headers
            )
        if error.status_code == 404:
            return PlainTextResponse("There is nothing here.\n", status_code=404)
        typed: Typed | None = getattr(request.state, TYPED, None)
        if error.status_code != HTTPStatus.UNPROCESSABLE_ENTITY:
            typed = None
        answer = self.page(
            "refused.html",
            title="Not done",
            visitor=None if typed is None else typed.visitor,
            status=error.status_code,
            said=error.detail,
            typed=typed,
            action=request.url.path,
            unseen=UNSEEN,
        )
        answer.headers.update(error.headers or {})
        return answer


def go_to(path: str) -> Response:
    """Return an answer that leads elsewhere, by GET."""
    return RedirectResponse(path, status_code=303)


def drawing(svg: str) -> Markup:
    """Return a drawing of ours as it is; it holds numbers and fixed words alone."""
    return Markup(svg)  # noqa: S704 (made here, of numbers)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("rimewatch.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["minutes"] = lambda minutes: wording.duration(minutes * 60.0)
    return environment
