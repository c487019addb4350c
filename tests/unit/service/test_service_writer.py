"""The writer on a real journal: a batch is taken in whole or not at all, and goes on after."""

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.alarms import AlarmRow
from rimewatch.journal.errors import JournalError, JournalFull
from rimewatch.journal.journal import Journal
from rimewatch.notify.results import Delivered, Failed
from rimewatch.service import writer as writer_module
from rimewatch.service.charts import Charts
from rimewatch.service.housekeeping import WAL_EVERY_MS, Housekeeping
from rimewatch.service.resume import clock_notes, resume
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, About, ProbeId, Rule

START_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
AIR = ProbeId("case-1-air")
HOLDING = Rule.HOLDING

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1883"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
limit_c = {limit_c}
on_delay_s = 300
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "number"
every_s = 120
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:1/"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""


def shop(limit_c: float = 5.0) -> Shop:
    return load_shop(SHOP.format(limit_c=limit_c))


@pytest.fixture
def clock() -> SteppedClock:
    return SteppedClock(START_MS)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        yield opened


def arrivals(count: int, celsius: float, *, from_ms: int = START_MS) -> list[Arrived]:
    return [
        Arrived(
            topic="shop/case-1/air",
            payload=str(celsius).encode(),
            arrived_ms=from_ms + minute * 60_000,
            retained=False,
            mid=minute % 65_000 + 1,
            qos=1,
            generation=1,
        )
        for minute in range(count)
    ]


def kept(journal: Journal) -> int:
    return len(journal.span(AIR).times_ms)


def standing(journal: Journal) -> list[AlarmRow]:
    """Return the alarms that have not returned: they stand at the end of time."""
    return journal.alarms_between(10**14, 10**14)


def limit_pages(journal: Journal, spare: int | None) -> None:
    """Let the file grow by so many pages and no further; None: as it likes."""
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    most = 2**30 if spare is None else pages + spare
    journal._connection.execute(f"PRAGMA max_page_count = {most}")


