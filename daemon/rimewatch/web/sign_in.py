"""Signing in and out, and setting a password by a one-time link."""

from http import HTTPStatus
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.report import wording
from rimewatch.web.attempts import Attempts
from rimewatch.web.guard import read_form, refuse_other_origins, safe_back
from rimewatch.web.page import Means, Page
from rimewatch.web.people import SHORTEST_PASSWORD, PeopleError
from rimewatch.web.rendering import go_to

SET_UP_PATH: Final = "/set-up/{secret}"
MOST_CHECKED: Final = 4
"""Passwords that wait to be checked at once, each in a thread of the pages (our choice). Browsers
that are known wait in a line of their own."""


class SignInPages(Page):
    """Lets people in and out."""

    def __init__(self, means: Means) -> None:
        super().__init__(means)
        self._attempts = Attempts()
        self._checking = {False: 0, True: 0}
        """Passwords being checked: those of browsers that nobody knows, and of those known."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes of signing in."""
        return [
            Route("/sign-in", self.sign_in, methods=["GET", "POST"]),
            Route("/sign-out", self.sign_out, methods=["POST"]),
            Route(SET_UP_PATH, self.set_up, methods=["GET", "POST"]),
        ]

    async def sign_in(self, request: Request) -> Response:
        """Ask for a name and a password, and begin a new session with them."""
        back = safe_back(request.query_params.get("back", "/"))
        if request.method != "POST":
            return self._ask(back)
        refuse_other_origins(request)
        fields = await read_form(request)
        name, password = fields.get("name", ""), fields.get("password", "")
        address = self._guard.address_of(request)
        browser = await self._guard.browser_of(request, name)
        wait_s = self._attempts.wait_s(name, address, self._clock.monotonic_s(), browser)
        if wait_s > 0:
            said = f"Too many tries. Wait {wording.duration(wait_s)}, then try again."
            page = self._ask(back, said, HTTPStatus.TOO_MANY_REQUESTS)
            page.headers["Retry-After"] = str(round(wait_s) + 1)
            return page
        is_known = bool(browser)
        if self._checking[is_known] >= MOST_CHECKED:
            page = self._ask(
                back, "Many sign in at once. Try again in a moment.", HTTPStatus.SERVICE_UNAVAILABLE
            )
            page.headers["Retry-After"] = "5"
            return page
        # Counted before it is checked: many at once are many tries.
        self._attempts.failed(name, address, self._clock.monotonic_s(), browser)
        self._checking[is_known] += 1
        try:
            person = await run_in_threadpool(self._guard.people.checked, name, password)
        finally:
            self._checking[is_known] -= 1
        if person is None:
            return self._ask(back, "Name and password do not fit.", HTTPStatus.UNAUTHORIZED)
        self._attempts.succeeded(name, browser)
        # A session that was there before is ended, whoever brought it: none is taken over.
        before = self._guard.secret_of(request)
        if before:
            await run_in_threadpool(self._guard.people.end_session, before)
        secret = await run_in_threadpool(
            self._guard.people.begin_session, person, self._clock.now_ms()
        )
        answer = go_to(safe_back(fields.get("back", "/")))
        await self._guard.let_in(request, answer, person, secret)
        return answer

    async def sign_out(self, request: Request) -> Response:
        """End the session."""
        visitor = await self._guard.visitor(request)
        await self._guard.form(request, visitor)
        await run_in_threadpool(self._guard.people.end_session, self._guard.secret_of(request))
        answer = go_to("/sign-in")
        self._guard.see_off(request, answer)
        return answer

    async def set_up(self, request: Request) -> Response:
        """Let whoever holds a one-time link set their password, and sign them in."""
        secret = request.path_params["secret"]
        people, now_ms = self._guard.people, self._clock.now_ms()
        invited = await run_in_threadpool(people.invitation, secret, now_ms)
        if invited is None:
            raise HTTPException(410, "This link was used, or is too old; ask for a new one.")
        said, status = "", HTTPStatus.OK
        if request.method == "POST":
            refuse_other_origins(request)
            fields = await read_form(request)
            try:
                person = await run_in_threadpool(
                    people.accept,
                    secret,
                    fields.get("name", ""),
                    fields.get("password", ""),
                    now_ms,
                )
            except PeopleError as error:
                said, status = str(error), HTTPStatus.UNPROCESSABLE_ENTITY
            else:
                if person is None:
                    raise HTTPException(410, "This link was used meanwhile; ask for a new one.")
                session = await run_in_threadpool(people.begin_session, person, now_ms)
                answer = go_to("/")
                await self._guard.let_in(request, answer, person, session)
                return answer
        return self._renderer.page(
            "set_up.html",
            title="Set a password",
            status=status,
            said=said,
            invited=invited,
            shortest=SHORTEST_PASSWORD,
        )

    def _ask(self, back: str, said: str = "", status: int = HTTPStatus.OK) -> Response:
        return self._renderer.page(
            "sign_in.html", title="Sign in", status=status, said=said, back=back
        )
