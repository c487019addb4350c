"""Who is let in, what their session is worth, and that no other site can use it."""

import re
import stat
from pathlib import Path

import pytest
from starlette.requests import Request

from handmade import probe, shop, unit
from page_visitor import PASSWORD, Pages, form_token, pages_of
from rimewatch.clock import SteppedClock
from rimewatch.journal.journal import Journal
from rimewatch.web.attempts import OF_A_NAME, OF_AN_ADDRESS, WITHIN_S, Attempts
from rimewatch.web.guard import Guard, safe_back
from rimewatch.web.people import (
    IDLE_MS,
    LINK_LASTS_MS,
    People,
    PeopleError,
    Role,
    TokenScope,
    digest_of,
    people_path,
)

NOW_MS = 1_772_452_800_000


@pytest.fixture
def pages(tmp_path: Path) -> Pages:
    """Return a shop's pages that nobody can sign in to yet."""
    path = tmp_path / "rimewatch.db"
    Journal.open(path).close()
    return pages_of(shop(unit(), probe()), path, SteppedClock(NOW_MS))


@pytest.fixture
def people(tmp_path: Path) -> People:
    """Return nobody."""
    return People(people_path(tmp_path / "rimewatch.db"))


@pytest.mark.parametrize("path", ["/", "/now", "/now/stream", "/unit/case-1"])
def test_page_without_a_session_leads_to_signing_in(pages: Pages, path: str) -> None:
    """Nothing is shown to strangers, and they come back to where they wanted."""
    answer = pages.client().get(path)

    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")
    assert "case-1" not in answer.text


def test_sign_in_with_the_right_password_begins_a_session(pages: Pages) -> None:
    """The cookie is for this service alone, and no script can read it."""
    pages.signed_in(name="Ana").close()
    client = pages.client()
    answer = client.post("/sign-in", data={"name": "Ana", "password": PASSWORD, "back": "/"})

    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie
    assert client.get("/").status_code == 200


def test_cookie_over_tls_is_secure_and_bound_to_the_host(pages: Pages) -> None:
    """A browser never sends it unencrypted."""
    secret = pages.people.invite("Ana", Role.LOOK, NOW_MS)
    client = pages.client()
    client.base_url = "https://127.0.0.1:8080"  # type: ignore[assignment]  # as its setter takes it
    cookie = client.post(f"/set-up/{secret}", data={"password": PASSWORD}).headers["set-cookie"]

    assert cookie.startswith("__Host-rimewatch=")
    assert "secure" in cookie.lower()


@pytest.mark.parametrize(
    ("name", "password"),
    [("Ana", "wrong wrong wrong"), ("Nobody", PASSWORD), ("' OR 1=1 --", PASSWORD), ("", "")],
)
def test_sign_in_with_anything_else_is_refused_in_the_same_words(
    pages: Pages, name: str, password: str
) -> None:
    """Nobody learns who is known, and no text is a query."""
    pages.signed_in(name="Ana").close()
    answer = pages.client().post("/sign-in", data={"name": name, "password": password})

    assert answer.status_code == 401
    assert "Name and password do not fit." in answer.text
    assert "set-cookie" not in answer.headers


def test_session_is_new_at_each_sign_in_and_the_one_before_ends(pages: Pages) -> None:
    """A session that somebody else planted or kept is worth nothing."""
    client = pages.signed_in(name="Ana")
    planted = client.cookies["rimewatch"]
    client.post("/sign-in", data={"name": "Ana", "password": PASSWORD})
    assert client.cookies["rimewatch"] != planted

    other = pages.client()
    other.cookies.set("rimewatch", planted)
    assert other.get("/").status_code == 303


def test_unknown_session_is_never_taken_over(pages: Pages) -> None:
    """Signing in with a cookie of one's own choice gives another one."""
    pages.signed_in(name="Ana").close()
    client = pages.client()
    client.cookies.set("rimewatch", "chosen-by-somebody")
    client.post("/sign-in", data={"name": "Ana", "password": PASSWORD})

    other = pages.client()
    other.cookies.set("rimewatch", "chosen-by-somebody")
    assert other.get("/").status_code == 303


def test_signing_out_ends_the_session(pages: Pages) -> None:
    """Also for a copy of the cookie."""
    client = pages.signed_in()
    kept = client.cookies["rimewatch"]
    token = form_token(client.get("/").text)
    assert client.post("/sign-out", data={"form_token": token}).status_code == 303

    other = pages.client()
    other.cookies.set("rimewatch", kept)
    assert other.get("/").status_code == 303


def test_session_that_nobody_used_for_a_month_is_over(pages: Pages) -> None:
    """A phone that was lost in the last season shows nothing."""
    client = pages.signed_in()
    pages.clock.move_to(NOW_MS + IDLE_MS)

    assert client.get("/").status_code == 303


@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_form_without_its_token_is_refused(pages: Pages, token: str) -> None:
    """A page of another site does not know it."""
    client = pages.signed_in(Role.SET_UP)

    assert client.post("/sign-out", data={"form_token": token}).status_code == 403
    assert client.get("/").status_code == 200


