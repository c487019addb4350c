"""Takes the pictures of the documentation: the demo's night, as a phone shows its pages.

    python .ci/take_pictures.py            writes docs/pictures/*.png

The night is the one that ``make demo`` plays, over an embedded broker and into a journal of
its own, as fast as it goes. At two instants of it Chromium takes a picture. Whoever takes
them looks at them before they are committed.
"""

import re
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from rimewatch.clock import SteppedClock
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.journal import Journal
from rimewatch.service.demo import demo_shop
from rimewatch.service.embedded_broker import EmbeddedBroker
from rimewatch.service.phone import Phone
from rimewatch.service.service import Service
from rimewatch.shop import Shop, Web
from rimewatch.vocabulary import MS_PER_S
from rimewatch_sim.library import load_scenario
from rimewatch_sim.player import Player
from rimewatch_sim.publisher import MqttPublisher
from rimewatch_sim.simulation import trace_lines

FOLDER: Final = Path(__file__).parents[1] / "docs" / "pictures"
PHONE: Final = {"width": 390, "height": 780}
DOTS_PER_PIXEL: Final = 2
COLOURS: Final = 48
"""A page has few; fewer make a small file."""
MOST_BYTES: Final = 64_000
PATIENCE_S: Final = 30.0
CHROMIUM: Final = "/usr/bin/chromium"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """A picture to take."""

    name: str
    at: str
    """When in the night, with its offset from UTC."""
    path: str
    """Of the page."""
    shows: str
    """What stands there; it is waited for."""

    @property
    def at_ms(self) -> int:
        """When in the night."""
        return round(datetime.fromisoformat(self.at).timestamp() * MS_PER_S)


SIGHTS: Final = (
    Sight(name="now", at="2026-03-03T04:42:00-06:00", path="/", shows="fish too warm"),
    Sight(
        name="morning", at="2026-03-03T06:31:00-06:00", path="/mornings/2026-03-03", shows="Alarms"
    ),
)


def take_pictures(folder: Path) -> list[Path]:
    """Play the night and take each picture.

    Returns:
        The files written.

    Raises:
        ValueError: If a picture is larger than a page should have to load.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    with _night() as night, _signed_in(night) as page:
        for sight in SIGHTS:
            night.play_until(sight.at_ms)
            _open(page, night.address + sight.path)
            page.get_by_text(sight.shows).first.wait_for()
            page.get_by_text("not followed time").wait_for(state="detached")
            written.append(folder / f"{sight.name}.png")
            written[-1].write_bytes(_small(page.screenshot()))
    return written


class _Night:
    """The service over the demo's night, played piece by piece."""

    def __init__(self, shop: Shop, journal_path: Path, broker_url: str) -> None:
        self._lines = list(trace_lines(load_scenario("night-at-saltmarsh-row")))
        self._clock = SteppedClock(self._lines[0].at_ms)
        self._journal_path = journal_path
        self._broker_url = broker_url
        self._arrivals = self._entries = 0
        self.said: list[str] = []
        self.service = Service(shop, journal_path, self._clock, say=self.said.append)

    @property
    def address(self) -> str:
        """Where the pages are."""
        return f"http://127.0.0.1:{self.service.pages.port}"

    def play_until(self, at_ms: int) -> None:
        """Play what is left before an instant, each line on the disk before the next."""
        here = [line for line in self._lines if line.at_ms < at_ms]
        self._lines = self._lines[len(here) :]
        with MqttPublisher(self._broker_url, client_id="probes") as publisher:

            def publish(topic: str, payload: bytes) -> None:
                publisher.publish(topic, payload)
                self._arrivals += 1
                self._catch_up()

            Player(here).play(publish, enter=self._enter, speed=None, before=self._clock.move_to)
        self._clock.move_to(at_ms)

    def _enter(self, at_ms: int, entry: Mapping[str, Any]) -> None:
        with Journal.open(self._journal_path, check=False) as journal:
            journal.add_entry(parse_entry(entry, at_ms), "demo")
        self._entries += 1
        self._catch_up()

    def _catch_up(self) -> None:
        is_there = self.service.wait_for(
            arrivals=self._arrivals, entries=self._entries, timeout_s=PATIENCE_S
        )
        assert is_there, self.said


@contextmanager
def _night() -> Iterator[_Night]:
    with (
        tempfile.TemporaryDirectory() as folder,
        EmbeddedBroker() as broker,
        Phone(lambda *_: None) as phone,
    ):
        shop = demo_shop()
        shop = replace(
            shop,
            broker=replace(shop.broker, url=broker.url),
            contacts=tuple(replace(one, urls=(phone.url(one.id),)) for one in shop.contacts),
            web=Web(host="127.0.0.1", port=0),
        )
        night = _Night(shop, Path(folder) / "rimewatch.db", broker.url)
        thread = threading.Thread(target=night.service.run, name="writer")
        thread.start()
        try:
            assert night.service.wait_until_listening(PATIENCE_S), night.said
            yield night
        finally:
            night.service.stop()
            thread.join()


@contextmanager
def _signed_in(night: _Night) -> Iterator[Page]:
    found = re.search(r"(/set-up/\S+)", " ".join(night.said))
    assert found is not None, night.said
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(
            viewport={"width": PHONE["width"], "height": PHONE["height"]},
            device_scale_factor=DOTS_PER_PIXEL,
        )
        page.goto(night.address + found[1])
        page.get_by_label("Your name").fill("Mira")
        page.get_by_label("Password").fill("ice and salt and ice")
        page.get_by_role("button", name="Set it and sign in").click()
        page.wait_for_url(f"{night.address}/")
        yield page
        browser.close()


def _open(page: Page, address: str) -> None:
    """Go to a page; a morning's is there when its charts are drawn, some seconds after its hour."""
    for _ in range(round(PATIENCE_S)):
        answer = page.goto(address)
        assert answer is not None, address
        if answer.ok:
            return
        page.wait_for_timeout(1000)
    raise AssertionError(f"{address} is not there")


def _small(picture: bytes) -> bytes:
    """Return a picture in few colours, as a page has.

    Raises:
        ValueError: If it is large all the same.
    """
    small = BytesIO()
    image = Image.open(BytesIO(picture)).convert("RGB")
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(small, "PNG", optimize=True)
    if small.tell() > MOST_BYTES:
        raise ValueError(f"a picture has {small.tell()} bytes, more than {MOST_BYTES}")
    return small.getvalue()


if __name__ == "__main__":
    for path in take_pictures(FOLDER):
        print(f"{path}: {path.stat().st_size} bytes")  # noqa: T201 (what it is run for)
