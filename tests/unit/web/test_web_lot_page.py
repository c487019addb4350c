"""One lot's page: every act the command has, and two people at once."""

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from handmade import Paper, ms, probe, shop, unit
from page_visitor import Pages, form_token, pages_of, publish, send
from rimewatch.clock import SteppedClock
from rimewatch.entries import (
    AnyEntry,
    AttachStatement,
    CancelEntry,
    CorrectLot,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    StartThawing,
)
from rimewatch.intake.trace import TraceEntry
from rimewatch.journal.attachments import folder_of
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, Option, ProbeId, States, UnitId
from rimewatch.web.people import Role

PDF = b"%PDF-1.7\nWe froze it.\n"
FORMS = ["freeze", "thaw", "move", "correct", "cancel", "withdraw", "attach"]


@pytest.fixture(autouse=True)
def _nobody_takes_entries_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """No service runs here that a form would wait for."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


def shop_of_the_lot() -> Shop:
    """Return a shop with a freezer and a case."""
    return shop(
        unit("freezer-1", "freezer"), probe("frozen", "freezer-1", measures="product"),
        unit("case-1"), probe("fish", "case-1", measures="product"),
    )  # fmt: skip


@pytest.fixture
def pages(journal: Journal) -> Pages:
    """Return a shop with a freezer and a case, and the lot "A/1 & 2" received."""
    own = shop_of_the_lot()
    paper = Paper().receive(0, "A/1 & 2")
    clock = SteppedClock(paper.start_ms)
    Writer(own, journal, clock).take(())
    for line in paper.read():
        assert isinstance(line, TraceEntry)
        journal.add_entry(line.entry, "test")
    clock.move_to(paper.at_ms(60))
    found = pages_of(own, journal.path, clock)
    publish(found, own, journal)
    return found


PATH = "/lot?lot=A%2F1%20%26%202"


def fields_of(page: str, action: str) -> dict[str, str]:
    """Return what the form to an action holds before anybody fills it in."""
    form = re.search(rf'<form method="post" action="{action}".*?</form>', page, re.DOTALL)
    assert form is not None, page
    found = {
        name: value.replace("&amp;", "&")
        for name, value in re.findall(r'<input[^>]* name="(\w+)" value="([^"]*)"', form[0])
    }
    for name, options in re.findall(r'<select name="(\w+)">(.*?)</select>', form[0], re.DOTALL):
        values = re.findall(r'<option value="([^"]*)"( selected)?', options)
        found[name] = next((value for value, chosen in values if chosen), values[0][0])
    return found


def sent(client: TestClient, name: str, **filled: str) -> int:
    """Fill in a form of the lot's page and send it; return the answer's status."""
    fields = fields_of(client.get(PATH).text, f"/lots/{name}")
    return client.post(f"/lots/{name}", data={**fields, **filled}).status_code


def entered(journal: Journal) -> AnyEntry:
    """Return what was entered last."""
    return journal.entries_after(0)[-1][1]


def test_lot_is_put_to_thaw_in_a_cooler_and_nowhere_else(pages: Pages, journal: Journal) -> None:
    """A freezer thaws nothing."""
    client = pages.signed_in(name="Ana")

    assert sent(client, "thaw", unit="freezer-1") == 422
    assert sent(client, "thaw") == 303
    entry = entered(journal)
    assert isinstance(entry, StartThawing)
    assert (entry.who, entry.lot, entry.unit) == ("Ana", "A/1 & 2", "case-1")


def test_probe_that_was_put_into_the_lot_is_entered_with_its_freezing(
    pages: Pages, journal: Journal
) -> None:
    """One of that freezer's own product probes, or none."""
    client = pages.signed_in(name="Ana")
    own = {"unit": "freezer-1", "option": "35C-15h"}

    assert sent(client, "freeze", **own, probe="fish") == 422, "it lies in the case"
    assert sent(client, "freeze", **own, probe="frozen") == 303
    entry = entered(journal)
    assert isinstance(entry, StartFreezing)
    assert entry.probe == "frozen"
    assert "probe frozen put into this lot" in client.get(PATH).text


def test_correction_names_what_was_wrong_and_leaves_the_rest(
    pages: Pages, journal: Journal
) -> None:
    """Both stand on the page: what was said first, and what is right, with who and when."""
    client = pages.signed_in(name="Ana")
    assert sent(client, "correct", thickness_mm="40", reason="measured again") == 303

    entry = entered(journal)
    assert isinstance(entry, CorrectLot)
    assert (entry.thickness_mm, entry.reason, entry.who) == (40.0, "measured again", "Ana")
    assert (entry.species, entry.celsius, entry.serve_raw, entry.origin) == (None,) * 4
    page = client.get(PATH).text
    assert "Corrected (measured again): thickness " in page
    assert "→ 40 mm" in page
    assert "Received: " in page
    assert re.search(r"No\. 2, 2026-03-02 06:01 CST, by Ana", page)