class TestFaults:
    def test_batch_that_finds_no_room_has_not_happened(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """The same batch, tried again when there is room, gives what it would have given."""
        writer = Writer(shop(), journal, clock)
        warm = arrivals(1500, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        limit_pages(journal, 0)

        for _ in range(3):
            with pytest.raises(JournalFull):
                writer.take(warm)
        assert kept(journal) == 0
        assert not writer.evaluator.alarms.alarms

        limit_pages(journal, None)
        writer.take(warm)
        assert kept(journal) == 1500
        raised = [alarm for alarm in standing(journal) if alarm.rule is Rule.HOLDING]
        assert len(raised) == 1

    def test_sender_of_an_entry_is_answered_once_it_is_on_the_disk(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """A batch that is not written says nothing; tried again, it says it once."""
        own = load_shop(SHOP.format(limit_c=5.0).replace("[[unit]]", "entries = true\n[[unit]]", 1))
        writer = Writer(own, journal, clock)
        entry = b'{"do": "shelve", "unit": "case-1", "rule": "holding", "minutes": 30}'
        asked = arrivals(1500, 2.0, from_ms=START_MS)
        asked.append(asked[-1]._replace(topic=own.broker.entry_topic, payload=entry))
        seen = asked[-1]._replace(
            payload=b'{"do": "acknowledge", "unit": "case-1", "rule": "holding"}'
        )
        clock.move_to(asked[-1].arrived_ms)
        limit_pages(journal, 0)
        for _ in range(2):
            with pytest.raises(JournalFull):
                writer.take([*asked, seen])
            assert writer.take_requests() == []

        limit_pages(journal, None)
        writer.take([*asked, seen])
        answers = [json.loads(request.payload) for request in writer.take_requests()]
        assert [answer["result"] for answer in answers] == ["taken", "without-effect"]
        assert "no alarm case-1 holding is on" in answers[1]["why"]

    def test_evaluator_that_could_not_be_made_anew_is_before_the_next_batch(
        self, journal: Journal, clock: SteppedClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A disk that cannot even be read must not leave half of a batch in the memory."""
        writer = Writer(shop(), journal, clock)
        warm = arrivals(30, 9.0)
        clock.move_to(warm[-1].arrived_ms)

        def unreadable(*_: object, **__: object) -> None:
            raise JournalError("the disk cannot be read")

        with monkeypatch.context() as broken:
            broken.setattr(writer_module, "resume", unreadable)
            broken.setattr(writer, "_remember", unreadable)
            with pytest.raises(JournalError, match="cannot be read"):
                writer.take(warm)
        assert writer.evaluator.alarms.alarms, "the batch was judged before it failed"

        writer.take(())
        assert kept(journal) == 0
        assert not writer.evaluator.alarms.alarms
        writer.take(warm)
        assert kept(journal) == 30


class TestMessages:
    def test_message_is_handed_out_once_and_again_after_it_failed(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """In flight it is nobody else's; failed, it comes again when it is due."""
        writer = Writer(shop(), journal, clock)
        (row,) = self.alarm(writer, clock)

        assert writer.due_messages() == []
        writer.take(
            (), [Failed(id=row.id, at_ms=clock.now_ms(), error="no answer", permanent=False)]
        )
        assert writer.due_messages() == []
        clock.move_to(clock.now_ms() + 10_000)
        (again,) = writer.due_messages()
        assert (again.id, again.attempts) == (row.id, 1)

        writer.take((), [Delivered(id=row.id, at_ms=clock.now_ms(), channel=0)])
        assert journal.outbox_backlog().waiting == 0

    def test_message_in_flight_while_the_configuration_changes_is_handed_out_again(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """Who carried it is gone with the old configuration; it must not wait for a restart."""
        writer = Writer(shop(), journal, clock)
        (row,) = self.alarm(writer, clock)

        writer.use(shop(limit_c=4.0))

        assert [again.id for again in writer.due_messages()] == [row.id]

    @staticmethod
    def alarm(writer: Writer, clock: SteppedClock) -> list[object]:
        warm = arrivals(20, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)
        return list(writer.due_messages())


class TestResuming:
    def test_resumed_evaluator_knows_what_the_stopped_one_knew(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """Alarms and temperatures are as they were; nothing is raised anew."""
        writer = Writer(shop(), journal, clock)
        warm = arrivals(90, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)

        resumed = resume(shop(), journal, clock.now_ms())

        before, after = writer.evaluator, resumed.evaluator
        assert after.alarms == before.alarms
        assert after.tracks[AIR].state == before.tracks[AIR].state
        assert after.watching_since_ms == START_MS
        assert not after.take_outcomes()

    def test_checkpoint_of_another_limit_is_folded_anew(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """A changed limit judges all that is on the disk, not only what comes."""
        writer = Writer(shop(limit_c=5.0), journal, clock)
        cool = arrivals(180, 4.5)
        clock.move_to(cool[-1].arrived_ms)
        writer.take(cool)
        assert not writer.evaluator.alarms.conditions

        resumed = resume(shop(limit_c=4.0), journal, clock.now_ms()).evaluator

        assert [key.rule for key in resumed.alarms.conditions] == [Rule.HOLDING]


class TestHousekeeping:
    def test_old_days_are_packed_a_few_at_a_time(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """No reading waits for it, and none is changed by it."""
        writer = Writer(shop(), journal, clock)
        for day in range(8):
            items = arrivals(48, 2.0, from_ms=START_MS + day * MS_PER_DAY)
            clock.move_to(items[-1].arrived_ms)
            writer.take(items)
        now_ms = START_MS + 9 * MS_PER_DAY
        housekeeping = Housekeeping(journal, shop)
        before = journal.span(AIR)

        packed = [self.packed_after(housekeeping, journal, now_ms + n * 1000) for n in range(4)]

        assert packed[0] == 4
        assert packed[-1] == 7  # the two newest whole days stay as they came
        assert journal.span(AIR).times_ms.tolist() == before.times_ms.tolist()
        assert journal.span(AIR).values.tolist() == before.values.tolist()

    def test_write_ahead_log_is_cut_back_every_six_hours(
        self, journal: Journal, clock: SteppedClock, tmp_path: Path
    ) -> None:
        """On a small disk nothing may grow for ever."""
        writer = Writer(shop(), journal, clock)
        writer.take(arrivals(500, 2.0))
        log = tmp_path / "rimewatch.db-wal"
        housekeeping = Housekeeping(journal, shop)

        housekeeping.look(START_MS)
        assert log.stat().st_size > 0
        housekeeping.look(START_MS + WAL_EVERY_MS)

        assert log.stat().st_size == 0

    @staticmethod
    def packed_after(housekeeping: Housekeeping, journal: Journal, now_ms: int) -> int:
        housekeeping.look(now_ms)
        count = journal._connection.execute("SELECT count(*) FROM reading_block").fetchone()[0]
        return int(count)


FREEZER = """
[[unit]]
id = "freezer-1"
name = "Chest freezer"
kind = "freezer"
[[probe]]
id = "freezer-1-air"
unit = "freezer-1"
measures = "air"
topic = "shop/freezer-1/air"
format = "number"
"""


class TestChangedConfiguration:
    @pytest.mark.parametrize(
        ("before", "after"),
        [
            pytest.param(SHOP, FREEZER, id="the unit is gone"),
            pytest.param(SHOP, SHOP.replace("display-case", "freezer"), id="it is a freezer now"),
        ],
    )
    def test_alarm_of_what_is_watched_no_more_ends_with_an_event(
        self, journal: Journal, clock: SteppedClock, before: str, after: str
    ) -> None:
        """Nobody could acknowledge it: its unit is in no list any more."""
        writer = Writer(load_shop(before.format(limit_c=5.0)), journal, clock)
        warm = arrivals(30, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)
        (alarm,) = standing(journal)
        assert len(journal.outbox_due(clock.now_ms())) == 1

        if "[shop]" not in after:
            after = SHOP[: SHOP.index("[[unit]]")] + after + SHOP[SHOP.index("[[contact]]") :]
        writer.use(load_shop(after.format(limit_c=-18.0)))
        assert writer.has_work(), "it is not left until something arrives"
        writer.take(())
        clock.move_to(clock.now_ms() + MS_PER_DAY // 2)
        writer.take(())

        assert alarm.id not in {row.id for row in standing(journal)}
        events = [row.detail for row in journal.events_between(START_MS, clock.now_ms())]
        ended = "alarm holding of case-1 ended: the configuration watches it no more"
        assert [text for text in events if text.startswith("alarm")] == [ended]
        about = [row for row in journal.messages_between(START_MS, 10**14) if row.rule is HOLDING]
        assert [row.about for row in about] == [About.RAISED, About.REPEAT]

    def test_message_that_still_waits_about_a_unit_that_is_gone_is_not_sent(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """Nobody is sent in the night to a case that was sold."""
        writer = Writer(shop(), journal, clock)
        warm = arrivals(30, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)
        text = SHOP[: SHOP.index("[[unit]]")] + FREEZER + SHOP[SHOP.index("[[contact]]") :]
        writer.use(load_shop(text))
        writer.take(())

        assert writer.due_messages() == []

    def test_alarm_of_what_is_watched_still_goes_on(
        self, journal: Journal, clock: SteppedClock
    ) -> None:
        """Another limit is no reason to fall silent."""
        writer = Writer(shop(), journal, clock)
        warm = arrivals(30, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)
        writer.use(shop(limit_c=4.0))
        writer.take(())

        assert [row.rule for row in standing(journal)] == [Rule.HOLDING]
        assert len(writer.due_messages()) == 1

    @pytest.mark.parametrize("restarts", [False, True])
    @pytest.mark.parametrize(
        "after",
        [
            pytest.param(SHOP.replace('"first"', '"other"'), id="another contact"),
            pytest.param(SHOP.replace("127.0.0.1:1/", "127.0.0.1:2/"), id="another address"),
        ],
    )
    def test_contact_who_is_new_hears_of_the_alarm_that_stands_once(
        self, journal: Journal, clock: SteppedClock, after: str, restarts: bool
    ) -> None:
        """After a reload and after a restart; not again at the next one."""
        writer = Writer(shop(), journal, clock)
        warm = arrivals(12, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)
        new = load_shop(after.format(limit_c=5.0))
        for _ in range(2):
            if restarts:
                writer = Writer(new, journal, clock)
            else:
                writer.use(new)
            writer.take(())

        sent = [m for m in journal.messages_between(START_MS, 10**14) if m.rule is HOLDING]
        assert [(m.contact, m.about) for m in sent] == [
            ("first", About.RAISED),
            (new.contacts[0].id, About.RAISED),
        ]
        assert len(writer.due_messages()) == (2 if new.contacts[0].id != "first" else 1)


class TestPictures:
    def test_library_that_fails_to_draw_loses_no_message_and_is_told_once(
        self,
        journal: Journal,
        clock: SteppedClock,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        """A missing font is no reason for silence."""

        def broken(*_: object, **__: object) -> bytes:
            raise OSError("no font to be found")

        monkeypatch.setattr("rimewatch.report.chart._draw", broken)
        charts = Charts(tmp_path / "charts")
        writer = Writer(shop(), journal, clock, charts)
        told, troubles = [], []
        for number, celsius in enumerate((9.0, 2.0, 9.0, 2.0)):
            batch = arrivals(20, celsius, from_ms=START_MS + number * 20 * 60_000)
            clock.move_to(batch[-1].arrived_ms)
            writer.take(batch)
            for row in writer.due_messages():
                charts.finish(row)
                told.append(row.about)
            troubles.append(charts.take_trouble())
        charts.stop(grace_s=20.0)

        assert told.count(About.RAISED) == 2
        assert "no font to be found" in troubles[0]
        assert troubles[1:] == ["", "", ""]

    def test_picture_that_takes_for_ever_holds_a_message_up_for_a_while_only(
        self,
        journal: Journal,
        clock: SteppedClock,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        """The writer does not wait for it at all."""
        released = threading.Event()
        monkeypatch.setattr("rimewatch.report.chart._draw", lambda *_, **__: released.wait() or b"")
        charts = Charts(tmp_path / "charts")
        writer = Writer(shop(), journal, clock, charts)
        warm = arrivals(20, 9.0)
        clock.move_to(warm[-1].arrived_ms)
        writer.take(warm)
        (row,) = writer.due_messages()

        charts.finish(row, within_s=0.01)
        released.set()
        charts.stop(grace_s=20.0)

        assert "not drawn within" in charts.take_trouble()


def test_two_devices_on_one_topic_are_an_event_once(journal: Journal, clock: SteppedClock) -> None:
    """Noted when it is found, not with every reading; the readings are all there."""
    writer = Writer(shop(), journal, clock)
    items = [
        one
        for n in range(30)
        for one in arrivals(1, 2.0 if n % 2 else 9.5, from_ms=START_MS + n * 60_000)
    ]
    clock.move_to(START_MS + 30 * 60_000)
    writer.take(items)

    events = [e for e in journal.events_between(0, START_MS * 2) if e.what == "two sources"]
    assert [event.at_ms for event in events] == [START_MS + 8 * 60_000]
    assert "as if two devices sent on shop/case-1/air" in events[0].detail
    assert kept(journal) == 30


def test_probe_that_sends_at_qos_0_is_told_of_once(journal: Journal, clock: SteppedClock) -> None:
    """A broker keeps such messages for nobody: what is sent while we are away is lost."""
    own = shop()
    for start in range(2):  # and not again after a restart
        writer = Writer(own, journal, clock)
        for n in range(5):
            at_ms = START_MS + (5 * start + n) * 60_000
            clock.move_to(at_ms)
            writer.take([one._replace(qos=0) for one in arrivals(1, 2.0, from_ms=at_ms)])
        writer.take((), last=True)

    (event,) = [e for e in journal.events_between(0, START_MS * 2) if e.what == "sent at QoS 0"]
    assert event.at_ms == START_MS
    assert event.detail == (
        "case-1-air: its messages come at QoS 0, which the broker keeps for nobody; set the device "
        "to QoS 1, or what it sends while this service is away is lost"
    )
    assert clock_notes(own, journal)[AIR].qos_0_ms == START_MS
    assert kept(journal) == 10


def test_probe_at_qos_1_is_told_nothing_of_it(journal: Journal, clock: SteppedClock) -> None:
    """A stray message without a reading in it tells nothing of the probe either."""
    writer = Writer(shop(), journal, clock)
    stray = [one._replace(qos=0, payload=b"hello") for one in arrivals(1, 2.0)]
    writer.take([*stray, *arrivals(1, 2.0, from_ms=START_MS + 60_000)])

    assert [e for e in journal.events_between(0, START_MS * 2) if "QoS" in e.what] == []


def test_two_devices_stand_with_the_probe_as_soon_as_they_are_found(
    journal: Journal, clock: SteppedClock
) -> None:
    """Whoever reads the event and asks for the list of probes sees it there at once."""
    own = shop()
    writer = Writer(own, journal, clock)
    for n in range(9):
        clock.move_to(START_MS + n * 10_000)
        assert all(note.two_sources_ms is None for note in clock_notes(own, journal).values())
        writer.take(arrivals(1, 2.0 if n % 2 else 9.5, from_ms=START_MS + n * 10_000))

    assert clock_notes(own, journal)[AIR].two_sources_ms == START_MS + 8 * 10_000
