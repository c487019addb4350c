"""What those who set things up may do, and that nobody else may."""

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from handmade import ONE_CONTACT, probe, shop, unit
from page_visitor import PASSWORD, Pages, form_token, pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.journal import trials
from rimewatch.journal.journal import Journal
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.web.people import Role, TokenScope
from rimewatch.web.settings_page import EVENT, ConfigFile

NOW_MS = 1_772_452_800_000
OWN = shop(unit(), probe("fish", measures="product"), ONE_CONTACT)
FORMS = [
    "invite",
    "withdraw-invitation",
    "role",
    "remove",
    "end-sessions",
    "token",
    "revoke-token",
    "test-alarm",
]


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


def pages_with(journal: Journal, read: object = OWN) -> Pages:
    """Return the pages of a shop whose configuration file would be read as something."""

    def reread() -> Shop:
        if isinstance(read, ValueError):
            raise read
        assert isinstance(read, Shop)
        return read

    clock = SteppedClock(NOW_MS)
    Writer(OWN, journal, clock).take(())
    found = pages_of(OWN, journal.path, clock, ConfigFile("/etc/rimewatch/shop.toml", reread))
    publish(found, OWN, journal)
    return found


@pytest.fixture
def pages(journal: Journal) -> Pages:
    """Return the pages of a shop whose file is as it was."""
    return pages_with(journal)


def sent(client: TestClient, form: str, **fields: str) -> tuple[int, str]:
    """Send a form of the page; return status and text of the answer."""
    token = form_token(client.get("/settings").text)
    answer = client.post(f"/settings/{form}", data={"form_token": token, **fields})
    return answer.status_code, html.unescape(answer.text)


def noted(journal: Journal) -> list[str]:
    """Return what was noted of who set what up."""
    return [e.detail for e in journal.events_between(0, NOW_MS + 10**9) if e.what == EVENT]


@pytest.mark.parametrize("role", [Role.LOOK, Role.ACT])
def test_page_is_refused_to_lesser_roles_in_a_clear_sentence(pages: Pages, role: Role) -> None:
    """And their menu does not lead there."""
    client = pages.signed_in(role)
    answer = client.get("/settings")

    assert answer.status_code == 403
    assert f"This needs the role set-up; yours is {role.word}." in answer.text
    assert "/settings" not in client.get("/").text
    assert "/etc/rimewatch" not in answer.text


@pytest.mark.parametrize("role", [Role.LOOK, Role.ACT])
def test_forms_are_refused_to_lesser_roles(pages: Pages, journal: Journal, role: Role) -> None:
    """With their own session's token, and with every field filled in."""
    client = pages.signed_in(role, "Ben")
    pages.people.add_token("screen", frozenset({TokenScope.READ}), NOW_MS)
    token = form_token(client.get("/").text)
    for form in FORMS:
        name = "screen" if "token" in form else "Ben"
        fields = {"form_token": token, "name": name, "role": "set-up", "read": "yes"}
        answer = client.post(f"/settings/{form}", data=fields)
        assert answer.status_code == 403, form
        assert "This needs the role set-up" in answer.text

    assert pages.people.everybody()[0].role is role
    assert pages.people.tokens() == [("screen", "read")]
    assert pages.people.invitations(NOW_MS) == []
    assert noted(journal) == []
    assert trials.last_made_ms(journal, 0, NOW_MS) is None
    assert client.get("/").status_code == 200, "their session goes on"


def test_forms_without_their_token_or_from_elsewhere_are_refused(
    pages: Pages, journal: Journal
) -> None:
    """No other site's page sets anything up."""
    client = pages.signed_in(Role.SET_UP)
    fields = {"name": "Eve", "role": "set-up", "read": "yes"}
    whole = {**fields, "form_token": form_token(client.get("/settings").text)}
    foreign = {"Origin": "https://elsewhere.example"}
    for form in FORMS:
        path = f"/settings/{form}"
        assert client.post(path, data=fields).status_code == 403, form
        assert client.post(path, data=whole, headers=foreign).status_code == 403, form
        assert pages.client().post(path, data=whole).status_code == 303, "a stranger's"

    assert [p.name for p in pages.people.everybody()] == ["set-up"]
    assert noted(journal) == []


def test_invited_person_sets_a_password_by_the_link_and_has_the_role(
    pages: Pages, journal: Journal
) -> None:
    """The link is shown once, and leads where the inviter reached the pages."""
    ana = pages.signed_in(Role.SET_UP, "Ana")
    status, text = sent(ana, "invite", name="Ben", role="act")
    link = re.search(r"http://127\.0\.0\.1:8080(/set-up/[\w-]+)", text)

    assert status == 200
    assert link is not None
    page = ana.get("/settings").text
    assert link[1] not in page
    assert "Invited as act" in page
    ben = pages.client()
    assert ben.post(link[1], data={"password": PASSWORD}).status_code == 303
    assert ben.get("/settings").status_code == 403
    assert [p.role for p in pages.people.everybody() if p.name == "Ben"] == [Role.ACT]
    assert noted(journal) == ["Ana invited Ben as act"]


def test_invitation_taken_back_serves_no_more(pages: Pages) -> None:
    """Sent to the wrong person, for one."""
    ana = pages.signed_in(Role.SET_UP, "Ana")
    _, text = sent(ana, "invite", name="Ben", role="act")
    link = re.search(r"/set-up/[\w-]+", text)
    assert link is not None

    assert sent(ana, "withdraw-invitation", name="Ben")[0] == 303
    assert pages.client().get(link[0]).status_code == 410
    assert sent(ana, "withdraw-invitation", name="Ben")[0] == 410