def test_correction_that_changes_nothing_or_empties_a_figure_is_refused(
    pages: Pages, journal: Journal
) -> None:
    """An entry says something."""
    client = pages.signed_in()
    assert sent(client, "correct", reason="none") == 422
    assert sent(client, "correct", species="Oncorhynchus keta") == 422, "without a reason"
    assert sent(client, "correct", thickness_mm="40", reason="measured") == 303
    assert sent(client, "correct", thickness_mm="", reason="forgotten") == 422
    assert len(journal.entries_after(0)) == 2


def test_entry_is_cancelled_once_and_stays_on_the_page(pages: Pages, journal: Journal) -> None:
    """Crossed out, with who crossed it out."""
    client = pages.signed_in(name="Ana")
    assert sent(client, "move", unit="case-1") == 303
    assert sent(client, "cancel", number="2", reason="the wrong lot") == 303

    assert entered(journal) == CancelEntry(
        at_ms=pages.clock.now_ms(), who="Ana", number=2, reason="the wrong lot"
    )
    page = client.get(PATH).text
    assert '<li class="cancelled"><p>[cancelled by entry 3] Moved to case-1</p>' in page
    assert sent(client, "cancel", number="2", reason="again") == 422
    assert sent(client, "cancel", number="99", reason="no such") == 422


def test_statement_is_put_on_file_and_comes_back_as_it_was(pages: Pages, journal: Journal) -> None:
    """Under its SHA-256; a name with folders in it leads nowhere."""
    client = pages.signed_in(name="Ana")
    fields = fields_of(client.get(PATH).text, "/lots/attach")
    filled = {"reference": "F-77", "states": "freezing", "option": "35C-15h"}
    answer = client.post(
        "/lots/attach",
        data={**fields, **filled},
        files={"file": ("../../scan <1>.pdf", PDF, "text/html")},
    )

    assert (answer.status_code, answer.headers["location"]) == (303, PATH)
    entry = entered(journal)
    digest = hashlib.sha256(PDF).hexdigest()
    assert isinstance(entry, AttachStatement)
    assert (entry.who, entry.states, entry.file) == ("Ana", States.FREEZING, "scan <1>.pdf")
    assert entry.sha256 == digest
    assert (folder_of(pages.journal_path) / digest).read_bytes() == PDF
    (link,) = re.findall(r'href="(/lot/file\?[^"]+)"', client.get(PATH).text)
    file = client.get(link.replace("&amp;", "&"))
    assert file.content == PDF
    assert file.headers["content-type"] == "application/octet-stream"
    assert file.headers["content-disposition"].startswith("attachment;")
    assert file.headers["content-security-policy"].startswith("sandbox")


def test_statement_on_paper_needs_no_file(pages: Pages, journal: Journal) -> None:
    """Its reference is on the record all the same."""
    client = pages.signed_in()
    fields = fields_of(client.get(PATH).text, "/lots/attach")
    answer = client.post(
        "/lots/attach",
        data={**fields, "reference": "F-78", "states": "feed"},
        files={"file": ("", b"", "application/octet-stream")},
    )

    assert answer.status_code == 303
    entry = entered(journal)
    assert isinstance(entry, AttachStatement)
    assert (entry.reference, entry.file, entry.sha256) == ("F-78", "", "")


def test_file_of_an_entry_that_is_refused_is_not_kept(pages: Pages, journal: Journal) -> None:
    """Nothing lies about that no entry names."""
    client = pages.signed_in()
    fields = fields_of(client.get(PATH).text, "/lots/attach")
    for change in ({"states": "moon"}, {"lot": "L9"}, {"form_token": "made up"}):
        answer = client.post(
            "/lots/attach",
            data={**fields, "reference": "F-77", **change},
            files={"file": ("scan.pdf", PDF, "application/pdf")},
        )
        assert answer.status_code in (403, 404, 422)

    assert len(journal.entries_after(0)) == 1
    assert not folder_of(pages.journal_path).exists()


