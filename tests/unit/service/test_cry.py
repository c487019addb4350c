"""Whoever was called is called again when it happens again, and something stands in meanwhile."""

from handmade import ONE_CONTACT, probe, shop, unit
from rimewatch.clock import SteppedClock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.results import Delivered
from rimewatch.service.cry import CryForHelp
from rimewatch.service.lateness import Lag

NOW_MS = 1_772_506_800_000
SHOP = shop(unit(), probe("fish", measures="product"), ONE_CONTACT)
GRAVE = Lag(delay_s=400.0, batch_s=60.0, disk_s=59.0, is_late=True)


def taken(number: int) -> Delivered:
    """Return that a phone has taken a message."""
    return Delivered(id=number, at_ms=NOW_MS, channel=0)


class Played(SteppedClock):
    """A clock whose durations are the instants' own."""

    def monotonic_s(self) -> float:
        return self.now_ms() / 1000.0

    def wait_s(self, seconds: float) -> None:
        self.move_to(self.now_ms() + round(seconds * 1000))


class Shelf(Dispatcher):
    """Keeps what it is given."""

    def __init__(self) -> None:
        self.rows: list[OutboxRow] = []

    def submit(self, row: OutboxRow) -> None:
        self.rows.append(row)


class StandIn:
    """Counts how often it was begun, and knows whether it stands."""

    def __init__(self) -> None:
        self.begun = 0
        self.stands = False

    def begin(self, why: str) -> bool:
        self.why = why
        self.begun += not self.stands
        self.stands = True
        return True

    def end(self) -> None:
        self.stands = False


def test_journal_that_fails_again_soon_is_stood_in_for_at_once_and_told_after_ten_minutes() -> None:
    """A disk that comes and goes: the phone does not ring each time, the fish is watched."""
    clock, shelf, stand_in = Played(NOW_MS), Shelf(), StandIn()
    cry = CryForHelp(SHOP, clock, stand_in)

    def fail_for(seconds: int) -> int:
        before = len(shelf.rows)
        for _ in range(seconds):
            cry.failing("disk I/O error", shelf)
            clock.wait_s(1.0)
        return len(shelf.rows) - before

    assert fail_for(10) == 1
    cry.sort_out([taken(shelf.rows[0].id)])
    assert fail_for(120) == 0, "whoever has taken it is not called each minute"
    cry.recovered(shelf)
    assert not stand_in.stands
    assert fail_for(10) == 0
    assert stand_in.stands
    assert stand_in.begun == 2
    assert stand_in.why == "disk I/O error"
    assert fail_for(600) >= 1


def test_call_that_alarms_are_late_does_not_put_off_the_one_that_nothing_is_recorded() -> None:
    """Two troubles, two calls; each is repeated until a phone has taken it."""
    clock, shelf = Played(NOW_MS), Shelf()
    cry = CryForHelp(SHOP, clock)
    assert cry.late(GRAVE, shelf)
    assert not cry.late(GRAVE, shelf)
    clock.wait_s(60.0)
    assert cry.late(GRAVE, shelf), "nobody has taken it yet"
    cry.sort_out([taken(shelf.rows[-1].id)])
    clock.wait_s(600.0)
    assert not cry.late(GRAVE, shelf)

    cry.failing("disk I/O error", shelf)
    clock.wait_s(6.0)
    assert cry.failing("disk I/O error", shelf)

    cry.late(Lag(), shelf)
    assert [row.title.removeprefix(f"{SHOP.name}: ") for row in shelf.rows] == [
        "alarms come late",
        "alarms come late",
        "nothing is recorded",
        "alarms come in time again",
    ]
    assert len({row.id for row in shelf.rows}) == 4
    assert cry.sort_out([taken(7)]) == [taken(7)]
