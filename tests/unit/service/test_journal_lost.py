"""The journal's file is damaged, replaced or spoiled while the service runs."""

import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from handmade import ONE_CONTACT, ms, probe, shop, unit
from rimewatch.clock import SystemClock
from rimewatch.entries import OutOfService
from rimewatch.intake.arrivals import Arrived, Item
from rimewatch.intake.broker import BrokerSession
from rimewatch.journal import Journal, JournalDamaged, JournalError, JournalReader, damage
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.service.file_look import Looked, look
from rimewatch.service.service import Service
from rimewatch.service.surroundings import Surroundings
from rimewatch.service.systemd import Notifier
from rimewatch.shop import Shop, Web
from rimewatch.vocabulary import About, ProbeId, UnitId

EVER_MS = 10**14
FISH = ProbeId("fish")
PLAIN = shop(unit(), probe("fish", measures="product"), ONE_CONTACT)
SHOP = replace(
    PLAIN,
    self_watch=replace(PLAIN.self_watch, heartbeat_url="http://127.0.0.1:9/", heartbeat_s=3600.0),
)
Step = Callable[[], object]


class Shelf(Dispatcher):
    """Keeps what it is given; there is one for the whole service."""

    def __init__(self) -> None:
        super().__init__((), SystemClock())
        self.rows: list[OutboxRow] = []

    def submit(self, row: OutboxRow) -> bool:
        self.rows.append(row)
        return True


@dataclass
class StandIn:
    """Knows whether it stands, and why."""

    why: str = ""
    stands: bool = False

    def begin(self, why: str) -> bool:
        self.why, self.stands = why, True
        return True

    def end(self) -> None:
        self.stands = False


@dataclass
class Look:
    """Finds what it is told to find."""

    turns: list[Looked] = field(default_factory=list)
    in_full: Looked | None = None
    ends: int = 0

    def turn(self) -> Looked | None:
        return self.turns.pop(0) if self.turns else None

    def begin(self, *, in_full: bool = False) -> Looked | None:
        assert in_full
        return None

    def take(self) -> Looked | None:
        return self.in_full

    def end(self) -> None:
        self.ends += 1


class Statuses(Notifier):
    """Keeps what the service manager is told."""

    def __init__(self) -> None:
        super().__init__({}, SystemClock().monotonic_s)
        self.said: list[str] = []

    def ready(self, status: str = "") -> None:
        self.said.append(status)

    def status(self, text: str) -> None:
        self.said.append(text)

    def stopping(self) -> None:
        self.said.append("stopping")


class Night:
    """A service whose broker, people and waiting are played; its journal is real.

    Args:
        path: The journal.
        look: What its looks at the file find.
        watched: The shop.
    """

    def __init__(self, path: Path, look: Look | None = None, watched: Shop = SHOP) -> None:
        self.path = path
        self.said: list[str] = []
        self.acked: list[bytes] = []
        self.shelf, self.stand_in, self.statuses = Shelf(), StandIn(), Statuses()
        self._arrived_ms = 0
        self.brings = b"1.7"
        """What the broker brings in the turn in which something happens."""
        self._turns: Iterator[Sequence[bytes] | Step] = iter(())
        self._waits: Iterator[Step] = iter(())
        night = self

        class Session(BrokerSession):
            def start(self) -> None:
                """Nothing is connected."""

            def drain(self, max_items: int, timeout_s: float) -> list[Item]:  # noqa: ARG002
                return night._turn()

            def ack(self, items: Sequence[Item]) -> None:
                night.acked += [item.payload for item in items if isinstance(item, Arrived)]

        self.service = Service(
            watched,
            path,
            SystemClock(),
            say=self.said.append,
            surroundings=Surroundings(
                session=Session,
                dispatcher=lambda *_, **__: self.shelf,
                stand_in=lambda *_: self.stand_in,
                file_look=None if look is None else lambda *_: look,
                notifier=self.statuses,
                wait=lambda *_: self._wait(),
            ),
        )

    def _turn(self) -> list[Item]:
        step = next(self._turns, None)
        if step is None:
            self.service.stop()
            return []
        if callable(step):
            step()
            step = [self.brings]
        found: list[Item] = []
        for payload in step:
            self._arrived_ms = max(self._arrived_ms + 1, SystemClock().now_ms())
            found.append(Arrived("fish", payload, self._arrived_ms, False, 1, 1, 1))
        return found

    def _wait(self) -> bool:
        step = next(self._waits, None)
        if step is None:
            return True
        step()
        return False

    def pass_by(self, *turns: Sequence[bytes] | Step, waits: Sequence[Step] = ()) -> None:
        """Run the service.

        Args:
            turns: What each turn of its loop brings from the broker, or what happens in it.
            waits: What happens each second while it does not record.
        """
        self._turns, self._waits = iter(turns), iter(waits)
        self.service.run()

    def titles(self) -> list[str]:
        """Return what the phone was told."""
        return [row.title.partition(": ")[2] for row in self.shelf.rows]


