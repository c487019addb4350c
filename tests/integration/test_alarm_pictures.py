"""An alarm brings a picture where the service takes one, and its words in any case."""

import base64
import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from handmade import Paper, probe, unit
from http_receiver import Answer, Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.journal.outbox import OutboxRow
from rimewatch.journal.reader import JournalReader
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.results import Delivered, Limits
from rimewatch.service.charts import chart_path
from rimewatch.service.postmark import Postmark
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, ContactId
from running_service import RunningService

pytestmark = pytest.mark.integration

NOW_MS = 1_772_438_400_000
PATIENCE_S = 60.0
PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def shop_of(port: int, url: str) -> Shop:
    head = (
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\ndisplay = "C"\n'
        f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\n'
    )
    people = (
        f'[[contact]]\nid = "first"\nname = "On-call phone"\nurls = ["{url}"]\n'
        '[[escalation]]\nafter_s = 0\ncontacts = ["first"]\nrepeat_s = 900\n'
    )
    return load_shop(f"{head}\n{unit()}\n{probe()}\n{people}")


def picture_of(message: dict[str, Any]) -> Image.Image | None:
    found = message["attachments"]
    if not found:
        return None
    assert found[0]["mimetype"] == "image/png"
    return Image.open(io.BytesIO(base64.b64decode(found[0]["base64"])))


class TestService:
    def test_alarm_brings_the_last_hours_and_its_repeat_does_not(
        self, tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
    ) -> None:
        """Whether it is a door or a dead compressor is seen in bed."""
        shop = shop_of(mosquitto.port, receiver.url())
        paper = Paper().curve([(0, 2.0), (3600, 2.0), (4200, 9.0), (6300, 9.0)], every_s=60)

        with RunningService(shop, tmp_path / "rimewatch.db", paper.start_ms) as service:
            service.play(mosquitto.port, paper.read())
            receiver.wait_for(lambda r: len(about(r, "too warm")) >= 2, "alarm and repeat", 60.0)

        raised, repeated = about(receiver, "too warm")[:2]
        picture = picture_of(raised)
        assert picture is not None
        assert picture.size == (960, 480)
        assert len(picture.convert("RGBA").getcolors() or ()) > 4, "there is something on it"
        assert picture_of(repeated) is None
        assert len([*(tmp_path / "charts").iterdir()]) == 1

    def test_picture_that_cannot_be_kept_costs_no_word(
        self, tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
    ) -> None:
        """A file stands where the folder should: the alarm comes, and the record says why bare."""
        (tmp_path / "charts").write_text("no folder")
        shop = shop_of(mosquitto.port, receiver.url())
        paper = Paper().curve([(0, 2.0), (600, 9.0), (1200, 9.0)])
        journal = tmp_path / "rimewatch.db"

        with RunningService(shop, journal, paper.start_ms) as service:
            service.play(mosquitto.port, paper.read())
            receiver.wait_for(lambda r: bool(about(r, "too warm")), "the alarm", 60.0)
        with JournalReader.open(journal) as reader:
            events = [e for e in reader.events_between(0, 10**14) if e.what == "no picture"]

        assert picture_of(about(receiver, "too warm")[0]) is None
        assert len(events) == 1
        assert "charts" in events[0].detail


def about(receiver: Receiver, words: str) -> list[dict[str, Any]]:
    return [message for message in receiver.got if words in message["title"]]


@pytest.fixture
def send(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Send one alarm to an address, its picture (if there is one) in the charts' folder."""
    opened: list[Dispatcher] = []

    def send_to(url: str, *, picture: bytes | None) -> Any:
        folder = tmp_path / "charts"
        folder.mkdir()
        row = OutboxRow(
            id=1,
            at_ms=NOW_MS,
            contact=ContactId("first"),
            alarm_id="case-1:holding:1",
            about=About.RAISED,
            title="Front display case: too warm",
            body="Front display case: fish 6.1 °C for 20 min. Move the fish, then call.",
            idempotency_key="case-1:holding:1/0/0/0/first",
            urgent=True,
            attempts=0,
            error="",
        )
        if picture is not None:
            chart_path(folder, row.idempotency_key).write_bytes(picture)
        shop = shop_of(1883, url)
        dispatcher = Dispatcher(
            shop.contacts,
            SteppedClock(NOW_MS),
            limits=Limits(connect_s=8, read_s=8, channel_s=20, chain_s=25),
            extras=Postmark(shop, None, folder),
        )
        opened.append(dispatcher)
        assert dispatcher.submit(row)
        return dispatcher

    yield send_to
    for one in opened:
        one.stop(0.0)


def result_of(dispatcher: Dispatcher, receiver: Receiver) -> Any:
    """Wait for the one message's result."""
    found: list[Any] = []

    def is_there(_: Receiver) -> bool:
        found.extend(dispatcher.take_results())
        return bool(found)

    receiver.poll(is_there, "the result")
    return found[0]


class TestPushServices:
    def test_picture_goes_out_as_it_lies_there(
        self, receiver: Receiver, send: Callable[..., Any]
    ) -> None:
        """Byte for byte."""
        dispatcher = send(receiver.url(), picture=PICTURE)

        assert isinstance(result_of(dispatcher, receiver), Delivered)
        assert base64.b64decode(receiver.got[0]["attachments"][0]["base64"]) == PICTURE

    def test_picture_that_is_gone_by_then_costs_no_word(
        self, receiver: Receiver, send: Callable[..., Any]
    ) -> None:
        """After a week without a network the folder was tidied."""
        dispatcher = send(receiver.url(), picture=None)

        assert isinstance(result_of(dispatcher, receiver), Delivered)
        assert receiver.got[0]["attachments"] == []
        assert receiver.got[0]["message"].startswith("Front display case: fish 6.1 °C")

    def test_service_that_takes_no_picture_gets_the_words(
        self, receiver: Receiver, send: Callable[..., Any]
    ) -> None:
        """One of the kind that knows text alone."""
        dispatcher = send(f"gorush://127.0.0.1:{receiver.port}/phone", picture=PICTURE)

        assert isinstance(result_of(dispatcher, receiver), Delivered)
        assert "fish 6.1 °C" in str(receiver.got[0])
        assert receiver.requests == 1

    def test_service_that_refuses_the_picture_gets_the_words_at_once(
        self, receiver: Receiver, send: Callable[..., Any]
    ) -> None:
        """Its limit on size must not cost the alarm a quarter of an hour."""
        receiver.answer = Answer.WORDS_ONLY
        dispatcher = send(receiver.url(), picture=PICTURE)

        assert isinstance(result_of(dispatcher, receiver), Delivered)
        assert receiver.requests == 2
        assert receiver.got[0]["attachments"] == []
