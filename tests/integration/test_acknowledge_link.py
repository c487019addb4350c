"""The link in a message, from the phone back into the service, over real HTTP."""

import json
import re
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlencode

import pytest

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.codec import alarm_from_json
from rimewatch.clock import SteppedClock
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.pages import Pages
from rimewatch.shop import Contact, Shop, Web
from rimewatch.web.app import make_app
from rimewatch.web.server import PageServer, PageServerError
from running_service import RunningService

pytestmark = pytest.mark.integration
WAIT_S = 60.0


@pytest.fixture
def own_shop(mosquitto: Mosquitto, receiver: Receiver) -> Shop:
    """Return a shop with a page on a free port, a broker and a phone of this test's."""
    plain = shop(unit(), probe("fish", measures="product"), ONE_CONTACT)
    return replace(
        plain,
        broker=replace(plain.broker, url=mosquitto.url),
        contacts=(Contact(id=plain.contacts[0].id, name="Night phone", urls=(receiver.url(),)),),
        web=Web(url="http://phone.test", host="127.0.0.1", port=0),
    )


def warm() -> Paper:
    """Return fish that is warm from the second minute on."""
    return Paper().curve([(0, 2.0), (60, 8.0), (120, 8.5), (180, 8.2)], "fish")


class Browser:
    """Follows a message's link to the service under test."""

    def __init__(self, running: RunningService, receiver: Receiver) -> None:
        self._running = running
        receiver.wait_for(lambda r: bool(r.got), "the alarm's message")
        self.message = str(receiver.got[0]["message"])
        found = re.search(r"http://phone\.test(/a/\S+)", self.message)
        assert found is not None, self.message
        self.path = found[1]

    def ask(
        self, path: str | None = None, form: dict[str, str] | None = None, method: str | None = None
    ) -> tuple[int, str, dict[str, str]]:
        """Return status, page and headers."""
        url = f"http://127.0.0.1:{self._running.service.pages.port}{path or self.path}"
        data = None if form is None else urlencode(form).encode()
        request = urllib.request.Request(url, data=data, method=method)
        try:
            with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
                return answer.status, answer.read().decode(), dict(answer.headers)
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read().decode(), dict(error.headers)


@pytest.fixture
def running(own_shop: Shop, tmp_path: Path, mosquitto: Mosquitto) -> Iterator[RunningService]:
    """Run the service with an alarm on."""
    lines = warm().read()
    with RunningService(own_shop, tmp_path / "rimewatch.db", lines[0].at_ms) as service:
        service.play(mosquitto.port, lines)
        yield service


def alarm_of(running: RunningService) -> Alarm:
    """Return the one alarm as the journal has it."""
    with JournalReader.open(running.journal_path) as journal:
        (row,) = journal.alarms_between(0, 4_000_000_000_000)
    return alarm_from_json(row.text)


def test_button_behind_the_link_acknowledges(running: RunningService, receiver: Receiver) -> None:
    """One tap, no sign-in; the record says by whose link."""
    browser = Browser(running, receiver)
    status, page, _ = browser.ask(form={"back_within_min": ""})

    assert status == 200
    assert "Acknowledged 06:0" in page
    assert "by Night phone" in page
    assert "<form" not in page
    assert alarm_of(running).acknowledged_by == "Night phone"


def test_page_shows_the_facts_and_one_button(running: RunningService, receiver: Receiver) -> None:
    """What is wrong, since when, what the probe reads now."""
    _, page, headers = Browser(running, receiver).ask()

    assert "case-1: fish too warm" in page
    assert "Raised 06:01 CST" in page
    assert "fish read 46.8 °F" in page
    assert page.count("<button") == 1
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer"
    assert "default-src 'none'" in headers["content-security-policy"]


@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_preview_of_the_link_acknowledges_nothing(
    running: RunningService, receiver: Receiver, method: str
) -> None:
    """Chat programs fetch links by themselves; that is nobody who has seen the alarm."""
    browser = Browser(running, receiver)
    for _ in range(3):
        assert browser.ask(method=method)[0] == 200

    with JournalReader.open(running.journal_path) as journal:
        assert journal.entries_after(0) == []
    assert alarm_of(running).acknowledged_ms is None


def test_promise_of_a_time_is_kept_on_the_record(
    running: RunningService, receiver: Receiver
) -> None:
    """Within 20 minutes, they say: the page says when it would ring again."""
    status, page, _ = Browser(running, receiver).ask(form={"back_within_min": "20"})

    assert status == 200
    assert "It rings again if it is still so at 06:2" in page
    alarm = alarm_of(running)
    assert alarm.acknowledged_ms is not None
    assert alarm.reopens_ms == alarm.acknowledged_ms + 20 * 60_000


