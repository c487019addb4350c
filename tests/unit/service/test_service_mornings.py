"""The morning's summary: alarms do not wait for its charts, and each morning has one, whole."""

import threading
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from handmade import ONE_CONTACT, ms, probe, shop, timed_probe, unit
from rimewatch.clock import SteppedClock
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.errors import JournalError
from rimewatch.journal.events import SummaryRow
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import OutboxRow
from rimewatch.service.charts import Charts
from rimewatch.service.mornings import PATIENCE_S, is_in_hand
from rimewatch.service.pen import Pen
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_MINUTE, About, ProbeId

START_MS = ms("2026-03-02T10:00:00Z")
MORNING_MS = ms("2026-03-02T12:30:00Z")
"""06:30 in Chicago."""
DAY = date(2026, 3, 2)
SHOP = shop(
    *(
        unit("case-1"),
        unit("case-2", name="<chart>"),
        unit("walk-in", kind="walk-in", on_delay_s=0),
    ),
    *(probe("one", "case-1", every_s=600), timed_probe("two", "case-2", every_s=600)),
    probe("three", "walk-in", "product", every_s=600),
    *(probe("door", "case-1", "door"), ONE_CONTACT),
)


class HeldPen(Pen):
    """A pen that draws when a test tells it to, a piece at a time."""

    def __init__(self) -> None:
        super().__init__()
        self.urgent: list[Callable[[], None]] = []
        self.patient: list[Callable[[], None]] = []

    def do(self, work: Callable[[], None], *, urgent: bool) -> threading.Event:
        """Note it."""
        (self.urgent if urgent else self.patient).append(work)
        return threading.Event()

    def draw(self, most: int = 1000) -> int:
        """Do so much of the patient work; return how much there was."""
        done = 0
        while self.patient and done < most:
            self.patient.pop(0)()
            done += 1
        return done


class Patience(SteppedClock):
    """A stepped clock with durations of its own."""

    def __init__(self, now_ms: int) -> None:
        super().__init__(now_ms)
        self.elapsed_s = 0.0

    def monotonic_s(self) -> float:
        """Return the time that a test has let pass."""
        return self.elapsed_s


class Desk:
    """A writer, its pen, and what became of the mornings."""

    def __init__(self, path: Path, now_ms: int = START_MS, *, apart: bool = True) -> None:
        self.clock = Patience(now_ms)
        self.journal = Journal.open(path)
        self.pen = HeldPen()
        self.charts = Charts(path.parent / "charts", self.pen)
        self.writer = Writer(SHOP, self.journal, self.clock, self.charts if apart else None)

    def watch(self, to_ms: int, *, from_ms: int = START_MS, celsius: float = 2.0) -> None:
        """Take a reading of each probe in every ten minutes, in one batch."""
        items = [
            arrived(topic, value, at_ms)
            for at_ms in range(from_ms, to_ms, 10 * MS_PER_MINUTE)
            for topic, value in (("one", celsius), ("two", 3.0), ("three", 1.5), ("door", 0.0))
        ]
        self.clock.move_to(to_ms)
        self.writer.take(items)

    def kept(self, day: date = DAY) -> SummaryRow | None:
        """Return a morning's summary, if it is kept."""
        return self.journal.summary(day)

    def posted(self) -> list[OutboxRow]:
        """Return the messages about mornings that wait to be sent."""
        rows = self.journal.outbox_due(self.clock.now_ms())
        return [row for row in rows if row.about is About.SUMMARY]


def arrived(topic: str, value: float, at_ms: int, late_ms: int = 0) -> Arrived:
    """Return a reading as it arrives, so long after it was taken (of probe two)."""
    text = f'{{"t": {value}, "ts": {at_ms}}}' if topic == "two" else str(value)
    return Arrived(topic, text.encode(), at_ms + late_ms, False, 1, 1, 1)


@pytest.fixture
def open_desk(tmp_path: Path) -> Iterator[Callable[..., Desk]]:
    """Give the opening of a journal, as each start of the service does."""
    desks: list[Desk] = []

    def make(name: str = "rimewatch.db", **how: object) -> Desk:
        desks.append(Desk(tmp_path / name, **how))  # type: ignore[arg-type]  # by name
        return desks[-1]

    yield make
    for desk in desks:
        desk.journal.close()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> SummaryRow:
    """Give the same morning's summary with its charts drawn in its batch."""
    desk = Desk(tmp_path_factory.mktemp("whole") / "rimewatch.db", apart=False)
    with desk.journal:
        desk.watch(MORNING_MS + 1)
        found = desk.kept()
    assert found is not None
    assert found.html.count("data:image/png;base64,") == 3
    return found


def test_alarm_in_the_hour_of_the_summary_does_not_wait_for_its_charts(
    open_desk: Callable[..., Desk], whole: SummaryRow
) -> None:
    """The batch draws nothing; the next one rings; the summary comes when it is drawn, whole."""
    desk = open_desk()
    desk.watch(MORNING_MS + 1)
    assert (desk.kept(), desk.posted()) == (None, [])
    assert is_in_hand(desk.journal, DAY)

    desk.clock.move_to(MORNING_MS + 2)
    desk.writer.take([arrived("three", 9.0, MORNING_MS + 2)])
    about = [row.about for row in desk.journal.outbox_due(desk.clock.now_ms())]
    assert about == [About.RAISED]
    assert not desk.writer.has_work()

    assert desk.pen.draw() == 3, "a piece is one chart, whatever is urgent comes between"
    assert desk.writer.has_work()
    desk.writer.take(())

    assert desk.kept() == whole
    assert not is_in_hand(desk.journal, DAY)
    assert [row.at_ms for row in desk.posted()] == [MORNING_MS]
    assert not desk.writer.has_work()
    desk.writer.take(())
    assert len(desk.posted()) == 1


