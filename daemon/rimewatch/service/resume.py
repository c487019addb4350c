"""Where the journal ends, an evaluator goes on: after a restart, or beside the service.

Reads only. The service makes its evaluator here; so does a command or a page that
wants to know how things stand, from a reading connection of its own.
"""

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from rimewatch.alarms import codec
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.clock_note import ClockNote
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.ledger import Account
from rimewatch.evaluation.quarantine_tally import QuarantineTally
from rimewatch.evaluation.resumed import Resumed
from rimewatch.evaluation.track import Track
from rimewatch.journal.checkpoints import ALARM_STATE, EVALUATOR_STATE
from rimewatch.journal.conclusions import TRACK
from rimewatch.journal.entering import refusals_between
from rimewatch.journal.errors import reading_back
from rimewatch.journal.held_settings import with_history
from rimewatch.journal.quarantine import ROWS_KEPT
from rimewatch.journal.reader import JournalReads
from rimewatch.service.settings_log import changes_between
from rimewatch.shop import Shop
from rimewatch.vocabulary import ContactId, ProbeId

CLOCK_STATE: Final = "clock:"
"""With the probe's id behind it."""

MOST_ENTRIES: Final = 10_000_000


def address_marks(shop: Shop) -> dict[ContactId, int]:
    """Return a number for each contact that tells another set of addresses from it.

    Of 16 bits: enough to notice a change, and nobody guesses a secret address by it.
    """
    texts = {contact.id: "\n".join(contact.urls) for contact in shop.contacts}
    return {
        contact: int.from_bytes(hashlib.sha256(text.encode()).digest()[:2])
        for contact, text in texts.items()
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumedEvaluator:
    """An evaluator that knows what the journal holds."""

    evaluator: Evaluator
    entry_number: int
    """The last operator's entry it has taken in."""
    unproven_ms: Mapping[str, int] = field(default_factory=dict)
    """From when on checkpoints, by their name, are proven by nothing and were not used."""


def resume(
    shop: Shop,
    journal: JournalReads,
    now_ms: int,
    *,
    only_proven: bool = False,
    at_hand: bool = False,
) -> ResumedEvaluator:
    """Return an evaluator that goes on where the journal ends.

    Args:
        shop: The shop as it is configured now; the evaluator's knows what held before.
        journal: The journal; also where the evaluator finds readings again.
        now_ms: The present instant.
        only_proven: Go on from what a seal proves, and else fold the readings anew: the file
            may have been copied, restored or changed since it was last written here.
        at_hand: Without the entries of lots that are gone.
    """
    shop = with_history(shop, journal, now_ms)
    text = journal.load_state(EVALUATOR_STATE)
    if text is None:
        return ResumedEvaluator(evaluator=Evaluator(shop, journal, now_ms), entry_number=0)
    alarms = journal.load_state(ALARM_STATE)
    with reading_back(journal.path, "what the watch remembers"):
        memory = json.loads(text)
        entry_number: int = memory["entry_number"]
        seen_until_ms: int = memory["seen_until_ms"]
        watching_since_ms: int = memory["watching_since_ms"]
        batteries: dict[ProbeId, float] = memory["batteries"]
        standing = codec.from_json(alarms or "")
    with reading_back(journal.path, "what people entered"):
        entries = journal.entries_at_hand() if at_hand else journal.entries_after(0, MOST_ENTRIES)
    evaluator = Evaluator(
        shop,
        journal,
        max(now_ms, seen_until_ms),
        resumed=Resumed(
            alarms=standing,
            entries=[entry for number, entry in entries if number <= entry_number],
            watching_since_ms=watching_since_ms,
            seen_until_ms=seen_until_ms,
            batteries=batteries,
            # Earlier versions kept no marks: then nothing is known to have changed.
            new_addresses=[
                contact
                for contact, mark in address_marks(shop).items()
                if memory.get("addresses", {}).get(contact, mark) != mark
            ],
        ),
    )
    tracks = evaluator.past_tracks | evaluator.tracks
    names = {seat: f"{TRACK}{seat}" for seat in tracks}
    proven = journal.proven_checkpoints(names.values()) if only_proven else None
    for seat, track in tracks.items():
        if proven is None:
            _restore(track, names[seat], journal)
        elif (checkpoint := proven.get(names[seat])) is not None:
            track_codec.restore(track, checkpoint[1])
    evaluator.load()
    unproven_ms = (
        {}
        if proven is None
        else {name: proven[name][0] + 1 if name in proven else 0 for name in names.values()}
    )
    return ResumedEvaluator(evaluator=evaluator, entry_number=entry_number, unproven_ms=unproven_ms)


def _restore(track: Track, name: str, journal: JournalReads) -> None:
    """Put a channel into its newest checkpoint that was made under settings it has had.

    One that was made after a change, and before anybody knew of it, is none of its own.
    """
    names = dict.fromkeys((name, f"{TRACK}{track.probe.id}"))
    ends = [None, *(math.ceil(s.from_ms) for s in reversed(track.stages) if s.from_ms > -math.inf)]
    if not track.seat.lasts:
        ends.insert(1, math.ceil(track.seat.to_ms))
    for known in names:
        for before_ms in ends:
            checkpoint = journal.latest_checkpoint(known, before_ms)
            if checkpoint is not None and track_codec.restore(track, checkpoint[1]):
                return


def account_of(journal: JournalReads, evaluator: Evaluator, from_ms: int, to_ms: int) -> Account:
    """Return what a ledger of a period is made of, besides the readings."""
    kept = journal.quarantine_latest(ROWS_KEPT)
    tally = QuarantineTally()
    tally.add([item for item in reversed(kept) if from_ms <= item.arrived_ms <= to_ms])
    counted = tally.count
    if len(kept) == ROWS_KEPT:
        # More came than is kept in full: the counts know, to the hour.
        counted = max(counted, journal.quarantine_counts(from_ms, to_ms).total)
    return Account(
        entries=evaluator.entries,
        alarms=[codec.alarm_from_json(row.text) for row in journal.alarms_between(from_ms, to_ms)],
        messages=journal.messages_between(from_ms, to_ms),
        refused=refusals_between(journal, from_ms, to_ms),
        quarantined=counted,
        quarantine=tally.rows(),
        batteries=evaluator.batteries,
        clocks=clock_notes(evaluator.shop, journal),
        changes=changes_between(evaluator.shop, journal, evaluator.entries, from_ms, to_ms),
    )


def clock_notes(shop: Shop, journal: JournalReads) -> dict[ProbeId, ClockNote]:
    """Return what the journal knows of the probes' clocks."""
    texts = {probe.id: journal.load_state(f"{CLOCK_STATE}{probe.id}") for probe in shop.probes}
    with reading_back(journal.path, "what is known of the probes' clocks"):
        return {known: ClockNote.from_text(text) for known, text in texts.items() if text}