def test_form_token_of_another_session_is_refused(pages: Pages) -> None:
    """One's own token does not open another's forms."""
    token = form_token(pages.signed_in(name="Ben").get("/").text)
    client = pages.signed_in(name="Ana")

    assert client.post("/sign-out", data={"form_token": token}).status_code == 403


@pytest.mark.parametrize(
    "headers", [{"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}]
)
def test_form_from_another_site_is_refused_even_with_its_token(
    pages: Pages, headers: dict[str, str]
) -> None:
    """What the browser says of where it comes from counts as well."""
    client = pages.signed_in()
    token = form_token(client.get("/").text)

    answer = client.post("/sign-out", data={"form_token": token}, headers=headers)
    assert answer.status_code == 403
    signing_in = client.post("/sign-in", data={"name": "a", "password": "b"}, headers=headers)
    assert signing_in.status_code == 403


def test_form_that_is_too_large_is_refused(pages: Pages) -> None:
    """Before it is read whole."""
    answer = pages.client().post("/sign-in", data={"name": "a" * 30_000, "password": "b"})

    assert answer.status_code == 413


def test_set_up_link_serves_once(pages: Pages) -> None:
    """Who finds it later finds nothing."""
    secret = pages.people.invite("", Role.SET_UP, NOW_MS)
    fields = {"name": "Ana", "password": PASSWORD}

    assert pages.client().post(f"/set-up/{secret}", data=fields).status_code == 303
    assert pages.client().post(f"/set-up/{secret}", data=fields).status_code == 410
    assert pages.client().get(f"/set-up/{secret}").status_code == 410


def test_set_up_link_is_over_after_a_day(pages: Pages) -> None:
    """One that lies in an old log opens nothing."""
    secret = pages.people.invite("", Role.SET_UP, NOW_MS)
    pages.clock.move_to(NOW_MS + LINK_LASTS_MS)

    assert pages.client().get(f"/set-up/{secret}").status_code == 410


def test_short_password_is_refused_with_what_would_do_and_the_link_stays(pages: Pages) -> None:
    """The text never repeats the password."""
    secret = pages.people.invite("Ana", Role.LOOK, NOW_MS)
    answer = pages.client().post(f"/set-up/{secret}", data={"password": "fish77"})

    assert answer.status_code == 422
    assert "expected 10 to 200" in answer.text
    assert "fish77" not in answer.text
    assert pages.client().get(f"/set-up/{secret}").status_code == 200


def test_many_failures_for_a_name_make_everybody_wait(pages: Pages) -> None:
    """Then not even the right password is tried."""
    pages.signed_in(name="Ana").close()
    client = pages.client()
    for _ in range(OF_A_NAME):
        client.post("/sign-in", data={"name": "Ana", "password": "wrong wrong"})
    answer = client.post("/sign-in", data={"name": " ANA ", "password": PASSWORD})

    assert answer.status_code == 429
    assert 0 < int(answer.headers["retry-after"]) <= WITHIN_S + 1


def test_attempts_are_forgotten_after_a_quarter_of_an_hour() -> None:
    """A person who mistyped is not locked out for the day."""
    attempts = Attempts()
    for n in range(OF_AN_ADDRESS):
        attempts.failed(f"name {n}", "10.0.0.7", 100.0 + n)

    assert attempts.wait_s("somebody", "10.0.0.7", 200.0) == pytest.approx(WITHIN_S - 100.0)
    assert attempts.wait_s("somebody", "10.0.0.8", 200.0) == 0.0
    assert attempts.wait_s("somebody", "10.0.0.7", 100.0 + WITHIN_S) == 0.0


@pytest.mark.usefixtures("full_cost")
def test_people_file_holds_no_secret(people: People, tmp_path: Path) -> None:
    """Neither password nor session nor token; and only its owner reads it."""
    link = people.invite("Ana", Role.ACT, NOW_MS)
    ana = people.accept(link, "", PASSWORD, NOW_MS)
    assert ana is not None
    session = people.begin_session(ana, NOW_MS)
    token = people.add_token("screen", frozenset({TokenScope.READ}), NOW_MS)
    path = people_path(tmp_path / "rimewatch.db")
    content = path.read_bytes()

    for secret in (PASSWORD, session, token, link):
        assert secret.encode() not in content
    assert digest_of(session).encode() in content
    assert re.search(rb"\$argon2id\$v=19\$m=65536,t=3,p=4\$", content)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_person_removed_is_seen_off_at_once(people: People) -> None:
    """Their sessions end with them."""
    ana = people.accept(people.invite("Ana", Role.ACT, NOW_MS), "", PASSWORD, NOW_MS)
    assert ana is not None
    session = people.begin_session(ana, NOW_MS)
    assert people.of_session(session, NOW_MS) == ana

    assert people.remove("Ana")
    assert people.of_session(session, NOW_MS) is None
    assert people.checked("Ana", PASSWORD) is None


def test_new_password_ends_the_sessions_of_the_old_one(people: People) -> None:
    """Who was let in by a password that leaked is out."""
    ana = people.accept(people.invite("Ana", Role.ACT, NOW_MS), "", PASSWORD, NOW_MS)
    assert ana is not None
    session = people.begin_session(ana, NOW_MS)
    people.accept(people.invite("Ana", Role.LOOK, NOW_MS), "", "another one entirely", NOW_MS)

    assert people.of_session(session, NOW_MS) is None
    found = people.checked("Ana", "another one entirely")
    assert found is not None
    assert found.role is Role.LOOK


def test_first_link_cannot_take_somebodys_name(people: People) -> None:
    """An open link never changes a known person."""
    people.accept(people.invite("Ana", Role.LOOK, NOW_MS), "", PASSWORD, NOW_MS)
    with pytest.raises(PeopleError, match='there is a "Ana" already'):
        people.accept(people.invite("", Role.SET_UP, NOW_MS), "Ana", PASSWORD, NOW_MS)


@pytest.mark.parametrize(
    "back", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "x", "/\n"]
)
def test_way_back_never_leads_to_another_site(back: str) -> None:
    """A link to sign in cannot be turned into one to elsewhere."""
    assert safe_back(back) == "/"


def test_way_back_leads_where_somebody_wanted() -> None:
    """To a unit's page, for one."""
    assert safe_back("/unit/case-1") == "/unit/case-1"


def test_failures_of_others_keep_no_browser_waiting_that_is_known(pages: Pages) -> None:
    """Whoever fails for Ana's name on purpose keeps strangers out, and not her."""
    ana, stranger = pages.signed_in(name="Ana"), pages.client()
    for _ in range(OF_A_NAME):
        stranger.post("/sign-in", data={"name": "Ana", "password": "wrong wrong"})
    right = {"name": "Ana", "password": PASSWORD}

    assert stranger.post("/sign-in", data=right).status_code == 429
    assert ana.post("/sign-in", data=right).status_code == 303


def test_known_browser_is_known_for_its_own_name_alone(pages: Pages) -> None:
    """A cook's browser does not let a cook guess the owner's password for longer."""
    pages.signed_in(name="Ben").close()
    ana = pages.signed_in(name="Ana")
    tries = [
        ana.post("/sign-in", data={"name": "Ben", "password": "wrong wrong"}).status_code
        for _ in range(OF_A_NAME + 1)
    ]

    assert tries == [401] * OF_A_NAME + [429]


def test_known_browser_has_its_own_ten_tries(pages: Pages) -> None:
    """Whoever finds the phone cannot guess for ever."""
    ana = pages.signed_in(name="Ana")
    tries = [
        ana.post("/sign-in", data={"name": "Ana", "password": "wrong wrong"}).status_code
        for _ in range(OF_A_NAME + 1)
    ]

    assert tries == [401] * OF_A_NAME + [429]


def test_browser_that_was_known_is_a_stranger_after_a_new_password(pages: Pages) -> None:
    """What it bears hangs on the password."""
    ana = pages.signed_in(name="Ana")
    number, _, proof = ana.cookies["rimewatch-browser"].partition(".")
    assert pages.people.browser_proof("Ana", number) == proof

    pages.people.accept(pages.people.invite("Ana", Role.ACT, NOW_MS), "", "another one", NOW_MS)
    assert pages.people.browser_proof("Ana", number) != proof
    assert pages.people.browser_proof("Nobody", number) == ""


@pytest.mark.parametrize(
    ("url", "forwarded", "address"),
    [
        ("http://127.0.0.1:8080", None, "testclient"),
        ("https://fish.example", None, ""),
        ("https://fish.example", "10.0.0.9", "10.0.0.9"),
        ("https://fish.example", "claimed, 10.0.0.9", "10.0.0.9"),
        ("http://shop.example", "10.0.0.9", "testclient"),
    ],
)
def test_address_of_a_visitor_is_the_one_that_the_proxy_names(
    tmp_path: Path, url: str, forwarded: str | None, address: str
) -> None:
    """And never what the visitor claims before it, or where there is no proxy."""
    people = People(people_path(tmp_path / "rimewatch.db"))
    guard = Guard(people, SteppedClock(NOW_MS), url)
    headers = [] if forwarded is None else [(b"x-forwarded-for", forwarded.encode())]
    request = Request({"type": "http", "headers": headers, "client": ("testclient", 5000)})

    assert guard.address_of(request) == address


def test_failures_behind_a_proxy_that_does_not_say_lock_nobody_else_out(tmp_path: Path) -> None:
    """Everybody comes from its address: only names are counted."""
    path = tmp_path / "rimewatch.db"
    Journal.open(path).close()
    proxied = '[web]\nlisten = "127.0.0.1:8080"\nurl = "https://127.0.0.1"\n'
    pages = pages_of(shop(unit(), probe(), proxied), path, SteppedClock(NOW_MS))
    secret = pages.people.invite("Ana", Role.LOOK, NOW_MS)
    pages.people.accept(secret, "", PASSWORD, NOW_MS)
    client = pages.client()
    for n in range(OF_AN_ADDRESS):
        client.post("/sign-in", data={"name": f"name {n}", "password": "wrong wrong"})

    answer = client.post("/sign-in", data={"name": "Ana", "password": PASSWORD})
    assert answer.status_code == 303