def nothing() -> None:
    """Let a turn pass."""


def values(path: Path) -> list[float]:
    """Return what is recorded."""
    with JournalReader.open(path) as reader:
        return list(reader.span(FISH).values.tolist())


def restored(copy: Path, path: Path) -> None:
    """Put a copy in a journal's place, without what lay beside it."""
    for part in ("-wal", "-shm"):
        path.with_name(f"{path.name}{part}").unlink(missing_ok=True)
    copy.replace(path)


def look_in_full(path: Path) -> str:
    """Return what a look over all of the file finds."""
    try:
        return look(path, in_full=True)
    except JournalError as error:
        return str(error)


def whats(path: Path) -> dict[str, str]:
    """Return the service's events of each kind."""
    with JournalReader.open(path) as reader:
        return {event.what: event.detail for event in reader.events_between(0, EVER_MS)}


def spoil(path: Path) -> None:
    """Write nonsense over the page from which all readings are found."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    (page,) = connection.execute(
        "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'"
    ).fetchone()
    connection.close()
    with path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)


def copy_of(path: Path) -> Path:
    """Return a sound copy of a journal."""
    copy = path.with_name("copy.db")
    with JournalReader.open(path) as reader:
        reader.backup(copy)
    return copy


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Return the place of a journal that the service knows already."""
    made = tmp_path / "rimewatch.db"
    Night(made).pass_by([b"1.5"])
    return made


def test_damage_that_any_connection_meets_ends_acknowledging_and_calls_at_once(
    path: Path,
) -> None:
    """A page's reader meets it, and nobody looks at that page: the phone rings all the same.

    What arrives from then on is left to the broker; when a copy is in place, the watch
    goes on from it, and the record says why there is a hole.
    """
    night, copy = Night(path), copy_of(path)

    def meet() -> None:
        spoil(path)
        with JournalReader.open(path) as reader, pytest.raises(JournalDamaged):
            reader.span(FISH)

    def look_around() -> None:
        assert night.acked == [b"1.6"], "nothing that came after it"
        assert night.titles() == ["nothing is recorded"]
        assert "put the latest backup in its place" in night.shelf.rows[0].body
        assert night.stand_in.stands
        assert night.statuses.said[-1].startswith("Not recording: The journal's file is damaged")
        assert "stopping" not in night.statuses.said, "systemd would wait for its end"
        for thread in threading.enumerate():
            if thread.name == "rimewatch-heartbeat":
                thread.join(60.0)
                assert not thread.is_alive(), "the heartbeat must end"
        with pytest.raises(JournalDamaged, match="Nothing is written to it"):
            Journal.open(path, check=False)

    def restore() -> None:
        shutil.copy(copy, path.with_name("new.db"))
        path.with_name("new.db").replace(path)

    night.pass_by(
        [b"1.6"],
        meet,
        [b"1.7"],  # brought again by the broker
        waits=[nothing, look_around, restore, nothing],
    )

    assert values(path) == [1.5, 1.7]
    assert night.acked == [b"1.6", b"1.7"]
    assert night.titles() == ["nothing is recorded", "recording again"]
    assert not night.stand_in.stands
    assert "is damaged" in whats(path)["taken up again"]
    assert "is missing" in whats(path)["the watch itself: restored"], "the morning says so too"
    with Journal.open(path, check=False) as journal:
        journal.add_entry(OutOfService(at_ms=0, unit=UnitId("case-1")), "test")


def test_damaged_file_is_not_taken_up_as_it_is(path: Path) -> None:
    """Damage does not heal: however long nobody comes, nothing more is written to it."""
    look = Look(turns=[Looked(damage="page 7 is not a page")], in_full=Looked(damage="page 7"))
    night = Night(path, look)
    night.pass_by([b"1.6"], waits=[nothing] * 40)

    assert night.acked == []
    assert values(path) == [1.5]
    assert any("page 7 is not a page" in said for said in night.said)
    assert look.ends == 2, "no process is left behind"


