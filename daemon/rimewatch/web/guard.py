"""Who asks, and whether they may: sessions, roles, and forms that are really ours.

A form is taken only with a token that belongs to its session, and never from another
origin. The session's cookie is sent to nobody else: HttpOnly, SameSite=Strict, and Secure
wherever the page came over TLS.
"""

import hmac
import secrets
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import parse_qs, quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import Request
from starlette.responses import Response

from rimewatch.clock import Clock
from rimewatch.web.people import LONGEST_MS, People, Person, Role, TokenScope, digest_of

COOKIE: Final = "rimewatch"
SECURE_COOKIE: Final = "__Host-rimewatch"
"""Over TLS; a browser takes it for this host alone, and only for all of it."""
SECURE_COOKIE_BELOW: Final = "__Secure-rimewatch"
"""Over TLS and below a path: a browser takes the other name for the path "/" alone."""
BROWSER_COOKIE: Final = "rimewatch-browser"
"""Says that somebody has signed in with this browser before; it opens nothing."""
BROWSER_LASTS_S: Final = 400 * 86_400
"""The longest that browsers keep one (RFC 6265bis, section 5.5)."""
LARGEST_FORM_BYTES: Final = 20_000
MOST_FIELDS: Final = 120
"""A probe's form has two for each of its settings."""
LONGEST_ADDRESS: Final = 100


class SignInFirst(Exception):  # noqa: N818 (it is no fault: whoever asks is sent to sign in)
    """Nobody is signed in; ``back`` is where they wanted to go."""

    def __init__(self, back: str) -> None:
        super().__init__(back)
        self.back = back


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks, and the token that their forms bear."""

    person: Person
    form_token: str

    def may(self, role: Role) -> bool:
        """Whether they may do what a role may."""
        return self.person.role >= role


class Guard:
    """Lets people in.

    Args:
        people: Who may sign in.
        clock: Tells the time.
        url: The address under which the pages are reached; "https://…" makes cookies secure.
        path: Below which path of it they are; their cookie is sent to nothing else there.
    """

    def __init__(self, people: People, clock: Clock, url: str, path: str = "") -> None:
        self.people = people
        self._clock = clock
        self._url = urlsplit(url)
        self._cookie_path = path or "/"
        self._secure_cookie = SECURE_COOKIE_BELOW if path else SECURE_COOKIE

    async def visitor(self, request: Request, role: Role = Role.LOOK) -> Visitor:
        """Return who asks.

        Raises:
            SignInFirst: If nobody is signed in.
            HTTPException: 403, if they may not do what the role may.
        """
        secret = self.secret_of(request)
        person = None
        if secret:
            now_ms = self._clock.now_ms()
            person = await run_in_threadpool(self.people.of_session, secret, now_ms)
        if person is None:
            raise SignInFirst(request.url.path if request.method == "GET" else "/")
        if person.role < role:
            raise HTTPException(
                403,
                f"This needs the role {role.word}; yours is {person.role.word}. Whoever set this "
                "up can give you another.",
            )
        return Visitor(person, form_token(secret))

    async def form(self, request: Request, visitor: Visitor) -> dict[str, str]:
        """Return the fields of a form that came from a page of this session.

        Raises:
            HTTPException: 403 if it did not, 413 if it is too large.
        """
        refuse_other_origins(request)
        return _ours(await read_form(request), visitor)

    async def form_with_file(
        self, request: Request, visitor: Visitor, most_bytes: int
    ) -> tuple[dict[str, str], tuple[str, bytes] | None]:
        """Return the fields of such a form, and the name and bytes of the file in it.

        Args:
            request: The request.
            visitor: Whose session it is.
            most_bytes: The largest file that is taken.

        Raises:
            HTTPException: 403 if it came from elsewhere, 413 if it is too large, 415 or 400
                if it is no such form.
        """
        refuse_other_origins(request)
        fields, file = await _read_form_with_file(request, most_bytes)
        return _ours(fields, visitor), file

    async def scopes(self, request: Request) -> frozenset[TokenScope]:
        """Return what a request to the interface may do: by its token, else by its session."""
        kind, _, secret = request.headers.get("authorization", "").partition(" ")
        if kind:
            if kind.lower() != "bearer":
                return frozenset()
            return await run_in_threadpool(self.people.scopes_of, secret.strip())
        try:
            await self.visitor(request)
        except SignInFirst:
            return frozenset()
        return frozenset(TokenScope)

    async def let_program_in(self, request: Request, scope: TokenScope) -> None:
        """Let a request to the interface pass that has a scope.

        Raises:
            HTTPException: 401, if it has not.
        """
        if scope not in await self.scopes(request):
            raise HTTPException(
                401,
                f"This needs a token with the scope {scope.value}: rimewatch people token.",
                headers={"WWW-Authenticate": "Bearer"},
            )

    def secret_of(self, request: Request) -> str:
        """Return a request's session secret; empty without one."""
        name = self._secure_cookie if self.is_secure(request) else COOKIE
        return request.cookies.get(name, "")

    def is_secure(self, request: Request) -> bool:
        """Whether the page is seen over TLS, perhaps by way of a proxy that ends it."""
        if request.url.scheme == "https":
            return True
        host = urlsplit(f"//{request.headers.get('host', '')}").hostname
        return self._url.scheme == "https" and host == self._url.hostname

    def address_of(self, request: Request) -> str:
        """Return where a request comes from; empty: from a proxy that does not say.

        Pages over TLS come through a proxy, since nothing here speaks it; one without TLS is on
        this machine. What it forwards for is the last address it names: those before are what
        the visitor claims.
        """
        peer = request.client.host if request.client is not None else ""
        behind = self._url.scheme == "https"
        forwarded = request.headers.getlist("x-forwarded-for")
        if forwarded and (behind or peer in ("127.0.0.1", "::1")):
            return forwarded[-1].rpartition(",")[2].strip()[:LONGEST_ADDRESS]
        return "" if behind else peer

    async def browser_of(self, request: Request, name: str) -> str:
        """Return the number of a browser that a name has signed in with before; else empty."""
        number, _, proof = request.cookies.get(BROWSER_COOKIE, "").partition(".")
        if not (number and proof):
            return ""
        right = await run_in_threadpool(self.people.browser_proof, name, number)
        is_known = bool(right) and hmac.compare_digest(right.encode(), proof.encode())
        return number if is_known else ""

    async def let_in(
        self, request: Request, response: Response, person: Person, secret: str
    ) -> None:
        """Give a visitor the cookie of their session, and the one that knows their browser."""
        number = secrets.token_urlsafe(16)
        proof = await run_in_threadpool(self.people.browser_proof, person.name, number)
        secure = self.is_secure(request)
        response.set_cookie(
            self._secure_cookie if secure else COOKIE,
            secret,
            max_age=LONGEST_MS // 1000,
            path=self._cookie_path,
            httponly=True,
            samesite="strict",
            secure=secure,
        )
        response.set_cookie(
            BROWSER_COOKIE,
            f"{number}.{proof}",
            max_age=BROWSER_LASTS_S,
            path=self._cookie_path,
            httponly=True,
            samesite="strict",
            secure=secure,
        )

    def see_off(self, request: Request, response: Response) -> None:
        """Take the cookie back."""
        secure = self.is_secure(request)
        response.delete_cookie(
            self._secure_cookie if secure else COOKIE,
            path=self._cookie_path,
            httponly=True,
            samesite="strict",
            secure=secure,
        )


