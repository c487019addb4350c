"""Lots, mornings and health, and the forms about lots."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from handmade import Paper, probe, shop, unit
from page_visitor import Pages, pages_of, publish, send
from rimewatch.clock import SteppedClock
from rimewatch.entries import AnyEntry, MoveLot, ReceiveLot, StartFreezing, WithdrawLot
from rimewatch.intake.trace import TraceEntry
from rimewatch.journal.journal import Journal
from rimewatch.lots.catalogue import Species, find
from rimewatch.readings import Reading
from rimewatch.service.pages import Pages as ServedPages
from rimewatch.service.watch_health import Bystander
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop, Web
from rimewatch.vocabulary import LotId, Option, ProbeId
from rimewatch.web.live import Health
from rimewatch.web.people import Role


@pytest.fixture(autouse=True)
def _nobody_takes_entries_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """No service runs here that a form would wait for."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


@pytest.fixture
def pages(journal: Journal) -> Pages:
    """Return a shop whose lot L1 has been ten hours in a cold freezer, and L2 in none."""
    own = shop(
        unit("freezer-1", "freezer"),
        probe("frozen", "freezer-1", measures="product"),
        unit("case-1"),
        probe("fish", "case-1", measures="product"),
    )
    paper = Paper().receive(0, "L1").freeze(60, "20C-168h", lot="L1").receive(120, "L2")
    clock = SteppedClock(paper.start_ms)
    Writer(own, journal, clock).take(())
    for line in paper.read():
        assert isinstance(line, TraceEntry)
        journal.add_entry(line.entry, "test")
    journal.add_readings(
        [
            Reading(
                probe=ProbeId("frozen"),
                observed_ms=paper.at_ms(60 * n),
                arrived_ms=paper.at_ms(60 * n),
                raw=-25.0,
                value=-25.0,
            )
            for n in range(1, 602)
        ]
    )
    journal.put_summary(date(2026, 3, 2), "all well", "<!DOCTYPE html><p>All well.</p>")
    clock.move_to(paper.at_ms(60 * 601))
    found = pages_of(own, journal.path, clock)
    publish(found, own, journal)
    return found


def entered(journal: Journal) -> AnyEntry:
    """Return what was entered last."""
    return journal.entries_after(0)[-1][1]


def test_lots_page_says_how_far_a_hold_is_and_when_it_will_be_ready(pages: Pages) -> None:
    """Ten of 168 hours, and the instant of the last."""
    page = pages.signed_in().get("/lots").text

    assert "Hold 20C-168h: 10 of 168 h." in page
    assert "Ready Mon 9 March 07:01 CDT, if the cold holds." in page
    assert "It needs a freezing hold, and none was started." in page
    assert page.count("Not for raw service") == 2


def test_lot_is_received_in_the_shops_scale(pages: Pages, journal: Journal) -> None:
    """What a thermometer shows in °F is kept in °C."""
    fields = {
        "lot": "L3",
        "species": "Oncorhynchus nerka",
        "origin": "wild",
        "serve_raw": "yes",
        "temperature": "34,7",
    }
    assert send(pages.signed_in(name="Ana"), "/lots/receive", fields, "/lots") == 303
    entry = entered(journal)
    assert isinstance(entry, ReceiveLot)
    assert (entry.who, entry.lot, entry.celsius, entry.serve_raw) == ("Ana", "L3", 1.5, True)


@pytest.mark.parametrize("path", ["/lots", "/lot?lot=L1"])
def test_species_is_chosen_from_a_list_by_any_of_its_names(pages: Pages, path: str) -> None:
    """Whoever types "kihada" is offered the fish, and what is chosen is read back as that fish."""
    page = pages.signed_in().get(path).text

    offered = dict(re.findall(r'<option value="([^"]*)">([^<]*)</option>', page))
    assert "kihada" in offered["Yellowfin tuna (Thunnus albacares)"]
    assert re.search(r'<input name="species"[^>]* list="known-species"', page)
    assert '<datalist id="known-species">' in page
    labels = [value for value in offered if "(" in value]
    assert len(labels) >= 200
    assert all(isinstance(find(label), Species) for label in labels)


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"lot": "L1"}, 422),
        ({"lot": ""}, 422),
        ({"origin": "moon"}, 422),
        ({"temperature": "cold"}, 422),
        ({"thickness_mm": "-3"}, 422),
        ({"kilograms": "inf"}, 422),
    ],
)
def test_lot_that_makes_no_sense_is_refused(
    pages: Pages, journal: Journal, change: dict[str, str], status: int
) -> None:
    """Nothing of it is written down."""
    before = len(journal.entries_after(0))
    fields = {"lot": "L3", "species": "Oncorhynchus nerka", "origin": "wild", **change}

    assert send(pages.signed_in(), "/lots/receive", fields, "/lots") == status
    assert len(journal.entries_after(0)) == before


