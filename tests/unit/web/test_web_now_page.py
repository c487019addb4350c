"""The first page: what needs doing, each unit's fish, words and signs; without any script."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from page_visitor import Pages, pages_of, publish, send
from rimewatch.clock import SteppedClock
from rimewatch.entries import Acknowledge
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.trace import TraceMessage
from rimewatch.journal.journal import Journal
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop, Web
from rimewatch.vocabulary import UnitId
from rimewatch.web.people import Role


def two_cases() -> Shop:
    """Return a shop with a case whose fish is measured, and one behind air."""
    plain = shop(
        unit("case-1", name="Front <case>"),
        probe("fish", measures="product"),
        probe("air"),
        unit("case-2", name="Side case", lag_s=1200),
        probe("air-2", "case-2"),
        ONE_CONTACT,
    )
    return replace(plain, web=Web(host="127.0.0.1", port=8080))


@pytest.fixture(autouse=True)
def _nobody_takes_entries_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """No service runs here that a form would wait for."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give a journal for writing."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


def shown(own: Shop, journal: Journal, paper: Paper, at_s: float) -> Pages:
    """Return the pages after a trace was taken in, some seconds after its start."""
    lines = [line for line in paper.read() if isinstance(line, TraceMessage)]
    clock = SteppedClock(paper.start_ms)
    writer = Writer(own, journal, clock)
    for number, line in enumerate(lines):
        clock.move_to(line.at_ms)
        arrived = Arrived(line.topic, line.payload, line.at_ms, False, number + 1, 1, 1)
        writer.take((arrived,))
    clock.move_to(paper.at_ms(at_s))
    pages = pages_of(own, journal.path, clock)
    publish(pages, own, journal)
    return pages


def warm() -> Paper:
    """Return a case whose fish gets warm, and one that stays cold."""
    paper = Paper().curve([(0, 2.0), (60, 8.0), (120, 8.5)], "fish")
    return paper.curve([(0, 3.0), (60, 9.0), (120, 9.0)], "air").curve(
        [(0, 1.0), (60, 1.0), (120, 1.0)], "air-2"
    )


def test_card_says_what_the_phone_says(journal: Journal) -> None:
    """One alarm, one figure, one advice, wherever it is read; a thumb needs no scrolling."""
    paper = Paper().curve([(0, 3.0), (60, 9.0)], "air").curve([(0, 2.0), (60, 8.0)], "fish")
    page = shown(two_cases(), journal, paper, 60).signed_in().get("/").text
    (told,) = journal.outbox_due(paper.at_ms(60))

    assert "46.4 °F" in told.title
    assert told.title.replace("<", "&lt;").replace(">", "&gt;") in page
    said = told.body.replace("<", "&lt;").replace(">", "&gt;").split(". ")
    assert [sentence for sentence in said if sentence not in page] == []
    assert "Air 48.2 °F." in told.body
    assert page.index(said[0]) < page.index("I have seen it") < page.index("Air 48.2 °F.")


def test_returned_alarm_keeps_its_length(journal: Journal) -> None:
    """Cold again after a minute and a half is that an hour later as well."""
    paper = Paper().curve([(0, 2.0), (60, 8.0), (120, 2.0)], "fish")
    page = shown(two_cases(), journal, paper, 3600).signed_in().get("/unit/case-1").text

    assert "cold again. Fish peaked at 46.4 °F, 1 min over 41.0 °F." in page


def test_now_page_says_what_is_wrong_first(journal: Journal) -> None:
    """The alarm stands above all units, with one button."""
    page = shown(two_cases(), journal, warm(), 125).signed_in().get("/").text

    assert "<h1>One unit too warm</h1>" in page
    assert page.index("I have seen it") < page.index('data-unit="case-1"')
    assert page.index('data-unit="case-1"') < page.index('data-unit="case-2"')
    assert page.count("I have seen it") == 1


def test_now_page_shows_fish_large_and_air_small(journal: Journal) -> None:
    """Fish in the shop's scale; the air beside it."""
    page = shown(two_cases(), journal, warm(), 125).signed_in().get("/").text

    assert '<span class="fish" data-fish>47.3 °F</span>' in page
    assert "air 48.2 °F" in page
    assert "Too warm" in page
    assert "Within its limit" in page


def test_now_page_never_calls_silence_cold(journal: Journal) -> None:
    """A probe that fell silent is shown as that, with the time it was last heard."""
    paper = Paper().curve([(0, 1.0), (60, 1.0)], "fish").curve([(0, 1.0), (700, 1.0)], "air-2")
    page = shown(two_cases(), journal, paper, 800).signed_in().get("/").text

    assert re.search(r'class="unit silent"[^>]*data-unit="case-1"', page)
    assert "One unit not measured" in page
    assert "since 06:01 CST" in page