def form_token(secret: str) -> str:
    """Return the token of a session's forms: from its secret, yet no way back to it."""
    return digest_of(f"form {secret}")


def refuse_other_origins(request: Request) -> None:
    """Refuse what a browser says was sent by another site's page.

    Raises:
        HTTPException: 403.
    """
    site = request.headers.get("sec-fetch-site", "same-origin")
    origin = request.headers.get("origin", "")
    host = request.headers.get("host", "")
    # A browser that tells no referrer sends "null" even to its own origin.
    foreign = origin not in ("", "null") and urlsplit(origin).netloc != host
    if site not in ("same-origin", "none") or foreign:
        raise HTTPException(403, "This form was sent by another site's page.")


async def read_form(request: Request) -> dict[str, str]:
    """Return a small form's fields, the last of each name.

    Raises:
        HTTPException: 413 if it is too large, 415 if it is no such form.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise HTTPException(415, "Expected a form.")
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_FORM_BYTES:
            raise HTTPException(413, "The form is too large.")
    try:
        found: Mapping[str, list[str]] = parse_qs(
            body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS
        )
    except ValueError:
        raise HTTPException(413, "The form has too many fields.") from None
    return {name: values[-1].strip() for name, values in found.items()}


def _ours(fields: dict[str, str], visitor: Visitor) -> dict[str, str]:
    """Return a form's fields without its token, if that is the session's."""
    given = fields.pop("form_token", "").encode()
    if not hmac.compare_digest(given, visitor.form_token.encode()):
        raise HTTPException(403, "This form is no longer valid; load the page again.")
    return fields


async def _read_form_with_file(
    request: Request, most_bytes: int
) -> tuple[dict[str, str], tuple[str, bytes] | None]:
    if not request.headers.get("content-type", "").lower().startswith("multipart/form-data"):
        raise HTTPException(415, "Expected a form with a file.")

    async def counted() -> AsyncIterator[bytes]:
        size = 0
        async for chunk in request.stream():
            size += len(chunk)
            if size > most_bytes + LARGEST_FORM_BYTES:
                raise HTTPException(413, f"The file is larger than {most_bytes // 10**6} MB.")
            yield chunk

    parser = MultiPartParser(
        request.headers,
        counted(),  # type: ignore[arg-type]  # an async generator in all but the name
        max_files=1,
        max_fields=MOST_FIELDS,
        max_part_size=LARGEST_FORM_BYTES,
    )
    try:
        form = await parser.parse()
    except (MultiPartException, KeyError, ValueError):
        raise HTTPException(400, "The form cannot be read; load the page again.") from None
    try:
        fields: dict[str, str] = {}
        file: tuple[str, bytes] | None = None
        for name, value in form.multi_items():
            if not isinstance(value, UploadFile):
                fields[name] = value.strip()
            elif value.filename:
                file = value.filename, await value.read()
    finally:
        await form.close()
    return fields, file


def sign_in_path(back: str) -> str:
    """Return where to sign in, and to come back from there."""
    return "/sign-in" if back in ("", "/") else f"/sign-in?back={quote(back, safe='/')}"


def safe_back(back: str) -> str:
    """Return a path of our own to go to; anything else becomes the first page."""
    is_own = back.startswith("/") and not back.startswith(("//", "/\\"))
    return back if is_own and back.isprintable() and "\\" not in back else "/"
