"""The demo: an embedded broker, simulated probes, the service and a phone, as one process.

Everything between is the real thing: messages go over MQTT, readings into the journal
on disk, alarms over HTTP. Only the time is played: the service's clock is moved with
the trace.
"""

import threading
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, unquote
from zoneinfo import ZoneInfo

from rich.console import Console
from rich.panel import Panel
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.entering import EntryRefusedError
from rimewatch.journal.entering import enter as enter_by_the_door
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.report.wording import extent
from rimewatch.service.embedded_broker import EmbeddedBroker, EmbeddedBrokerError
from rimewatch.service.phone import Phone
from rimewatch.service.service import Service
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S
from rimewatch_sim.library import load_scenario
from rimewatch_sim.player import Played, Player
from rimewatch_sim.player import Progress as Played_
from rimewatch_sim.publisher import MqttPublisher, PublishError
from rimewatch_sim.scenario import ScenarioError
from rimewatch_sim.simulation import trace_lines

MOST_UNDER_WAY: Final = 0
"""How many messages the player may be ahead of the journal: its clock is the service's."""

PATIENCE_S: Final = 30.0


class DemoError(Exception):
    """The demo cannot go on; the text says why."""


class Demo:
    """One night, played.

    Args:
        scenario: A shipped scenario's name, or a file.
        folder: Where the journal and the summaries go.
        speed: Seconds of the shop's time in one second.
    """

    def __init__(self, scenario: str, folder: Path, *, speed: float) -> None:
        self._scenario = scenario
        self._folder = folder
        self._speed = speed
        self._stop = threading.Event()
        self._error: BaseException | None = None
        self._console = Console(highlight=False)

    def stop(self) -> None:
        """End as soon as the line in hand is played."""
        self._stop.set()

    def run(self) -> None:
        """Play the night, then print its summary.

        Raises:
            DemoError: If the scenario or the broker is not to be had, or the service ends.
        """
        try:
            lines = list(trace_lines(load_scenario(self._scenario)))
        except ScenarioError as error:
            raise DemoError(str(error)) from None
        shop = demo_shop()
        journal_path = self._folder / "rimewatch.db"
        if journal_path.exists():
            raise DemoError(f"{journal_path} is there already; choose another folder with --out")
        clock = SteppedClock(lines[0].at_ms)
        zone = ZoneInfo(shop.timezone)
        with ExitStack() as stack:
            try:
                broker = stack.enter_context(EmbeddedBroker())
            except EmbeddedBrokerError as error:
                raise DemoError(str(error)) from None
            phone = stack.enter_context(Phone(self._ring))
            shop = replace(
                shop,
                broker=replace(shop.broker, url=broker.url),
                contacts=tuple(
                    replace(contact, urls=(phone.url(quote(contact.name)),))
                    for contact in shop.contacts
                ),
            )
            self._console.print(
                f"[bold]{shop.name}[/bold]: {extent(shop)}, "
                f"{self._speed:g} times as fast as life. Ctrl-C ends it."
            )
            service = Service(shop, journal_path, clock, say=lambda _text: None)
            thread = threading.Thread(target=self._serve, args=(service,), name="writer")
            thread.start()
            try:
                played = self._play(lines, broker.url, service, shop, journal_path, clock, zone)
            except (PublishError, DemoError) as error:
                service.stop()
                thread.join()
                raise self._why(error) from None
            finally:
                service.stop()
                thread.join()
        if self._error is not None:
            raise self._why(self._error)
        self._show_summaries(journal_path, stopped=played.stopped)

    def _why(self, error: BaseException) -> DemoError:
        """Return what to tell: where the service has ended, that is the reason for the rest."""
        if self._error is not None:
            return DemoError(f"the service ended: {self._error}")
        return DemoError(str(error))

    def _serve(self, service: Service) -> None:
        try:
            service.run()
        except BaseException as error:  # noqa: BLE001 (told in the thread that plays)
            self._error = error
            self._stop.set()

    def _play(
        self,
        lines: list[Any],
        url: str,
        service: Service,
        shop: Shop,
        journal_path: Path,
        clock: SteppedClock,
        zone: ZoneInfo,
    ) -> Played:
        if not service.wait_until_listening(PATIENCE_S):
            raise DemoError("the service did not reach the embedded broker")
        published = entered = 0

        def catch_up(allowed: int) -> None:
            if not service.wait_for(
                arrivals=published - allowed, entries=entered, timeout_s=PATIENCE_S
            ):
                raise DemoError(
                    f"the service did not take a message in within {PATIENCE_S:g} s; is this "
                    "machine very busy? Try a lower --speed"
                )

        def enter(at_ms: int, entry: Mapping[str, Any]) -> None:
            nonlocal entered
            catch_up(0)
            try:
                with Journal.open(journal_path, check=False) as journal, journal.batch():
                    enter_by_the_door(journal, shop, parse_entry(entry, at_ms), "demo", at_ms)
            except EntryRefusedError as error:
                raise DemoError(f"an entry of the scenario is refused: {error}") from None
            entered += 1
            catch_up(0)

        with (
            MqttPublisher(url, client_id="demo-probes") as publisher,
            Progress(
                TextColumn("{task.fields[when]}"),
                BarColumn(bar_width=30),
                TextColumn("{task.percentage:3.0f} %"),
                TimeElapsedColumn(),
                console=self._console,
                transient=True,
            ) as progress,
        ):
            task = progress.add_task("night", total=len(lines), when="")

            def publish(topic: str, payload: bytes) -> None:
                nonlocal published
                publisher.publish(topic, payload)
                published += 1
                catch_up(MOST_UNDER_WAY)

            def show(done: Played_) -> None:
                at = datetime.fromtimestamp(done.at_ms / MS_PER_S, tz=UTC).astimezone(zone)
                progress.update(task, completed=done.done, when=f"{at:%a %H:%M}")

            played = Player(lines).play(
                publish,
                enter=enter,
                speed=self._speed,
                before=clock.move_to,
                on_progress=show,
                stop=self._stop,
            )
            if not played.stopped:
                catch_up(0)
            return played

    def _ring(self, contact: str, title: str, body: str) -> None:
        self._console.print(
            Panel(body, title=title, subtitle=f"to {unquote(contact)}", width=72, expand=False)
        )

    def _show_summaries(self, journal_path: Path, *, stopped: bool) -> None:
        with JournalReader.open(journal_path) as journal:
            last = journal.latest_summary()
        if last is None:
            self._console.print(
                "Stopped before the first morning." if stopped else "The night had no morning."
            )
            return
        path = self._folder / f"summary-{last.date.isoformat()}.html"
        path.write_text(last.html, encoding="utf-8")
        path.with_suffix(".txt").write_text(last.text, encoding="utf-8")
        self._console.print(last.text, markup=False)
        self._console.print(f"The same as a page: {path}", soft_wrap=True)


def demo_shop() -> Shop:
    """Return the shop of the example configuration, which is part of the package.

    Raises:
        DemoError: If the package is incomplete.
    """
    packaged = resources.files("rimewatch") / "saltmarsh-row.toml"
    in_checkout = Path(__file__).parents[3] / "config" / "saltmarsh-row.toml"
    for place in (packaged, in_checkout):
        if place.is_file():
            return load_shop(place.read_text(encoding="utf-8"), sends=False)
    raise DemoError("the example configuration is missing from this installation")