def test_now_page_of_a_unit_never_heard_shows_no_figure(journal: Journal) -> None:
    """A dash, and never a nought."""
    page = shown(two_cases(), journal, Paper().say(0, 1.0, "fish"), 5).signed_in().get("/").text

    assert re.search(r'class="unit unheard"[^>]*data-unit="case-2"', page)
    assert '<span class="fish" data-fish>–</span>' in page


def test_now_page_escapes_names(journal: Journal) -> None:
    """A unit's name is text, whatever it holds."""
    page = shown(two_cases(), journal, warm(), 125).signed_in().get("/").text

    assert "Front &lt;case&gt;" in page
    assert "<case>" not in page


def test_now_page_before_the_first_snapshot_says_that_it_is_old(tmp_path: Path) -> None:
    """A page without a watch behind it never looks calm."""
    Journal.open(tmp_path / "rimewatch.db").close()
    pages = pages_of(two_cases(), tmp_path / "rimewatch.db", SteppedClock(1_772_452_800_000))

    assert "what stands here is old" in pages.signed_in().get("/").text


def test_now_page_of_somebody_who_only_looks_has_no_button(journal: Journal) -> None:
    """Who may not act is not asked to."""
    pages = shown(two_cases(), journal, warm(), 125)

    assert "I have seen it" not in pages.signed_in(Role.LOOK).get("/").text


def test_now_page_holds_no_script_and_no_style_of_its_own(journal: Journal) -> None:
    """The policy forbids both; everything comes from the service itself."""
    answer = shown(two_cases(), journal, warm(), 125).signed_in().get("/")

    assert re.findall(r"<script[^>]*>", answer.text) == ['<script src="/static/now.js" defer>']
    assert " style=" not in answer.text
    assert "<style" not in answer.text
    assert not re.findall(r'(?:src|href|action)="(?![/#])', answer.text)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_small_curve_weighs_less_than_two_kilobytes(journal: Journal) -> None:
    """Half a day of a restless case."""
    paper = Paper().curve([(n * 60, 1.0 + (n * 7 % 13) / 3) for n in range(720)], "air-2")
    page = shown(two_cases(), journal, paper, 720 * 60).signed_in().get("/").text

    (curve,) = re.findall(r'<svg class="spark".*?</svg>', page)
    assert 300 < len(curve.encode()) < 2000


def test_acknowledging_on_the_page_becomes_an_entry_with_who(journal: Journal) -> None:
    """The record says who saw it, and of which alarm."""
    pages = shown(two_cases(), journal, warm(), 125)
    (alarm,) = pages.board.latest.alarms

    assert send(pages.signed_in(name="Ana"), "/acknowledge", {"alarm": alarm.id}) == 303
    entry = journal.entries_after(0)[-1][1]
    assert isinstance(entry, Acknowledge)
    assert (entry.who, entry.unit, entry.alarm) == ("Ana", UnitId("case-1"), alarm.id)


def test_acknowledging_an_alarm_that_is_over_notes_nothing(journal: Journal) -> None:
    """A page that was left open for a day acknowledges no alarm of today."""
    pages = shown(two_cases(), journal, warm(), 125)

    assert send(pages.signed_in(), "/acknowledge", {"alarm": "case-1:holding:1"}) == 410
    assert journal.entries_after(0) == []


def test_middle_of_the_page_is_what_the_page_holds(journal: Journal) -> None:
    """The script replaces one by the other."""
    client = shown(two_cases(), journal, warm(), 125).signed_in()
    middle = client.get("/now").text.strip()

    assert middle.startswith('<div id="now" data-shape="')
    assert middle in client.get("/").text


def test_page_made_once_for_all_bears_each_sessions_own_token_and_role(
    journal: Journal,
) -> None:
    """Nobody's form is another's, though the page was made for whoever came first."""
    pages = shown(two_cases(), journal, Paper().say(0, 9.0, "fish").say(60, 9.5, "fish"), 61)
    ana, ben = pages.signed_in(name="Ana"), pages.signed_in(name="Ben")
    eve = pages.signed_in(Role.LOOK, "Eve")
    for path in ("/", "/now"):
        mine, his, hers = (
            set(re.findall(r'name="form_token" value="([^"]+)"', who.get(path).text))
            for who in (ana, ben, eve)
        )
        assert len(mine) == len(his) == 1
        assert mine != his
        assert "I have seen it" in ana.get(path).text
        assert "I have seen it" not in eve.get(path).text
        assert not hers & (mine | his)