def test_file_that_is_too_large_is_refused(
    pages: Pages, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before it is read whole."""
    monkeypatch.setattr("rimewatch.web.lot_forms.LARGEST_UPLOAD_BYTES", 100_000)
    client = pages.signed_in()
    fields = fields_of(client.get(PATH).text, "/lots/attach")
    answer = client.post(
        "/lots/attach",
        data={**fields, "reference": "F-77"},
        files={"file": ("film.mov", b"0" * 200_000, "video/quicktime")},
    )

    assert answer.status_code == 413
    assert len(journal.entries_after(0)) == 1


def test_no_other_file_is_ever_handed_out(pages: Pages) -> None:
    """Only what an entry about the lot names."""
    client = pages.signed_in(Role.SET_UP)
    for wanted in ("", "../rimewatch.db", "..%2Frimewatch.db.people", "0" * 64, "%00"):
        path = f"/lot/file?lot=A%2F1%20%26%202&sha256={wanted}"
        assert client.get(path).status_code == 404, wanted


def test_somebody_who_was_quicker_is_shown_and_may_be_answered(
    pages: Pages, journal: Journal
) -> None:
    """Nobody overwrites unseen what another has just entered."""
    ana, ben = pages.signed_in(name="Ana"), pages.signed_in(name="Ben")
    fields = fields_of(ana.get(PATH).text, "/lots/move")
    assert sent(ben, "move", unit="freezer-1") == 303
    answer = ana.post("/lots/move", data={**fields, "unit": "case-1"})

    assert answer.status_code == 409
    assert "Moved to freezer-1" in answer.text
    assert "by Ben" in answer.text
    assert len(journal.entries_after(0)) == 2, "nothing of Ana's was written down"
    again = fields_of(answer.text, "/lots/move")
    assert ana.post("/lots/move", data=again).status_code == 303
    entry = entered(journal)
    assert isinstance(entry, MoveLot)
    assert (entry.who, entry.unit) == ("Ana", "case-1")


def test_cancellation_by_somebody_else_counts_as_well(pages: Pages, journal: Journal) -> None:
    """It changes the lot though it names a number alone."""
    ana, ben = pages.signed_in(name="Ana"), pages.signed_in(name="Ben")
    fields = fields_of(ana.get(PATH).text, "/lots/thaw")
    assert sent(ben, "cancel", number="1", reason="never came") == 303

    assert ana.post("/lots/thaw", data=fields).status_code in (404, 409)
    assert len(journal.entries_after(0)) == 2


def test_two_people_do_not_receive_one_lot_twice(pages: Pages, journal: Journal) -> None:
    """The later is told, though the service has not judged the first yet."""
    ana, ben = pages.signed_in(name="Ana"), pages.signed_in(name="Ben")
    filled = {"lot": "L7", "species": "Oncorhynchus nerka", "origin": "wild"}
    forms = [fields_of(who.get("/lots").text, "/lots/receive") for who in (ana, ben)]
    first = ana.post("/lots/receive", data={**forms[0], **filled})
    second = ben.post("/lots/receive", data={**forms[1], **filled})

    assert (first.status_code, first.headers["location"]) == (303, "/lot?lot=L7")
    assert second.status_code == 422
    assert "lot &#34;L7&#34; is on the books already" in second.text
    received = [e for _, e in journal.entries_after(0) if isinstance(e, ReceiveLot)]
    assert [e.who for e in received if e.lot == "L7"] == ["Ana"]
    assert "the service has not judged it yet" in ana.get("/lot?lot=L7").text


def test_lot_page_shows_and_takes_no_form_of_somebody_who_only_looks(
    pages: Pages, journal: Journal
) -> None:
    """A role is checked where the form arrives."""
    client = pages.signed_in(Role.LOOK)
    page = client.get(PATH).text
    fields = {"form_token": form_token(page), "lot": "A/1 & 2"}
    for name in FORMS:
        assert f"/lots/{name}" not in page
        assert client.post(f"/lots/{name}", data=fields).status_code == 403, name

    assert len(journal.entries_after(0)) == 1


def test_lot_that_nobody_entered_has_no_page(pages: Pages) -> None:
    """Whatever somebody types."""
    client = pages.signed_in()

    assert client.get("/lot?lot=L9").status_code == 404
    assert client.get("/lot").status_code == 404


def test_what_people_wrote_is_never_markup(pages: Pages) -> None:
    """A name is a name, on the page and in the forms."""
    client = pages.signed_in()
    bad = "<script>alert(1)</script>"
    assert sent(client, "correct", supplier=bad, reason=f'"{bad}') == 303

    page = client.get(PATH).text
    assert bad not in page
    assert "&lt;script&gt;" in page


def test_act_of_an_hour_ago_is_entered_with_when_it_was_done(
    pages: Pages, journal: Journal
) -> None:
    """By the shop's clock, as the command's ``--at``; when it was entered stays on record too."""
    client = pages.signed_in(name="Ana")
    pages.clock.move_to(Paper().at_ms(7200))  # 14:00 UTC, 08:00 in Chicago
    assert "America/Chicago" in client.get(PATH).text
    assert sent(client, "thaw", when="2026-03-02T07:00") == 303
    entry = entered(journal)

    assert isinstance(entry, StartThawing)
    assert (entry.at_ms, entry.entered_ms) == (Paper().at_ms(3600), Paper().at_ms(7200))
    assert "2026-03-02 07:00 CST" in client.get(PATH).text


@pytest.mark.parametrize("form", FORMS)
def test_time_to_come_or_none_at_all_is_refused_for_every_act(
    pages: Pages, journal: Journal, form: str
) -> None:
    """An entry says what was done; empty is now."""
    client = pages.signed_in(name="Ana")
    told = {"reason": "sold out", "reference": "S-1", "thickness_mm": "40"}
    for when in ("2026-03-02T06:02", "yesterday", "0026-03-02T06:00"):
        fields = {**fields_of(client.get(PATH).text, f"/lots/{form}"), **told, "when": when}
        kinds = {"files": {"file": ("", b"")}} if form == "attach" else {}
        answer = client.post(f"/lots/{form}", data=fields, **kinds)  # type: ignore[arg-type]  # bytes
        assert answer.status_code == 422, when
        assert "2026-03-02" in answer.text, when

    assert len(journal.entries_after(0)) == 1


def test_when_outlives_somebody_who_was_quicker(pages: Pages, journal: Journal) -> None:
    """What is written down after all is what was filled in."""
    ana, ben = pages.signed_in(name="Ana"), pages.signed_in(name="Ben")
    fields = fields_of(ana.get(PATH).text, "/lots/move")
    assert sent(ben, "thaw") == 303
    answer = ana.post("/lots/move", data={**fields, "unit": "case-1", "when": "2026-03-02T06:00"})
    assert answer.status_code == 409
    again = fields_of(answer.text, "/lots/move")

    assert ana.post("/lots/move", data=again).status_code == 303
    assert entered(journal).at_ms == Paper().start_ms


def test_lot_that_is_wanted_on_a_date_says_so_from_its_freezing(
    pages: Pages, journal: Journal
) -> None:
    """By the shop's clock; a date that is past is refused."""
    client = pages.signed_in(name="Ana")
    assert sent(client, "freeze", needed_by="2026-03-02T06:00") == 422
    assert sent(client, "freeze", needed_by="2026-03-10T12:00") == 303
    entry = entered(journal)

    assert isinstance(entry, StartFreezing)
    assert entry.needed_by_ms == ms("2026-03-10T17:00:00Z")  # summer time since the 8th


def test_lot_is_received_when_it_came(pages: Pages, journal: Journal) -> None:
    """Also where somebody sat down an hour later."""
    client = pages.signed_in(name="Ana")
    form = {"lot": "L9", "species": "salmon", "origin": "wild", "when": "2026-03-02T05:00"}
    assert send(client, "/lots/receive", form, at="/lots") == 303
    entry = entered(journal)

    assert isinstance(entry, ReceiveLot)
    assert (entry.at_ms, entry.entered_ms) == (ms("2026-03-02T11:00:00Z"), Paper().at_ms(60))


def test_backdated_start_is_confirmed_on_the_page_with_a_name_and_a_reason(
    pages: Pages, journal: Journal
) -> None:
    """The form is there while it is asked for, and the name is that of whoever is signed in."""
    own = shop_of_the_lot()
    client = pages.signed_in(name="Ana")
    assert "confirm-start" not in client.get(PATH).text
    start_ms = pages.clock.now_ms()
    journal.add_entry(
        StartFreezing(
            at_ms=start_ms, entered_ms=start_ms + 50 * 3_600_000, lot=LotId("A/1 & 2"),
            unit=UnitId("freezer-1"), option=Option.F20C_168H, who="Ines",
        ),
        "test",
    )  # fmt: skip
    journal.add_readings(
        [
            Reading(
                probe=ProbeId("frozen"), observed_ms=at_ms, arrived_ms=at_ms, raw=-25.0,
                value=-25.0 - n % 2 / 10,
            )
            for n in range(51 * 60)
            for at_ms in (start_ms + n * 60_000,)
        ]
    )  # fmt: skip
    pages.clock.move_to(start_ms + 51 * 3_600_000)
    publish(pages, own, journal)
    page = client.get(PATH).text
    assert "Confirm when its freezing began" in page

    assert sent(client, "confirm-start") == 422, "without a reason"
    assert sent(client, "confirm-start", reason="by the card on the box") == 303

    entry = journal.entries_about_lot(LotId("A/1 & 2"))[-1]
    assert isinstance(entry, CorrectLot)
    assert (entry.confirms_start, entry.who, entry.reason) == (
        True,
        "Ana",
        "by the card on the box",
    )
    publish(pages, own, journal)
    page = client.get(PATH).text
    assert "Confirm when its freezing began" not in page
    assert "its freezing did begin when it was entered to have" in page