def test_role_given_holds_at_once_in_the_sessions_there_are(pages: Pages) -> None:
    """Nobody goes on with what was taken from them."""
    ana, ben = pages.signed_in(Role.SET_UP, "Ana"), pages.signed_in(Role.SET_UP, "Ben")
    assert sent(ana, "role", name="Ben", role="look")[0] == 303

    assert ben.get("/").status_code == 200
    assert ben.get("/settings").status_code == 403
    assert sent(ana, "role", name="Ben", role="owner")[0] == 422
    assert sent(ana, "role", name="Nobody", role="look")[0] == 410


def test_person_removed_or_signed_out_is_out_at_once(pages: Pages, journal: Journal) -> None:
    """A phone that was lost shows nothing."""
    ana, ben = pages.signed_in(Role.SET_UP, "Ana"), pages.signed_in(name="Ben")
    assert "1 session, last used just now" in ana.get("/settings").text
    assert sent(ana, "end-sessions", name="Ben")[0] == 303
    assert ben.get("/").status_code == 303
    assert pages.people.checked("Ben", PASSWORD) is not None

    assert sent(ana, "remove", name="Ben")[0] == 303
    assert pages.people.checked("Ben", PASSWORD) is None
    assert noted(journal) == ["Ana ended the sessions of Ben", "Ana removed Ben"]


@pytest.mark.parametrize(("name", "fields"), [("remove", {}), ("role", {"role": "act"})])
def test_last_who_may_set_up_stays(pages: Pages, name: str, fields: dict[str, str]) -> None:
    """Otherwise nobody could ever be invited again from here."""
    ana = pages.signed_in(Role.SET_UP, "Ana")
    pages.signed_in(Role.ACT, "Ben").close()
    status, text = sent(ana, name, name="Ana", **fields)

    assert status == 422
    assert "nobody who may set up would be left" in text
    assert [p.name for p in pages.people.everybody() if p.role is Role.SET_UP] == ["Ana"]


def test_token_is_shown_once_opens_what_it_says_and_is_revoked(
    pages: Pages, journal: Journal
) -> None:
    """For a screen on the wall."""
    ana = pages.signed_in(Role.SET_UP, "Ana")
    status, text = sent(ana, "token", name="screen", read="yes")
    shown = re.search(r'class="secret">([\w-]{43})<', text)
    assert status == 200
    assert shown is not None
    assert shown[1] not in ana.get("/settings").text
    program = pages.client()
    program.headers["Authorization"] = f"Bearer {shown[1]}"
    assert program.get("/api/units").status_code == 200
    assert program.get("/metrics").status_code == 401

    assert sent(ana, "token", name="screen", read="yes")[0] == 422, "it would end the first"
    assert program.get("/api/units").status_code == 200
    assert sent(ana, "token", name="other")[0] == 422, "it would open nothing"
    assert sent(ana, "revoke-token", name="screen")[0] == 303
    assert program.get("/api/units").status_code == 401
    assert noted(journal) == ["Ana made the token screen for read", "Ana revoked the token screen"]
    assert all(shown[1] not in line for line in noted(journal))


def test_test_alarm_goes_to_who_is_told_first_once(pages: Pages, journal: Journal) -> None:
    """A second tap rings nobody again; who answered is shown."""
    ana = pages.signed_in(Role.SET_UP, "Ana")
    assert "No test was made yet." in ana.get("/settings").text
    assert sent(ana, "test-alarm", contact="")[0] == 303
    assert sent(ana, "test-alarm", contact="first")[0] == 409
    assert sent(ana, "test-alarm", contact="stranger")[0] == 422

    rows = journal.outbox_of(trials.trial_id(NOW_MS))
    assert [row.contact for row in rows] == ["first"]
    assert "Nobody has acknowledged it yet." in ana.get("/settings").text
    pages.clock.move_to(NOW_MS + 40_000)
    trials.note_seen(journal, trials.trial_id(NOW_MS), "On-call phone", NOW_MS + 40_000)
    assert "Acknowledged by On-call phone after 40 s." in ana.get("/settings").text


@pytest.mark.parametrize(
    ("read", "said"),
    [
        (OWN, "Nothing is wrong with it, and it is in use."),
        (shop(unit(), probe("fish")), "the service is about to use it"),
        (ValueError('unit[1].kind: is "fridge"; expected <one> of'), "expected &lt;one&gt; of"),
    ],
)
def test_configuration_is_named_and_checked_as_it_lies_there(
    journal: Journal, read: object, said: str
) -> None:
    """What a restart would meet is known before it."""
    page = pages_with(journal, read).signed_in(Role.SET_UP).get("/settings").text

    assert "/etc/rimewatch/shop.toml" in page
    assert said in page


def test_people_file_that_cannot_be_read_is_said_in_words(pages: Pages, tmp_path: Path) -> None:
    """No fault of ours; the watch goes on."""
    client = pages.signed_in(Role.SET_UP)
    people = next(tmp_path.glob("*.people"))
    people.write_bytes(b"this is no database, and long enough that it is looked at as one")

    assert client.get("/").status_code == 503
    answer = client.get("/api/units", headers={"Authorization": "Bearer x"})
    assert answer.status_code == 503
    assert "cannot be looked up right now" in answer.text