@pytest.mark.parametrize("promise", ["soon", "-5", "nan", "inf", "1e9", "x" * 5000])
def test_promise_that_means_nothing_acknowledges_all_the_same(
    running: RunningService, receiver: Receiver, promise: str
) -> None:
    """What counts is that somebody has seen it."""
    assert Browser(running, receiver).ask(form={"back_within_min": promise})[0] == 200

    alarm = alarm_of(running)
    assert alarm.acknowledged_ms is not None
    assert alarm.reopens_ms is None


def test_link_that_was_changed_leads_to_nothing(
    running: RunningService, receiver: Receiver
) -> None:
    """Neither shows nor acknowledges anything, and says no more than that."""
    browser = Browser(running, receiver)
    forged = browser.path[:-1] + ("A" if browser.path[-1] != "A" else "B")

    for form in (None, {"back_within_min": ""}):
        status, page, _ = browser.ask(forged, form)
        assert status == 404
        assert "case-1" not in page
    assert alarm_of(running).acknowledged_ms is None
    assert browser.ask("/nothing-here")[0] == 404


def test_link_of_the_day_before_has_expired(running: RunningService, receiver: Receiver) -> None:
    """It says so, and where else to acknowledge."""
    browser = Browser(running, receiver)
    running.clock.move_to(running.clock.now_ms() + 25 * 3_600_000)
    status, page, _ = browser.ask(form={"back_within_min": ""})

    assert status == 410
    assert "too old" in page
    with JournalReader.open(running.journal_path) as journal:
        assert journal.entries_after(0) == []


def test_many_at_once_come_to_one_acknowledgement(
    running: RunningService, receiver: Receiver
) -> None:
    """Impatient taps are answered each; the first stands."""
    browser = Browser(running, receiver)
    statuses: list[int] = []
    threads = [
        threading.Thread(target=lambda: statuses.append(browser.ask(form={"a": "b"})[0]))
        for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WAIT_S)

    assert statuses == [200] * 6
    assert alarm_of(running).acknowledged_by == "Night phone"


def test_message_without_an_address_for_pages_holds_no_link(
    own_shop: Shop, tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """A shop that serves no pages sends no dead links."""
    plain = replace(own_shop, web=None)
    lines = warm().read()
    with RunningService(plain, tmp_path / "rimewatch.db", lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)
        receiver.wait_for(lambda r: bool(r.got), "the message")

    assert "http" not in json.dumps(receiver.got)
    assert not (tmp_path / "rimewatch.db.links-key").exists()


def test_port_that_is_taken_is_told_and_the_watch_goes_on(
    own_shop: Shop, tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The pages are a comfort; the alarm reaches the phone without them."""
    taken = replace(
        own_shop, web=Web(host="127.0.0.1", url="http://phone.test", port=receiver.port)
    )
    lines = warm().read()
    with RunningService(taken, tmp_path / "rimewatch.db", lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)
        receiver.wait_for(lambda r: bool(r.got), "the message")
        assert f"127.0.0.1:{receiver.port} (" in running.service.pages.trouble
        assert running.service.pages.trouble in running.said


def test_pages_that_failed_are_tried_again(
    own_shop: Shop, tmp_path: Path, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The port is free again after a while: the links of the night serve."""
    monkeypatch.setattr("rimewatch.service.pages.TRY_AGAIN_S", 0.0)
    with Journal.open(tmp_path / "rimewatch.db"):
        pages = Pages(tmp_path / "rimewatch.db", SteppedClock(0), say=lambda _text: None)
        pages.use(
            replace(
                own_shop, web=Web(host="127.0.0.1", url="http://phone.test", port=receiver.port)
            )
        )
        assert pages.trouble
        receiver.close()
        pages.look()
        assert pages.port == receiver.port
        assert pages.trouble == ""
        pages.stop()


def test_server_stops_and_frees_its_port() -> None:
    """A changed configuration may serve on the same port at once."""
    first = PageServer(make_app([]), "127.0.0.1", 0)
    first.start()
    assert first.alive
    assert first.stop()
    second = PageServer(make_app([]), "127.0.0.1", first.port)
    second.start()
    assert second.port == first.port
    with pytest.raises(PageServerError, match="choose another"):
        PageServer(make_app([]), "127.0.0.1", second.port).start()
    assert second.stop()