def test_freezing_is_started_in_a_freezer_and_nowhere_else(pages: Pages, journal: Journal) -> None:
    """A case proves no freezing."""
    client = pages.signed_in()
    fields = {"lot": "L2", "option": "20C-168h"}

    assert send(client, "/lots/freeze", {**fields, "unit": "case-1"}, "/lots") == 422
    assert send(client, "/lots/freeze", {**fields, "unit": "freezer-1"}, "/lots") == 303
    entry = entered(journal)
    assert isinstance(entry, StartFreezing)
    assert (entry.lot, entry.option) == (LotId("L2"), Option.F20C_168H)


def test_lot_is_moved_and_withdrawn(pages: Pages, journal: Journal) -> None:
    """Why it is gone may be left out, as in a trace."""
    client = pages.signed_in()

    assert send(client, "/lots/move", {"lot": "L2", "unit": "case-1"}, "/lots") == 303
    assert isinstance(entered(journal), MoveLot)
    assert send(client, "/lots/withdraw", {"lot": "L9", "reason": "sold"}, "/lots") == 422
    assert send(client, "/lots/withdraw", {"lot": "L2", "reason": ""}, "/lots") == 303
    assert isinstance(entered(journal), WithdrawLot)


@pytest.mark.parametrize("path", ["receive", "freeze", "move", "withdraw"])
def test_form_about_lots_of_somebody_who_only_looks_is_refused(pages: Pages, path: str) -> None:
    """A role is checked where the form arrives."""
    assert send(pages.signed_in(Role.LOOK), f"/lots/{path}", {"lot": "L1"}) == 403


def test_morning_is_shown_as_it_was_sent(pages: Pages) -> None:
    """The very page, under the policy that lets nothing else in."""
    client = pages.signed_in()
    listed = client.get("/mornings").text
    answer = client.get("/mornings/2026-03-02")

    assert '<a href="/mornings/2026-03-02">Monday 2 March 2026</a>' in listed
    assert answer.text == "<!DOCTYPE html><p>All well.</p>"
    assert "default-src 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("day", ["2026-03-03", "yesterday", "..%2frimewatch.db", "2026-3-2"])
def test_morning_that_never_was_leads_to_nothing(pages: Pages, day: str) -> None:
    """Whatever somebody types behind the address."""
    assert pages.signed_in().get(f"/mornings/{day}").status_code == 404


def test_health_page_names_each_probe_and_when_it_was_heard(pages: Pages) -> None:
    """Also one that never spoke."""
    page = pages.signed_in().get("/health").text

    measures = '<br><span class="quiet">product</span></td>'
    assert f"<td>frozen{measures}<td>freezer-1</td><td>just now</td>" in page
    assert f"<td>fish{measures}<td>case-1</td><td>never</td>" in page
    assert "The watch is well" in page


def test_health_page_of_a_watch_that_stands_still_says_so(pages: Pages) -> None:
    """Old figures never look well."""
    pages.clock.move_to(pages.clock.now_ms() + 600_000)

    assert "The watch needs somebody" in pages.signed_in().get("/health").text


class Unserved(ServedPages):
    """Pages whose server is the test's own."""

    def stand_by(self, shop: Shop) -> None:
        """Nothing is to be started."""


def test_pages_of_a_watch_that_does_not_record_say_so_and_show_no_temperature(
    pages: Pages, journal: Journal
) -> None:
    """What they knew last may be hours old by then, and nobody here follows it."""
    visitor = pages.signed_in()
    assert "Within its limit" in visitor.get("/").text
    served = Unserved(journal.path, pages.clock, say=print)
    own = replace(shop(unit("freezer-1", "freezer")), web=Web(url="", host="127.0.0.1", port=0))
    Bystander(pages.board, served).show(own, "The journal's file is damaged: put the backup there.")

    now, health = visitor.get("/").text, visitor.get("/health").text
    assert "Nothing is recorded, and no temperature is known here" in now
    assert "All within limits" not in now
    assert "Within its limit" not in now
    assert "The watch needs somebody" in health
    assert "The journal&#39;s file is damaged: put the backup there." in health
    assert "has not followed time" not in health
    assert pages.client().get("/api/health").status_code == 503


@pytest.mark.parametrize(
    ("health", "said"),
    [
        (Health(listening=False), "The broker is not reached"),
        (Health(listening=True, outbox_waiting=3, outbox_failing=2), "2 messages to people could"),
        (Health(listening=True, senders_alive=False), "A sender of messages has ended"),
    ],
    ids=["no broker", "messages in vain", "no sender"],
)
def test_health_page_never_calls_a_watch_well_that_cannot_hear_or_speak(
    pages: Pages, journal: Journal, health: Health, said: str
) -> None:
    """The headline agrees with the figures below it."""
    own = shop(unit("freezer-1", "freezer"), probe("frozen", "freezer-1", measures="product"))
    publish(pages, own, journal, health)
    page = pages.signed_in().get("/health").text

    assert "The watch needs somebody" in page
    assert said in page