def test_file_in_which_a_look_over_all_of_it_finds_nothing_is_taken_up_again(path: Path) -> None:
    """A connection was wrong, not the file: memory, a cable. The record keeps that it was so."""
    look = Look(in_full=Looked())
    night = Night(path, look)
    night.pass_by(lambda: damage.note(path, "malformed, it said"), [b"1.7"], waits=[nothing] * 2)

    assert values(path) == [1.5, 1.7]
    assert "malformed, it said" in whats(path)["taken up again"]


def test_file_that_is_put_in_the_journals_place_while_it_runs_is_taken_up_at_once(
    path: Path,
) -> None:
    """Else all would go on into a file that nobody finds any more. Nobody is called for it."""
    night, copy = Night(path), copy_of(path)

    def swap() -> None:
        for part in ("-wal", "-shm"):
            path.with_name(f"{path.name}{part}").unlink()
        copy.replace(path)

    night.pass_by([b"1.6"], swap, [b"1.7"], waits=[nothing] * 2)

    assert night.acked == [b"1.6", b"1.7"]
    assert values(path) == [1.5, 1.7]
    assert night.titles() == []
    assert "taken away or replaced" in whats(path)["taken up again"]


def test_wal_of_the_damaged_file_is_not_mixed_into_the_restored_one(path: Path) -> None:
    """Whoever forgets it is told, and the file waits until it is gone."""
    night, copy = Night(path), copy_of(path)
    reader = JournalReader.open(path)  # keeps the WAL from being removed

    def restore() -> None:
        copy.replace(path)

    def tidy() -> None:
        assert any("the -wal beside it is still that of the damaged" in s for s in night.said)
        assert night.acked == [b"1.6"]
        reader.close()
        for part in ("-wal", "-shm"):
            path.with_name(f"{path.name}{part}").unlink()

    night.pass_by(
        [b"1.6"],
        lambda: damage.note(path, "malformed"),
        [b"1.7"],
        waits=[nothing, restore, nothing, nothing, tidy, nothing],
    )

    assert values(path) == [1.5, 1.7]


