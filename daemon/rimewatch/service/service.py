"""Wires the parts and runs them: broker, writer, messages; until it is told to stop.

The thread that calls :meth:`Service.run` is the writer thread. Signals only set flags
here, which the loop looks at after each batch.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

import numpy.ma  # noqa: F401 - else loaded by the first median, when file handles may be out

from rimewatch.clock import Clock
from rimewatch.config.changing import Way
from rimewatch.entries import ChangeSettings
from rimewatch.intake.arrivals import Arrived, Item, SessionEvent
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.sparkplug.presence import HostPresence
from rimewatch.journal.checkpoints import EVALUATOR_STATE
from rimewatch.journal.errors import JournalDamaged, JournalError, JournalMoved
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.letter import Extras
from rimewatch.notify.results import Result
from rimewatch.report.wording import extent
from rimewatch.service.asked_anew import AskedAnew
from rimewatch.service.charts import charts_folder
from rimewatch.service.cry import CryForHelp
from rimewatch.service.filters import FilterMemory, earlier_filters
from rimewatch.service.hearing import Hearing
from rimewatch.service.housekeeping import Housekeeping
from rimewatch.service.lateness import Lateness
from rimewatch.service.mirroring import Mirroring, require_mirror
from rimewatch.service.opening import Lost, open_or_stand_in
from rimewatch.service.pages import Pages
from rimewatch.service.progress import Progress
from rimewatch.service.publisher import Publisher
from rimewatch.service.renewal import Unusable, renewed
from rimewatch.service.self_watch import SelfWatch
from rimewatch.service.settings_keeper import FileKeeper
from rimewatch.service.settings_log import note_settings
from rimewatch.service.soundness import TAKEN_UP, Soundness
from rimewatch.service.standstill import Standstill
from rimewatch.service.supposing import Supposing
from rimewatch.service.surroundings import Surroundings, broker_session
from rimewatch.service.watch_health import Bystander, health_of
from rimewatch.service.watched_file import WatchedFile
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.web.live import Board, Health
from rimewatch.web.settings_page import ConfigFile

BATCH: Final = 2000
"""Most arrivals written at once: some tens of milliseconds of work."""

TICK_S: Final = 0.25
"""How long to wait for arrivals before looking whether something else is due."""

IDLE_WRITE_S: Final = 60.0
"""With nothing to write, how far time was followed is noted this often: spares the disk."""

GRACE_S: Final = 5.0
"""How long messages in hand may take at the end; what has not gone out by then is due again."""

OTHER_SHOP: Final = (
    "The journal was kept for {before} until now, and the configuration is of {after}. If that is "
    "another shop, stop the service and give each its own journal: what is written from now on "
    "stands in this one's record."
)

LOST: Final = (JournalDamaged, JournalMoved)
"""What ends recording in the file that is open, and not the watch."""

RETRY_S: Final = (1.0, 30.0)
"""First and longest wait before a batch that could not be written is tried again."""


class Service:
    """The service for one shop.

    Args:
        shop: The shop.
        journal_path: The journal's file.
        clock: Tells the time.
        say: Told each thing a person at the console would want to know, a line each.
        reread: Reads the configuration again, for :meth:`reload`; raises an error with
            a message for people if it is wrong.
        config_path: Where the configuration is; shown to those who set things up, who may
            change it on a page.
        environ: Where ``env:NAME`` is looked up of a change made on a page.
        surroundings: How it meets what is not its own; None: as in life.
    """

    def __init__(
        self,
        shop: Shop,
        journal_path: Path,
        clock: Clock,
        *,
        say: Callable[[str], None],
        reread: Callable[[], Shop] | None = None,
        config_path: Path | None = None,
        environ: Mapping[str, str] | None = None,
        surroundings: Surroundings | None = None,
    ) -> None:
        self._around = surroundings or Surroundings()
        self._shop = shop
        self._journal_path = journal_path
        self._clock = clock
        self._say = say
        self._reread = reread
        self._other_shop = ""
        """That the journal was another shop's before this start; empty: it was not."""
        self._stop = threading.Event()
        self._asked_anew = AskedAnew()
        self.board = Board()
        file = None
        self._keeper: FileKeeper | None = None
        self._supposing: Supposing | None = None
        if reread is not None and config_path is not None:
            file = ConfigFile(str(config_path.resolve()), reread)
            self._keeper = FileKeeper(
                config_path, environ or {}, journal_path, clock, self._asked_anew.ask_and_wait
            )
        if config_path is not None:
            self._supposing = Supposing(config_path, journal_path, environ or {}, clock)
        self._hearing = Hearing(lambda: self._shop, clock)
        self.pages = Pages(
            journal_path,
            clock,
            say=say,
            board=self.board,
            config_file=file,
            keeper=self._keeper,
            listens=self._hearing,
            supposes=self._supposing,
        )
        self._bystander = Bystander(self.board, self.pages)
        self._publisher = Publisher(self.board, clock, self._health)
        self._itself = SelfWatch(shop, journal_path, clock, self._around.notifier)
        self._lateness = Lateness(clock, say)
        self._progress = Progress(self._stop)
        self._config_file = WatchedFile(config_path if reread else None, clock)

    # --- asked for from other threads and from signal handlers ------------------------------

    def stop(self) -> None:
        """Ask the service to finish its batch and end."""
        self._stop.set()

    def reload(self) -> None:
        """Ask the service to read its configuration again."""
        self._asked_anew.ask()

    def wait_until_listening(self, timeout_s: float) -> bool:
        """Wait until the broker has confirmed the subscriptions; False if time is up."""
        return self._progress.wait_until_listening(timeout_s)

    def wait_for(self, *, arrivals: int = 0, entries: int = 0, timeout_s: float) -> bool:
        """Wait until so many arrivals and entries since the start are on the disk.

        Returns:
            False if time is up, or the service was stopped or ended, before they were.
        """
        return self._progress.wait_for(arrivals, entries, timeout_s)

    # --- the writer thread ------------------------------------------------------------------

    def run(self) -> None:
        """Run until stopped. Everything taken in by then is on the disk.

        Raises:
            JournalError: If the journal cannot be opened.
            BrokerSettingsError: If the broker's settings cannot be used.
            UnusableProbe: If a probe cannot be read by this version.
            MirrorMissing: If the mirror's client library is not installed.
        """
        lost: Lost | None = None
        try:
            while (journal := self._opened(lost)) is not None:
                soundness = Soundness(self._journal_path, self._clock, self._around.file_look)
                with journal:
                    try:
                        self._watch(journal, soundness, lost)
                    except LOST as error:
                        lost = soundness.lost(error)
                    else:
                        return
        finally:
            self.pages.stop()
            self._hearing.stop()
            if self._supposing is not None:
                self._supposing.stop()
            self._itself.stop()
            self._progress.end()

    def _opened(self, lost: Lost | None) -> Journal | None:
        return open_or_stand_in(
            self._journal_path,
            self._shop,
            self._clock,
            self._around,
            say=self._say,
            stop=self._stop,
            notifier=self._itself.notifier,
            show=lambda why: self._bystander.show(self._shop, why),
            lost=lost,
        )

    def _watch(self, journal: Journal, soundness: Soundness, lost: Lost | None) -> None:
        """Watch until told to stop, or until the file cannot be relied on: raises ``LOST``."""
        self._soundness = soundness
        Receiver(self._shop)  # what cannot be read by this version is refused before it is noted
        self._note_settings(journal)
        knew_us = journal.load_state(EVALUATOR_STATE) is not None
        self._charts = self._around.charts(charts_folder(self._journal_path))
        writer = Writer(self._shop, journal, self._clock, self._charts)
        self._shop = writer.shop
        earlier = earlier_filters(journal, self._shop.broker)
        session = self._new_session(self._shop, knew_us=knew_us, earlier=earlier)
        require_mirror(self._shop)
        journal.add_event(self._clock.now_ms(), "start", f"watching {self._shop.name}")
        if lost is not None:
            journal.add_event(self._clock.now_ms(), TAKEN_UP, lost.why)
            self._itself.use(self._shop)
        what = f"{self._shop.name}: {extent(self._shop)}"
        self._say(f"Watching {what}; journal {self._journal_path}.")
        self._use(session)
        writer.mornings.watch_lines = self._trouble
        writer.link_trouble = self._link_trouble
        self._filters.look(journal)
        session.start()
        self._itself.notifier.ready(f"Watching {self._shop.name}")
        if self._shop.contacts:
            self._charts.warm_up(self._shop)
        self._mirroring = Mirroring(self._shop, self._journal_path, self._clock, say=self._say)
        is_lost = False
        try:
            self._loop(writer)
        except LOST:
            is_lost = True
            raise
        finally:
            if not is_lost:  # then the service does not end, nor do its pages
                self._itself.notifier.stopping()
                self.pages.stop()
            self._itself.stop()
            self._presence.leave()
            self._session.stop()
            self._note_listening(now=False)
            self._cry.stop()
            self._dispatcher.stop(grace_s=GRACE_S)
            self._charts.stop(grace_s=GRACE_S)
            self._soundness.stop()
            self._note_end(writer, is_lost=is_lost)

    def _new_session(self, shop: Shop, *, knew_us: bool, earlier: tuple[str, ...]) -> BrokerSession:
        return broker_session(
            shop, self._clock, knew_us=knew_us, earlier=earlier, session=self._around.session
        )

    def _use(self, session: BrokerSession) -> None:
        self._session = session
        self._filters = FilterMemory(self._shop.broker, session)
        self._presence = HostPresence(self._shop.broker, self._clock)
        postmark = self.pages.use(self._shop)

        def extras(row: OutboxRow, now_ms: int) -> Extras:
            self._charts.finish(row)
            return postmark(row, now_ms)

        self._dispatcher = self._around.dispatcher(self._shop.contacts, self._clock, extras=extras)
        make = self._around.stand_in
        stand_in = None if make is None else make(self._shop, self._clock, self._say)
        self._cry = CryForHelp(self._shop, self._clock, stand_in)

    def _loop(self, writer: Writer) -> None:
        written_s = self._clock.monotonic_s()
        standstill = Standstill(self._clock)
        housekeeping = Housekeeping(writer.journal, lambda: writer.shop, self._charts)
        while not self._stop.is_set():
            if self._config_file.look():
                self._asked_anew.ask()
            if self._asked_anew.take():
                self._use_new_configuration(writer)
            items = self._session.drain(BATCH, TICK_S)
            if stood_s := standstill.turn():
                self._say(
                    f"The service stood still for {stood_s:.0f} s, or the clock was set forward. "
                    "Silence is counted from now on; the broker sends what it kept."
                )
                writer.wake(stood_s)
            self._soundness.check()
            results = self._results()
            idle_s = self._clock.monotonic_s() - written_s
            if items or results or idle_s >= IDLE_WRITE_S or self._has_work(writer):
                self._take_in(writer, items, results)
                written_s = self._clock.monotonic_s()
            for request in writer.take_requests():
                self._session.publish(request.topic, request.payload)
            self._post(writer)
            self._tidy(writer, housekeeping)
            self._look_at_itself(writer)
            self._publish(writer)
            if self._session.health().listening != self._progress.listening:
                self._note_listening(now=not self._progress.listening)
                if self._progress.listening:
                    for request in writer.receiver.greet(self._clock.now_ms()):
                        self._session.publish(request.topic, request.payload)

    def _look_at_itself(self, writer: Writer) -> None:
        self.pages.look()
        if trouble := self._presence.look(is_recording=self._progress.listening):
            self._say(trouble)
        if self._cry.late(self._lateness.lag, self._dispatcher):
            self._say("Alarms come late: the first contacts are told.")
        try:
            self._itself.look(
                writer.journal,
                self._progress.arrivals,
                self._session.health(),
                self._lateness.lag,
                self._dispatcher.health,
                self.pages.trouble,
                writer.evaluator.watching_since_ms,
                self._soundness,
            )
        except JournalError as error:
            self._say(f"How the watch is doing could not be noted: {error}")
        self._itself.notifier.alive()

    def _publish(self, writer: Writer) -> None:
        """Tell the pages what is so now, where there are pages."""
        if self._shop.web is None:
            return
        try:
            self._publisher.look(writer)
        except JournalError as error:
            self._say(f"The pages could not be told what is new: {error}")

    def _health(self, journal: Journal) -> Health:
        return health_of(
            journal,
            self._session.health(),
            self._lateness.lag,
            arrivals=self._progress.arrivals,
            senders_alive=self._dispatcher.health().alive,
            trouble=self._trouble(),
            mirror=self._mirroring.words(journal),
        )

    def _link_trouble(self) -> str:
        link = self._session.health()
        return "" if link.listening else link.problem

    def _trouble(self) -> list[str]:
        told = [self._other_shop] if self._other_shop else []
        return [*self._around.trouble, *told, *self._itself.lines()]

    def _has_work(self, writer: Writer) -> bool:
        try:
            return writer.has_work()
        except JournalError:
            return True  # let the batch meet it, which tells and tries again

    def _results(self) -> list[Result]:
        return self._cry.sort_out(self._dispatcher.take_results())

    def _tidy(self, writer: Writer, housekeeping: Housekeeping) -> None:
        try:
            housekeeping.look(self._clock.now_ms())
            self._mirroring.look(writer.journal)
            self._filters.look(writer.journal)
            self._note_pictures(writer)
        except JournalError as error:
            # Nothing is lost by a journal that stays untidy; writing itself will complain.
            self._say(f"Tidying the journal failed: {error}")

    def _note_pictures(self, writer: Writer) -> None:
        if trouble := self._charts.take_trouble():
            self._say(f"No picture can be drawn: {trouble}.")
            writer.journal.add_event(self._clock.now_ms(), "no picture", trouble)

    def _note_listening(self, *, now: bool) -> None:
        if now:
            self._say("Listening: the broker has confirmed every subscription.")
        self._progress.note_listening(now=now)

    def _take_in(self, writer: Writer, items: Sequence[Item], results: list[Result]) -> None:
        """Write a batch and acknowledge it; a message that cannot be judged is set aside.

        One message that brings a fault of ours to light would come again after every
        restart, and end every one of them.
        """
        try:
            self._write_and_ack(writer, items, results)
        except (MemoryError, *LOST):
            raise  # no fault of a message's: it must not be set aside for it
        except Exception as error:
            if not items:
                raise
            if len(items) > 1:
                self._take_in(writer, (), results)
                for item in items:
                    self._take_in(writer, (item,), [])
            elif isinstance(items[0], Arrived):
                self._set_aside(writer, items[0], error)
            else:
                raise

    def _set_aside(self, writer: Writer, item: Arrived, error: Exception) -> None:
        self._write(writer, (), [])  # a fault that no message brings must end the service
        self._say(
            f"A message on {item.topic} could not be judged ({type(error).__name__}: {error}); "
            "it is in quarantine. Please report this fault of the service."
        )
        try:
            writer.set_aside(item, error)
        except JournalError as failed:
            self._say(f"It could not be put into quarantine, and comes again: {failed}")
            return
        self._session.ack((item,))
        self._progress.count((item,), 0)

    def _write_and_ack(self, writer: Writer, items: Sequence[Item], results: list[Result]) -> None:
        entries = self._write(writer, items, results)
        if entries is not None:
            self._session.ack(items)
            self._progress.count(items, entries)

    def _write(self, writer: Writer, items: Sequence[Item], results: list[Result]) -> int | None:
        """Write a batch, for as long as it takes: what is not on the disk is not acknowledged.

        Nothing is judged meanwhile; if it takes long, somebody is told (see
        :mod:`rimewatch.service.cry`).

        Returns:
            How many entries were taken in with it; None if it could not be written until
            the service was stopped.
        """
        wait_s = RETRY_S[0]
        told = ""
        while True:
            began_s = self._clock.monotonic_s()
            try:
                entries = writer.take(items, results)
            except JournalDamaged:
                raise  # what is tried again meets it again
            except (JournalError, OSError) as error:  # OSError: no file can be opened any more
                told = self._not_recording(str(error), told)
                results += self._results()
                if self._around.wait(self._stop, wait_s):
                    return None
                wait_s = min(2.0 * wait_s, RETRY_S[1])
            else:
                if told:
                    self._note_lag(writer, told)
                    self._say("Recording again.")
                    self._cry.recovered(self._dispatcher)
                broker = self._session.health()
                self._lateness.wrote(items, began_s=began_s, disk_s=writer.disk_s, broker=broker)
                break
        for item in items:
            if isinstance(item, SessionEvent):
                self._say(item.text)
        changed = [entry for entry in entries if isinstance(entry, ChangeSettings)]
        if changed and changed[-1].settings != self._shop.said and self._reread is not None:
            self._asked_anew.ask()  # a command has written other settings
        return len(entries)

    def _not_recording(self, why: str, told: str) -> str:
        """Note that a batch could not be written once more; return what was told of it."""
        if why != told:
            self._say(f"Not recording: {why}. The broker keeps what arrives meanwhile.")
        self._soundness.check()
        self._presence.look(is_recording=False)
        if self._cry.failing(why, self._dispatcher):
            self._say("Nothing is recorded: the first contacts are told.")
        self._itself.notifier.alive()  # it is the file that stands still, not the writer
        return why

    def _note_lag(self, writer: Writer, why: str) -> None:
        """Note on the record how much waited while nothing could be written."""
        waiting = self._session.health().waiting
        with suppress(JournalError):  # the next batch meets it again, and says so
            detail = f"{waiting} messages wait here, the rest at the broker; {why}"
            writer.journal.add_event(self._clock.now_ms(), "recording again", detail)

    def _post(self, writer: Writer) -> None:
        try:
            rows = writer.due_messages()
        except JournalError as error:
            self._say(f"The outbox cannot be read: {error}")
            return
        for row in rows:
            self._dispatcher.submit(row)

    def _note_end(self, writer: Writer, *, is_lost: bool) -> None:
        try:
            if is_lost:
                self._mirroring.stop(writer.journal)
                return
            writer.take((), self._results(), last=True)
            self._mirroring.stop(writer.journal)
            self._note_pictures(writer)
            writer.journal.add_event(self._clock.now_ms(), "stop", "asked to stop")
        except JournalError as error:
            self._say(f"The end could not be noted: {error}")

    def _note_settings(self, journal: Journal) -> None:
        who = self._asked_anew.who
        way = Way.PAGE if who else Way.FILE
        now_ms = self._clock.now_ms()
        for change in note_settings(journal, self._shop, now_ms, way=way, who=who):
            self._say(f"Changed{f' by {who}' if who else ''}: {change.words}.")
            if change.key == "shop.name" and change.before is not None:
                self._other_shop = OTHER_SHOP.format(before=change.before, after=change.after)
                self._say(self._other_shop)

    def _use_new_configuration(self, writer: Writer) -> None:
        """Read the configuration again; keep the old one, with a message, if it is wrong.

        All that can be wrong with the new one shows before anything of the old is ended.
        """
        assert self._reread is not None, "reload() needs a way to read the configuration"
        self._config_file.note()
        try:
            shop, session = renewed(
                self._reread, self._shop.broker, writer.journal, self.pages, self._new_session
            )
        except Unusable as error:
            self._say(f"The configuration is kept as it was. {error}")
            self._asked_anew.answer(str(error))
            return
        # What has arrived is of the old configuration, and is taken in by it.
        self._take_in(writer, self._session.drain(BATCH, 0), self._results())
        self._presence.leave()
        self._session.stop()
        self._note_listening(now=False)
        self._dispatcher.stop(grace_s=GRACE_S)
        self._take_in(writer, (), self._results())
        self._shop = shop
        try:
            # First, so that what came before stays under the settings of before.
            self._note_settings(writer.journal)
            writer.use(shop)
            self._shop = writer.shop
            self._mirroring.use(self._shop, writer.journal)
            writer.journal.add_event(self._clock.now_ms(), "configuration", "read again")
        except JournalError as error:
            self._say(f"The new configuration could not be noted: {error}")
        self._use(session)
        self._itself.use(self._shop)
        with suppress(JournalError):  # each look tries again
            self._filters.look(writer.journal)
        session.start()
        if self._keeper is not None:
            self._keeper.taken()
        self._asked_anew.answer()
        self._say("The configuration was read again and is in use.")
