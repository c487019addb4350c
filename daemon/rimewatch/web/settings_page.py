"""What those who set things up may do: people, programs, a test alarm, the configuration.

Nobody of a lesser role sees or sends anything here. What is done stands among the journal's
events, with who did it; a link or a token is shown once, to whoever made it.
"""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.rota import first_told, told_by, whom
from rimewatch.config import warnings_of
from rimewatch.journal import trials
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.report import wording
from rimewatch.report.trial import make_trial
from rimewatch.shop import Shop
from rimewatch.vocabulary import ContactId
from rimewatch.web.guard import Visitor
from rimewatch.web.page import BUSY_S, Means, Page
from rimewatch.web.people import ROLES, People, PeopleError, Role, TokenScope, check_name
from rimewatch.web.rendering import go_to
from rimewatch.web.setting_pages import menu
from rimewatch.web.settings_keeper import InUse, SettingsKeeper

PATH: Final = "/settings"
EVENT: Final = "set-up"
TEST_AGAIN_MS: Final = 30_000
"""A second tap within this is a mistake (our choice): each test rings a phone."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ConfigFile:
    """Where the configuration is, and how it is read; ``read`` raises a ``ValueError``."""

    path: str
    read: Callable[[], Shop]


@dataclass(frozen=True, slots=True)
class Secret:
    """What is shown once: a link or a token, and what it is for."""

    what: str
    value: str


class SettingsPage(Page):
    """Serves those who set things up.

    Args:
        means: What every page is made with.
        config_file: Where the configuration is; None: nobody said.
        keeper: Keeps the settings; None: no page changes them.
    """

    def __init__(
        self, means: Means, config_file: ConfigFile | None, keeper: SettingsKeeper | None = None
    ) -> None:
        super().__init__(means)
        self._config_file = config_file
        self._keeper = keeper

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and its forms."""
        forms: dict[str, Callable[[Request], Awaitable[Response]]] = {
            "invite": self.invite,
            "withdraw-invitation": self.withdraw_invitation,
            "role": self.role,
            "remove": self.remove,
            "end-sessions": self.end_sessions,
            "token": self.token,
            "revoke-token": self.revoke_token,
            "test-alarm": self.test_alarm,
        }
        return [
            Route(PATH, self.page),
            *(Route(f"{PATH}/{name}", take, methods=["POST"]) for name, take in forms.items()),
        ]

    async def page(self, request: Request) -> Response:
        """Show people, programs, the last test alarm and the configuration."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        return await self._page(visitor)

    # --- people ---------------------------------------------------------------------------

    async def invite(self, request: Request) -> Response:
        """Make a one-time link for somebody, known or not."""
        visitor, fields = await self._form(request)
        role = _role(fields)

        def made(people: People) -> tuple[str, str]:
            name = check_name(fields.get("name", ""))
            return name, people.invite(name, role, self._clock.now_ms())

        name, secret = await self._done(made)
        await self._note(visitor, f"invited {name} as {role.word}")
        here = f"{request.url.scheme}://{request.headers['host']}{self._shop.pages_path}"
        reached = self._shop.pages_url or here
        link = f"{reached}/set-up/{secret}"
        return await self._page(visitor, Secret(f"For {name} alone, once, within 24 hours:", link))

    async def withdraw_invitation(self, request: Request) -> Response:
        """Make a one-time link void."""
        visitor, fields = await self._form(request)
        name = fields.get("name", "")
        await self._require(lambda people: people.withdraw_invitation(name), "no such invitation")
        await self._note(visitor, f"took back the invitation of {name or 'the first person'}")
        return go_to(PATH)

    async def role(self, request: Request) -> Response:
        """Give somebody another role."""
        visitor, fields = await self._form(request)
        name, role = fields.get("name", ""), _role(fields)
        await self._require(lambda people: people.give_role(name, role), "nobody of that name")
        await self._note(visitor, f"gave {name} the role {role.word}")
        return go_to(PATH)

    async def remove(self, request: Request) -> Response:
        """Let somebody sign in no more."""
        return await self._by_name(request, People.dismiss, "nobody of that name", "removed")

    async def end_sessions(self, request: Request) -> Response:
        """Sign somebody out everywhere."""
        return await self._by_name(
            request, People.end_sessions, "no session of that name", "ended the sessions of"
        )

    # --- programs -------------------------------------------------------------------------

    async def token(self, request: Request) -> Response:
        """Make a token for a program."""
        visitor, fields = await self._form(request)
        scopes = frozenset(scope for scope in TokenScope if scope.value in fields)
        if not scopes:
            raise HTTPException(422, "Say what the program may read.")

        def made(people: People) -> tuple[str, str]:
            name = check_name(fields.get("name", ""))
            if any(known == name for known, _ in people.tokens()):
                raise PeopleError(f'there is a token "{name}" already; revoke it first')
            return name, people.add_token(name, scopes, self._clock.now_ms())

        name, secret = await self._done(made)
        words = " and ".join(sorted(scopes))
        await self._note(visitor, f"made the token {name} for {words}")
        return await self._page(visitor, Secret(f"The token {name}, shown this once:", secret))

    async def revoke_token(self, request: Request) -> Response:
        """Make a program's token void."""
        return await self._by_name(
            request, People.remove_token, "no token of that name", "revoked the token"
        )

    # --- test alarm -----------------------------------------------------------------------

    async def test_alarm(self, request: Request) -> Response:
        """Send a test message as an alarm would be sent."""
        visitor, fields = await self._form(request)
        told = self._told(fields.get("contact", ""))
        now_ms = self._clock.now_ms()

        def made() -> None:
            with Journal.open(self._journal_path, check=False, busy_s=BUSY_S) as journal:
                if trials.last_made_ms(journal, now_ms - TEST_AGAIN_MS, now_ms) is not None:
                    raise HTTPException(409, "A test is under way; give it half a minute.")
                make_trial(journal, self._shop, told, now_ms)

        await self._with_journal(made)
        await self._note(visitor, f"made a test alarm to {', '.join(told)}")
        return go_to(f"{PATH}#test")

    def _told(self, contact: str) -> tuple[ContactId, ...]:
        now_ms = self._clock.now_ms()
        if not contact:
            told = first_told(self._shop, now_ms)
        elif contact in whom(self._shop):
            told = told_by(self._shop, contact, now_ms)
        else:
            raise HTTPException(422, "There is no such contact or rota.")
        if not told:
            raise HTTPException(422, "The configuration has nobody to tell: add a [[contact]].")
        return told

    def _last_test(self) -> list[str]:
        now_ms = self._clock.now_ms()
        with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
            made_ms = trials.last_made_ms(journal, 0, now_ms)
            if made_ms is None:
                return ["No test was made yet."]
            alarm_id = trials.trial_id(made_ms)
            lines = [f"Made {wording.local_moment(made_ms, self._zone)}."]
            lines += trials.progress(journal, alarm_id)
            seen = trials.seen(journal, alarm_id)
        if seen is None:
            return [*lines, "Nobody has acknowledged it yet."]
        who = trials.who_saw(seen)
        after = wording.duration((seen.at_ms - made_ms) / 1000)
        return [*lines, wording.printable(f"Acknowledged by {who} after {after}.")]

    # --- configuration --------------------------------------------------------------------

    def _configuration(self) -> dict[str, Any]:
        """Return what there is to say of the file, as it would be read now."""
        file = self._config_file
        if file is None:
            return {"path": "", "problems": [], "warnings": warnings_of(self._shop), "same": True}
        try:
            read = file.read()
        except ValueError as error:
            problems = str(error).splitlines()
            return {"path": file.path, "problems": problems, "warnings": [], "same": False}
        return {
            "path": file.path,
            "problems": [],
            "warnings": warnings_of(read),
            "same": read == self._shop,
        }

    async def _in_use(self) -> InUse | None:
        return None if self._keeper is None else await run_in_threadpool(self._keeper.in_use)

    # --- shared ---------------------------------------------------------------------------

    async def _page(self, visitor: Visitor, secret: Secret | None = None) -> Response:
        now_ms = self._clock.now_ms()
        in_use = await self._in_use()
        people = self._guard.people
        everybody = await run_in_threadpool(people.everybody)
        sessions = await run_in_threadpool(people.sessions, now_ms)
        invited = await run_in_threadpool(people.invitations, now_ms)
        return self._renderer.page(
            "settings.html",
            title="Set-up",
            visitor=visitor,
            here=PATH,
            secret=secret,
            people=[
                {
                    "name": person.name,
                    "role": person.role.word,
                    "sessions": wording.counted(sessions.get(person.name, (0, 0))[0], "session"),
                    "used": wording.relative(sessions[person.name][1], now_ms)
                    if person.name in sessions
                    else "",
                }
                for person in everybody
            ],
            invited=[
                {
                    "name": invitation.name,
                    "role": invitation.role.word,
                    "ends": wording.local_moment(ends_ms, self._zone),
                }
                for invitation, ends_ms in invited
            ],
            roles=list(ROLES),
            tokens=await run_in_threadpool(people.tokens),
            scopes=[scope.value for scope in TokenScope],
            whom=whom(self._shop),
            last_test=await self._with_journal(self._last_test),
            configuration=await run_in_threadpool(self._configuration),
            in_use=in_use,
            menu=[] if in_use is None else menu(in_use.tables),
        )

    async def _form(self, request: Request) -> tuple[Visitor, dict[str, str]]:
        visitor = await self._guard.visitor(request, Role.SET_UP)
        return visitor, await self._guard.form(request, visitor)

    async def _done(self, ask: Callable[[People], T]) -> T:
        try:
            return await run_in_threadpool(ask, self._guard.people)
        except PeopleError as error:
            raise HTTPException(422, f"{error}.") from None

    async def _by_name(
        self, request: Request, act: Callable[[People, str], bool], none: str, noted: str
    ) -> Response:
        """Do to the name in the form what was asked, note it, and lead back."""
        visitor, fields = await self._form(request)
        name = fields.get("name", "")
        await self._require(lambda people: act(people, name), none)
        await self._note(visitor, f"{noted} {name}")
        return go_to(PATH)

    async def _require(self, ask: Callable[[People], bool], none: str) -> None:
        if not await self._done(ask):
            raise HTTPException(410, f"There is {none}; nothing was changed.")

    async def _note(self, visitor: Visitor, what: str) -> None:
        """Note among the journal's events who did what; what was done holds without it too."""

        def noted() -> None:
            with Journal.open(self._journal_path, check=False, busy_s=BUSY_S) as journal:
                said = wording.printable(f"{visitor.person.name} {what}")
                journal.add_event(self._clock.now_ms(), EVENT, said)

        await self._with_journal(noted)

    @staticmethod
    async def _with_journal(ask: Callable[[], T]) -> T:
        try:
            return await run_in_threadpool(ask)
        except JournalError:
            raise HTTPException(503, "The journal cannot be used right now.") from None


def _role(fields: dict[str, str]) -> Role:
    role = ROLES.get(fields.get("role", ""))
    if role is None:
        raise HTTPException(422, f"There is no such role; expected {', '.join(ROLES)}.")
    return role