@pytest.mark.parametrize("pieces", [0, 2, 3])
def test_service_that_ends_amid_the_charts_keeps_the_morning_as_it_was_at_its_hour(
    open_desk: Callable[..., Desk], whole: SummaryRow, pieces: int
) -> None:
    """Also if a probe has meanwhile sent what it measured in the night."""
    before = open_desk()
    before.watch(MORNING_MS + 1)
    before.pen.draw(pieces)
    before.journal.close()

    after = open_desk(now_ms=MORNING_MS + 60_000)
    after.writer.take([arrived("two", 8.0, MORNING_MS - 55 * MS_PER_MINUTE, MS_PER_H)])
    assert float(after.journal.span(ProbeId("two")).values.max()) == 8.0
    after.pen.draw()
    after.writer.take(())

    assert after.kept() == whole
    assert [row.at_ms for row in after.posted()] == [MORNING_MS]


def test_batch_that_fails_with_a_summary_in_it_keeps_it_once_when_it_is_tried_again(
    open_desk: Callable[..., Desk], whole: SummaryRow, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is drawn is not lost with the batch, and drawn once."""
    desk = open_desk()
    desk.watch(MORNING_MS + 1)
    desk.pen.draw()

    def full(*_: object) -> None:
        raise JournalError("the disk is full")

    with monkeypatch.context() as failing:
        failing.setattr(desk.writer, "_remember", full)
        for _ in range(2):
            with pytest.raises(JournalError, match="full"):
                desk.writer.take(())
    assert desk.kept() is None
    desk.writer.take(())

    assert desk.kept() == whole
    assert len(desk.posted()) == 1
    assert desk.pen.draw() == 0


def test_summary_whose_charts_cannot_be_drawn_is_kept_in_words(
    open_desk: Callable[..., Desk], whole: SummaryRow, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing font is no reason for a morning without its message."""

    def broken(*_: object, **__: object) -> bytes:
        raise OSError("no font to be found")

    monkeypatch.setattr("rimewatch.report.chart._draw", broken)
    desk = open_desk()
    desk.watch(MORNING_MS + 1)
    desk.pen.draw()
    desk.writer.take(())

    found = desk.kept()
    assert found is not None
    assert (found.text, found.page) == (whole.text, whole.page)
    assert "image/png" not in found.html
    assert "Thick line: fish." not in found.html
    assert "&lt;chart&gt;" in found.html
    assert len(desk.posted()) == 1
    assert "no font to be found; a morning's summary is kept" in desk.charts.take_trouble()


def test_pen_that_hangs_holds_the_morning_up_for_minutes_and_not_for_ever(
    open_desk: Callable[..., Desk],
) -> None:
    """The message goes without, and what is drawn after that changes nothing."""
    desk = open_desk()
    desk.watch(MORNING_MS + 1)
    desk.clock.elapsed_s = PATIENCE_S
    assert not desk.writer.has_work()

    desk.clock.elapsed_s = PATIENCE_S + 1.0
    assert desk.writer.has_work()
    desk.writer.take(())
    found = desk.kept()
    desk.pen.draw()
    desk.writer.take(())

    assert found is not None
    assert "image/png" not in found.html
    assert desk.kept() == found
    assert len(desk.posted()) == 1
    assert not desk.writer.has_work()


def test_mornings_that_were_missed_are_each_kept_once_in_their_order(
    open_desk: Callable[..., Desk],
) -> None:
    """The machine was off for three days: three summaries, a message of the last alone."""
    desk = open_desk()
    desk.watch(MORNING_MS - 1)
    desk.watch(MORNING_MS + 2 * MS_PER_DAY + 1, from_ms=MORNING_MS + 2 * MS_PER_DAY)

    kept: list[int] = []
    while desk.pen.draw(1):
        desk.writer.take(())
        kept.append(len(desk.journal.summary_dates()))

    assert kept == sorted(kept)
    assert [str(day) for day in desk.journal.summary_dates()] == [
        "2026-03-04",
        "2026-03-03",
        "2026-03-02",
    ]
    assert [row.at_ms for row in desk.posted()] == [MORNING_MS + 2 * MS_PER_DAY]


def test_month_of_missed_mornings_is_made_one_a_batch_behind_the_latest_and_the_alarm(
    open_desk: Callable[..., Desk],
) -> None:
    """Away for weeks, it hears the probes first; a restart amid that goes on with the rest."""
    desk = open_desk(apart=False)
    desk.watch(MORNING_MS - 1)
    latest_ms = ms("2026-03-22T11:30:00Z")  # the clocks went forward meanwhile
    back_ms = latest_ms + MS_PER_MINUTE
    desk.watch(back_ms, from_ms=back_ms - 2 * MS_PER_H, celsius=25.0)

    first = len(desk.journal.summary_dates())
    assert first <= 3
    assert str(desk.journal.summary_dates()[0]) == "2026-03-22"
    titles = [row.title for row in desk.journal.outbox_due(back_ms)]
    assert "case-1: still too warm, 77.0 °F" in titles
    assert [row.at_ms for row in desk.posted()] == [latest_ms]
    for made in range(first + 1, first + 5):
        assert desk.writer.has_work()
        desk.writer.take(())
        assert len(desk.journal.summary_dates()) == made

    desk.journal.close()
    again = open_desk(apart=False, now_ms=back_ms + 1)  # what was due at that very instant is
    batches = 0
    while again.writer.has_work() and batches < 40:
        again.writer.take(())
        batches += 1
    dates = [str(day) for day in again.journal.summary_dates()]
    assert len(dates) == len(set(dates)) == 21
    assert dates[-1] == "2026-03-02"
    assert batches == 21 - first - 4
    assert [row.at_ms for row in again.posted()] == [latest_ms]
