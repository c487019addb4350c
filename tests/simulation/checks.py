"""What must hold after a run, whatever has happened in it."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, Final

from core_run import readings_part
from rimewatch.evaluation.door import is_known
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.mornings import instant_ms, local_day
from rimewatch.intake.receiver import Receiver
from rimewatch.journal.reader import JournalReader
from rimewatch.readings import Reading
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import resume
from rimewatch.vocabulary import MS_PER_MINUTE, About, Rule
from simulation.oracle import Concluded, conclude, published, store_of
from simulation.plan import ENTRY_TOPIC, UNSTAMPED, Kind
from simulation.run import Run

FIRST_WORDS: Final = (About.RAISED, About.RETURNED)
"""Whoever was away sends of missed repeats the latest alone, and later steps later."""
SHORTLY_MS: Final = 8 * MS_PER_MINUTE
BY_PROCESS: Final = (Rule.STALE,)
"""Silence counts from the start of the process: while it was away, nobody was silent to it."""

Times = dict[tuple[str, int], float]
Alarms = dict[tuple[str | None, Rule], list[tuple[int, int | None]]]
"""Raised and returned, by unit and rule."""


def broken(run: Run) -> list[str]:
    """Return which promises a run has broken, a sentence each."""
    with JournalReader.open(run.disk.path) as journal:
        return [*run.found, *Checks(run, journal).all()]


class Checks:
    """Looks at the journal that a run leaves, and at what the phones showed."""

    def __init__(self, run: Run, journal: JournalReader) -> None:
        self.run = run
        self.journal = journal
        self.shop = run.shop
        kinds = {fault.kind for fault in run.plan.faults}
        self.zone_changes = Kind.RELOAD_ZONE in kinds
        self.clock_jumps = Kind.CLOCK_JUMP in kinds
        self.clock_turns = self.clock_jumps or Kind.CLOCK_STEP in kinds
        self.kept: Times = {}
        for probe in self.shop.probes:
            span = journal.span(probe.id)
            times = zip(span.times_ms.tolist(), span.values.tolist(), strict=True)
            self.kept |= {(probe.id, at_ms): value for at_ms, value in times}
        self.entries = [entry for _, entry in journal.entries_after(0, 10_000)]

    def all(self) -> Iterator[str]:
        """Look at everything."""
        yield from self.readings()
        yield from self.entries_once()
        yield from self.ledger()
        yield from self.alarms()
        yield from self.told()
        yield from self.mornings()
        yield from self.file()

    # --- readings -----------------------------------------------------------------------------

    def readings(self) -> Iterator[str]:
        """Every published reading is kept, at its own time, and nothing else is."""
        missing, due = [], set()
        receiver = Receiver(self.shop)
        for message in self.run.plan.messages:
            if message.topic == ENTRY_TOPIC:
                continue
            true_ms = self.run.plan.start_ms + message.made_ms
            (reading,) = receiver.receive(message.topic, message.payload, true_ms).readings
            places = self._places(reading, message.number)
            here = [place for place in places if place in self.kept]
            due |= places
            if not here and message.number not in self.run.broker.lost:
                missing.append((message, reading))
            elif len(here) > 1 and not self._may_repeat(reading):
                yield f"{reading.probe} is kept {len(here)} times for one message"
        if missing:
            message, reading = missing[0]
            acked = message.number in self.run.broker.acked
            yield (
                f"{len(missing)} readings are missing, the first {reading.probe} at "
                f"{message.made_ms / 60_000:.1f} min ({'' if acked else 'not '}acknowledged)"
            )
        strange = self.kept.keys() - due
        if strange:
            yield f"{len(strange)} readings are kept that nobody published: {min(strange)}"

    def _places(self, reading: Reading, number: int) -> set[tuple[str, int]]:
        """Return where a reading may stand: where its own time holds, that is one place."""
        if reading.probe != UNSTAMPED and not self.clock_jumps:
            return {(reading.probe, reading.observed_ms)}
        instants = set(self.run.arrivals_ms.get(number, ()))
        if reading.probe != UNSTAMPED:
            # By a machine whose clock is hours off the probes' clocks are, and its arrivals date
            # them: those that are too far ahead of it, and those that come to lag by as much.
            instants.add(reading.observed_ms)
        return {(reading.probe, at_ms) for at_ms in instants}

    def _may_repeat(self, reading: Reading) -> bool:
        return reading.probe == UNSTAMPED or self.clock_jumps

    def entries_once(self) -> Iterator[str]:
        """Every entry is on the books, once."""
        books = Counter(_of(entry) for entry in self.entries)
        for message in self.run.plan.messages:
            if message.made_ms > self.run.world.t_ms:
                continue  # kept back by its sender until after the end
            if message.topic == ENTRY_TOPIC and message.number not in self.run.broker.lost:
                arrived_ms = self.run.plan.start_ms + message.made_ms
                entry = Receiver(self.shop).receive(message.topic, message.payload, arrived_ms)
                assert entry.entry is not None
                if not self.clock_turns and not is_known(entry.entry, self.entries):
                    yield f"an entry sent by the broker is not on the books: {entry.entry}"
        for number, entry in self.run.entered:
            if number > len(self.entries) or _of(self.entries[number - 1]) != _of(entry):
                yield f"entry {number} is not on the books any more"
        for what, count in books.items():
            if count > 1 and "corrective" not in what and not self.clock_turns:
                yield f"an entry is {count} times on the books: {what}"

    # --- what is concluded --------------------------------------------------------------------

    def ledger(self) -> Iterator[str]:
        """The figures are those of a night in which nothing went wrong."""
        if self.clock_jumps:
            # A machine whose clock is hours slow gives readings its own time; the figures
            # are then those of the readings that are kept.
            return
        readings = published(self.shop, self.run.plan.undisturbed())
        store = store_of(
            [r for r in readings if r.probe != UNSTAMPED and (r.probe, r.observed_ms) in self.kept]
        )
        from_ms = self.run.plan.start_ms
        to_ms = from_ms + self.run.plan.ends_ms
        account = Account(entries=self.entries)
        expected, actual = (
            _figures(
                ledger_document(
                    build_ledger(self.shop, kept, account, from_ms=from_ms, to_ms=to_ms)
                )
            )
            for kept in (store, self.journal)
        )
        yield from (f"the ledger differs: {what}" for what in _differences(expected, actual)[:3])
        histories = resume(self.shop, self.journal, to_ms).evaluator.histories()
        resumed = _figures(
            ledger_document(
                build_ledger(
                    self.shop,
                    self.journal,
                    account,
                    from_ms=from_ms,
                    to_ms=to_ms,
                    histories=histories,
                )
            )
        )
        found = _differences(expected["units"], resumed["units"])
        yield from (f"the daemon's memory differs: {what}" for what in found[:3])

    def concluded(self) -> Concluded:
        """Return what the batches come to in one undisturbed life."""
        return conclude(self.shop, self.run.commits, self.entries)

    def alarms(self) -> Iterator[str]:
        """Alarms and first words are those of one life without a crash, over the same arrivals.

        Where the daemon was away or could not write, an alarm is raised once it can be: later,
        by no longer than that took.
        """
        if self.zone_changes or self.clock_jumps:
            return
        expected = self.concluded()
        kept: Alarms = defaultdict(list)
        for row in self.journal.alarms_between(0, 2**53):
            kept[row.unit, row.rule].append((row.raised_ms, row.returned_ms))
        should: Alarms = defaultdict(list)
        for alarm in expected.alarms.values():
            should[alarm.key.unit, alarm.key.rule].append((alarm.raised_ms, alarm.returned_ms))
        late_ms = self._longest_away_ms()
        for key in kept.keys() | should.keys():
            if key[1] not in BY_PROCESS:
                yield from _late_by(key, sorted(should[key]), sorted(kept[key]), late_ms)
        if late_ms > SHORTLY_MS:
            return  # shelves and steps whose time has passed meanwhile are not made up for
        sent = Counter(
            (due.key.unit, due.key.rule, due.contact, due.about) for due in expected.sent
        )
        made = Counter(
            (row.unit, row.rule, row.contact, row.about)
            for row in self.journal.messages_between(0, 2**53)
        )
        for what in sorted(sent.keys() | made.keys(), key=str):
            counts = what[3] in FIRST_WORDS and what[1] not in BY_PROCESS
            if counts and sent[what] != made[what]:
                yield f"{made[what]} messages instead of {sent[what]}: {what}"

    def _longest_away_ms(self) -> int:
        times = [0, *(commit.t_ms for commit in self.run.commits)]
        return max(later - earlier for earlier, later in pairwise(times)) + MS_PER_MINUTE

    # --- who was told -------------------------------------------------------------------------

    def told(self) -> Iterator[str]:
        """What was put down for a contact reaches the phone; twice only where nobody can know."""
        connection = self.journal._connection
        outbox = {
            row[0]: row[1:]
            for row in connection.execute(
                "SELECT idempotency_key, id, contact, alarm_id, about, sent_ms, given_up_ms,"
                " error FROM outbox ORDER BY id"
            )
        }
        shown = Counter(
            one.row.idempotency_key for one in self.run.phones.shown if one.row.id > 0
        )  # a cry that nothing is recorded has no row in the outbox
        yield from self._shown_too_often(outbox, shown)
        latest: dict[tuple[str, str], str] = {}
        for key, row in outbox.items():
            if row[2] is not None:
                latest[row[1], row[2]] = key
            if row[4] is not None and key not in shown:
                yield f"{key} is marked as sent, and no phone showed it"
            if row[4] is None and row[5] is None:
                yield f"{key} still waits"
        last_words = dict.fromkeys(latest.values(), "the last word on its alarm")
        last_words |= {key: "a summary" for key, row in outbox.items() if row[3] == About.SUMMARY}
        for key, what in last_words.items():
            if key not in shown:
                yield f"{key}, {what}, was not shown"

    def _shown_too_often(self, outbox: dict[str, Any], shown: Counter[str]) -> Iterator[str]:
        lost = {one.row.idempotency_key for one in self.run.phones.shown if one.reply_lost}
        for one in self.run.phones.shown:
            key = one.row.idempotency_key
            if one.row.id > 0 and (key not in outbox or outbox[key][0] != one.row.id):
                yield f"{key} was shown and is not in the outbox"
        for key, count in shown.items():
            if count > 1 and key not in lost | self.run.unrecorded:
                yield f"{key} was shown {count} times, although its reply was not lost"

    def mornings(self) -> Iterator[str]:
        """Every local day that had its morning has one summary, sent once to each contact."""
        made = Counter(
            (row.at_ms, row.contact)
            for row in self.journal.messages_between(0, 2**53)
            if row.about is About.SUMMARY
        )
        for one, count in made.items():
            if count > 1:
                yield f"{count} summaries were made at once: {one}"
        days = self._days()
        if self.zone_changes or self.clock_jumps:
            return
        begun_ms = self.run.commits[0].told["watching_since_ms"]
        seen_ms = self.run.commits[-1].told["seen_until_ms"]
        day, due = local_day(begun_ms, self.shop.timezone), []
        while (at_ms := instant_ms(day, self.shop.summary_at, self.shop.timezone)) < seen_ms:
            if at_ms > begun_ms:
                due.append(day)
            day += timedelta(days=1)
        if days != due:
            yield f"summaries are of {[str(d) for d in days]}, due were {[str(d) for d in due]}"
        if len(made) != len(due):
            yield f"{len(made)} summaries were sent for {len(due)} mornings"

    def _days(self) -> list[Any]:
        rows = self.journal._connection.execute("SELECT date FROM summary ORDER BY date")
        return [date.fromisoformat(row[0]) for row in rows]

    # --- the file -----------------------------------------------------------------------------

    def file(self) -> Iterator[str]:
        """The file is sound, the chain of seals holds, and nothing grows without bound."""
        yield from (f"verify: {finding}" for finding in self.journal.verify())
        yield from (f"seals: {finding}" for finding in self.journal.check_seals())
        yield from (f"conclusions: {said}" for said in self.journal.check_conclusions())


def _late_by(
    key: tuple[str | None, Rule],
    should: Sequence[tuple[int, int | None]],
    kept: Sequence[tuple[int, int | None]],
    late_ms: int,
) -> Iterator[str]:
    """Compare alarms of one unit and rule, in their order."""
    if len(should) != len(kept):
        yield f"{len(kept)} alarms of {key}, expected {len(should)}: {kept}, {should}"
        return
    for expected, actual in zip(should, kept, strict=True):
        for one, other in zip(expected, actual, strict=True):
            if (one is None) != (other is None):
                yield f"an alarm of {key} is {actual}, expected {expected}"
            elif one is not None and other is not None and abs(other - one) > late_ms:
                yield f"an alarm of {key} is {other - one} ms off; was away {late_ms} ms"


def _of(entry: Any) -> str:
    facts = {
        name: getattr(entry, name)
        for name in entry.__dataclass_fields__
        if name not in ("entry_number", "entered_ms")
    }
    return f"{type(entry).__name__} {facts}"


def _figures(ledger: dict[str, Any]) -> dict[str, Any]:
    """Return what of a ledger the readings alone decide."""
    part: dict[str, Any] = json.loads(json.dumps(readings_part(ledger)))
    part["probes"].pop(UNSTAMPED)
    return part


def _differences(expected: Any, actual: Any, path: str = "") -> Sequence[str]:
    """Return where two values differ."""
    if isinstance(expected, dict) and isinstance(actual, dict):
        return [
            found
            for key in sorted(expected.keys() | actual.keys(), key=str)
            for found in _differences(
                expected.get(key, "(nothing)"), actual.get(key, "(nothing)"), f"{path}/{key}"
            )
        ]
    if isinstance(expected, list) and isinstance(actual, list) and len(expected) == len(actual):
        return [
            found
            for n, (one, other) in enumerate(zip(expected, actual, strict=True))
            for found in _differences(one, other, f"{path}/{n}")
        ]
    return [] if expected == actual else [f"{path}: {actual}, expected {expected}"]