def test_damage_that_the_writer_itself_meets_is_not_tried_again_and_again(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing of the batch is acknowledged, and what arrived alone is no message's fault."""
    night = Night(path)

    def meet(self: Journal, batch: object) -> list[bool]:  # noqa: ARG001
        monkeypatch.undo()
        raise JournalDamaged("malformed", path=path)

    monkeypatch.setattr(Journal, "add_readings", meet)
    night.pass_by([b"1.6"], waits=[nothing] * 3)

    assert night.acked == []
    assert night.titles() == ["nothing is recorded"]
    assert values(path) == [1.5]


def test_packed_day_that_cannot_be_read_is_told_of_and_ends_no_recording(path: Path) -> None:
    """It is lost; what is written now stays readable, so nobody is woken for it."""
    night = Night(path)
    night.pass_by(lambda: damage.note(path, "the packed day 2026-03-02", in_part=True), [b"1.8"])

    assert values(path) == [1.5, 1.7, 1.8]
    assert night.titles() == []
    assert "the packed day 2026-03-02" in whats(path)["the watch itself: record"]


@pytest.mark.parametrize("noise", ["\0\0\0\0", "[" * 5000, '{"seen_until_ms": 5}', b"{\xff\xfe"])
@pytest.mark.parametrize("name", ["evaluator", "alarms"])
def test_memory_that_cannot_be_read_does_not_end_the_watch(
    path: Path, name: str, noise: str | bytes
) -> None:
    """Pages are sound, and a text in them is not: no restart may end for it at night."""
    copy = copy_of(path)
    with closing(sqlite3.connect(path)) as outside, outside:
        outside.execute("UPDATE state SET text = CAST(? AS TEXT) WHERE name = ?", (noise, name))

    def restore() -> None:
        assert look_in_full(path), "else it would be taken up again as it is"
        restored(copy, path)

    night = Night(path, Look(in_full=Looked(record="a memory")))
    night.pass_by([b"1.7"], waits=[nothing, restore, nothing, nothing])

    assert night.acked == [b"1.7"]
    assert values(path) == [1.5, 1.7]
    assert night.titles()[0] == "nothing is recorded"
    assert any("put the latest backup in its place" in said for said in night.said)


def test_entry_that_cannot_be_read_does_not_end_the_watch(path: Path) -> None:
    """Likewise of what people entered."""
    with Journal.open(path) as journal:
        journal.add_entry(OutOfService(at_ms=0, unit=UnitId("case-1")), "test")
        assert journal.checkpoint_wal()
    copy = copy_of(path)
    spoilt = path.read_bytes().replace(b'"do":"out-of', b'"do":"out\xffof')
    path.write_bytes(spoilt)

    night = Night(path, Look(in_full=Looked(record="an entry")))
    night.pass_by([b"1.7"], waits=[nothing, lambda: restored(copy, path), nothing, nothing])

    assert values(path) == [1.5, 1.7]
    assert night.titles()[0] == "nothing is recorded"


def test_backup_of_a_newer_version_is_not_taken_up_and_does_not_end_the_watch(path: Path) -> None:
    """Whoever restores the wrong copy is told, and the right one is taken up."""
    right, wrong = copy_of(path), path.with_name("newer.db")
    shutil.copyfile(right, wrong)
    with closing(sqlite3.connect(wrong)) as newer, newer:
        newer.execute("PRAGMA user_version = 999")
    night = Night(path)

    night.pass_by(
        [b"1.6"],
        lambda: restored(wrong, path),
        [b"1.7"],
        waits=[nothing] * 3 + [lambda: restored(right, path)] + [nothing] * 3,
    )

    assert any("written by a newer rimewatch" in said for said in night.said), night.said
    assert night.titles()[:1] == ["nothing is recorded"]
    assert night.acked == [b"1.6", b"1.7"]
    assert values(path) == [1.5, 1.7]


def test_journal_of_another_shop_is_told_with_its_cure(path: Path) -> None:
    """Whoever restores the wrong file finds it out before two shops stand in one record."""
    night = Night(path, watched=replace(SHOP, name="Lantern Quay Fish"))
    night.pass_by([b"1.7"])

    told = [said for said in night.said if "give each its own journal" in said]
    assert len(told) == 1
    assert "Saltmarsh Row Fish until now" in told[0]
    assert values(path) == [1.5, 1.7], "a shop that was only named anew is watched all the same"
    again = Night(path, watched=replace(SHOP, name="Lantern Quay Fish"))
    again.pass_by([b"1.8"])
    assert not any("give each its own" in said for said in again.said)


def test_look_that_comes_to_nothing_is_told_of_and_ends_no_recording(path: Path) -> None:
    """That the file is sound is not claimed then."""
    night = Night(path, Look(turns=[Looked(failure="no memory")]))
    night.pass_by([b"1.6"], [b"1.7"])

    assert values(path) == [1.5, 1.6, 1.7]
    assert "no memory" in whats(path)["the watch itself: look"]


def test_pages_say_that_nothing_is_recorded_and_show_no_temperature(path: Path) -> None:
    """Also where a damaged file is met at the start: the pages are served then as well."""
    spoil(path)
    night = Night(path, watched=replace(SHOP, web=Web(url="", host="127.0.0.1", port=0)))

    def look_at_the_board() -> None:
        latest = night.service.board.latest
        assert latest.units == ()
        assert not latest.health.is_recording
        assert "The journal's file is damaged" in latest.health.trouble[0]
        assert night.service.pages.port is not None

    night.pass_by(waits=[nothing, look_at_the_board])
    assert night.service.pages.port is None


class MovedClock(SystemClock):
    """The machine's clock, put to an instant and moved on; durations stay the machine's."""

    def __init__(self, at_ms: int) -> None:
        self.ahead_ms = at_ms - super().now_ms()

    def now_ms(self) -> int:
        return super().now_ms() + self.ahead_ms


def test_morning_of_a_night_without_a_record_says_so(tmp_path: Path) -> None:
    """What stands in has its morning's message too; nobody may take it for the record."""
    clock, shelf = MovedClock(ms("2026-03-02T12:29:00Z")), Shelf()  # a minute before 06:30
    pause = threading.Event()
    ends_s = clock.monotonic_s() + 60.0

    def mornings() -> list[str]:
        return [row.body for row in shelf.rows if row.about is About.SUMMARY]

    class Session(BrokerSession):
        def start(self) -> None:
            """Nothing is connected."""

        def drain(self, max_items: int, timeout_s: float) -> list[Item]:  # noqa: ARG002
            clock.ahead_ms += 10_000
            pause.wait(0.01)  # its charts are drawn in another thread
            if mornings() or clock.monotonic_s() > ends_s:
                service.stop()
            return []

    why = "Nothing is recorded. The journal's file is damaged"
    service = Service(
        PLAIN,
        tmp_path / "unrecorded.db",
        clock,
        say=lambda _: None,
        surroundings=Surroundings(
            session=Session, dispatcher=lambda *_, **__: shelf, trouble=(why,)
        ),
    )
    service.run()

    (morning,) = mornings()
    assert f"The watch itself:\n– {why}" in morning
