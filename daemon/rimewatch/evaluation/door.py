"""The one door: every rule of business about an entry, and nothing decides beside it. Pure.

Whether an entry is well-formed its own declaration says (``rimewatch.entries``). Whether it can be
so, in this shop and with what is on the books, is said here: a page, a command, the broker's topic
and a trace ask the same question and get the same answer in the same sentence. What is refused has
no effect. What is on the books already is judged by whoever reads it, never refused.

Which alarm is on at an instant is no matter of the books: an alarm may be acknowledged that has
just returned, and one may be shelved that has not come yet.
"""

import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, Protocol
from zoneinfo import ZoneInfo

from rimewatch.entries import (
    AnyEntry,
    CalibrationCheck,
    CancelEntry,
    ChangeSettings,
    ConfirmPlace,
    CorrectiveAction,
    CorrectLot,
    CorrectPlace,
    LotEntry,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    StartThawing,
    StartTimeControl,
    WithdrawLot,
)
from rimewatch.evaluation.cancellations import Cancellable, cancelled, standing
from rimewatch.evaluation.lot_book import LotEntries, book, changes
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, LotId, Measures, ProbeId, Rule

OVER_SEVERAL: Final = (Rule.POWER_LOSS, Rule.STALE)
"""Rules whose alarm may be about several units at once, and then has none of its own."""

CLOCKS_APART_MS: Final = 300 * MS_PER_S
"""So far two people's clocks may be apart: as far as a reading's may be ahead."""

NEWEST_NAMED: Final = 5
"""So many lots are named where none of them is like the one that was meant (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """That an entry was not taken: when it was made, what it was to do, and why not."""

    at_ms: int
    do: str
    why: str
    """One sentence without its stop, with what would be right."""


class Books(Protocol):
    """What the door asks of the entries that are on the books."""

    def entries_about_lot(self, lot: LotId) -> Sequence[AnyEntry]:
        """Return a lot's entries, every cancellation and what was done, as they came."""

    def entry_numbered(self, number: int) -> AnyEntry | None:
        """Return an entry by its number; None: there is none."""

    def lots_here(self) -> Sequence[LotId]:
        """Return the lots that are not gone, in the order of their first entries."""


class BooksInMemory:
    """The entries of a replay, found by lot and by number."""

    def __init__(self) -> None:
        self._entries: list[AnyEntry] = []
        self._about: dict[LotId | None, list[AnyEntry]] = {}

    def add(self, entry: AnyEntry) -> None:
        """Put an entry on the books that was taken; it bears its number."""
        self._entries.append(entry)
        if isinstance(entry, LotEntry):
            self._about.setdefault(entry.lot, []).append(entry)
        elif isinstance(entry, CancelEntry | CorrectiveAction):
            self._about.setdefault(None, []).append(entry)

    def entries_about_lot(self, lot: LotId) -> list[AnyEntry]:
        """Return a lot's entries, every cancellation and what was done, as they came."""
        found = [*self._about.get(lot, ()), *self._about.get(None, ())]
        return sorted(found, key=lambda entry: entry.entry_number)

    def entry_numbered(self, number: int) -> AnyEntry | None:
        """Return an entry by its number; None: there is none."""
        return next((entry for entry in self._entries if entry.entry_number == number), None)

    def lots_here(self) -> list[LotId]:
        """Return the lots that are not gone, in the order of their first entries."""
        return lots_here(self._entries)


def lots_here(entries: Sequence[AnyEntry]) -> list[LotId]:
    """Return the lots that are not gone, in the order of their first entries."""
    return [lot for lot, told in book(entries).items() if told.withdrawn is None]


def is_known(entry: AnyEntry, known: Iterable[AnyEntry]) -> bool:
    """Return whether an entry is on the books already: it may be delivered twice.

    Only one that says when it was made can be told from a second like it.
    """
    bare = replace(entry, entered_ms=None)
    return any(
        type(other) is type(entry)
        and other.at_ms == entry.at_ms
        and replace(other, entered_ms=None) == bare
        for other in known
    )


SettingsFault = Callable[[ChangeSettings], str]
"""Says what is wrong with settings, in the sentence of a check of the file; empty: nothing is."""


def not_here(_entry: ChangeSettings) -> str:
    """Say that settings are not changed by this way."""
    return (
        "settings are not changed this way; edit the file, use rimewatch settings, or the page "
        "for settings"
    )


def check(
    entry: AnyEntry,
    shop: Shop,
    books: Books,
    now_ms: int,
    *,
    settings_fault: SettingsFault = not_here,
) -> Refusal | None:
    """Return why an entry cannot be taken; None: it can.

    The same entry delivered twice is no second one: it is not refused.

    Args:
        entry: A well-formed entry.
        shop: The shop as it is configured now.
        books: What is on the books before it.
        now_ms: When it is taken: now, its arrival, or its place in a trace.
        settings_fault: What is wrong with settings; without it they are not changed by this way.
    """
    asked = _Asked(entry, shop, books, now_ms, settings_fault)
    why = next((why for rule in _RULES for why in rule(asked)), None)
    return None if why is None else Refusal(at_ms=entry.at_ms, do=entry.do, why=why)


def no_such_lot(lot: LotId, books: Books) -> str | None:
    """Return that a lot is not on the books, with those that may be meant; None: it is."""
    if lot in book(books.entries_about_lot(lot)):
        return None
    here = books.lots_here()
    close = difflib.get_close_matches(lot, here, n=1)
    if close:
        cure = f"did you mean {close[0]}?"
    elif here:
        cure = f"the newest are {', '.join(here[-NEWEST_NAMED:])}"
    else:
        cure = "it has to be received first"
    return f'there is no lot "{lot[:80]}" on the books; {cure}'


def cannot_be_checked(shop: Shop, probe: ProbeId) -> str | None:
    """Return why a probe cannot be checked in ice; None: it can."""
    found = shop.probe.get(probe)
    if found is None:
        known = ", ".join(p.id for p in shop.probes if p.measures.is_temperature)
        return f'there is no probe "{probe[:80]}"; the configuration has {known}'
    if not found.measures.is_temperature:
        return f"{probe} measures {found.measures.value}; ice checks temperatures alone"
    return None


@dataclass(frozen=True, slots=True)
class _Asked:
    """An entry at the door."""

    entry: AnyEntry
    shop: Shop
    books: Books
    now_ms: int
    settings_fault: SettingsFault

    def told(self, lot: LotId) -> LotEntries | None:
        """Return what the books say of a lot."""
        return book(self.books.entries_about_lot(lot)).get(lot)

    def local(self, at_ms: float) -> str:
        """Return an instant on the shop's wall clock."""
        at = datetime.fromtimestamp(at_ms / MS_PER_S, ZoneInfo(self.shop.timezone))
        return f"{at:%Y-%m-%d %H:%M}"


# --- the rules, each a sentence or none ---------------------------------------------------


def _time_to_come(asked: _Asked) -> Iterator[str]:
    at_ms = asked.entry.at_ms
    if at_ms > asked.now_ms:
        yield f"{asked.local(at_ms)} is in the future; an entry says what was done"


def _unit(asked: _Asked) -> Iterator[str]:
    unit = getattr(asked.entry, "unit", None)
    if unit is not None and unit not in asked.shop.unit:
        yield f'there is no unit "{unit[:80]}"; the configuration has {", ".join(asked.shop.unit)}'


def _unit_of_an_alarm(asked: _Asked) -> Iterator[str]:
    entry = asked.entry
    rule = getattr(entry, "rule", None)
    if rule is not None and getattr(entry, "unit", "") is None and rule not in OVER_SEVERAL:
        over = " and ".join(OVER_SEVERAL)
        yield f'{entry.do}: "unit" is null; only {over} are alarms over several units'


def _lots(asked: _Asked) -> Iterator[str]:
    entry = asked.entry
    if isinstance(entry, ReceiveLot):
        return
    named = entry.lots if isinstance(entry, CorrectiveAction) else [getattr(entry, "lot", None)]
    for lot in named:
        if lot is not None and (why := no_such_lot(lot, asked.books)) is not None:
            yield why


def _received_once(asked: _Asked) -> Iterator[str]:
    """Fish that comes later bears no number of other fish: it would inherit what is proven of it.

    A number whose receipt was cancelled is free again, once nothing older under it counts.
    """
    entry = asked.entry
    if not isinstance(entry, ReceiveLot):
        return
    known = asked.books.entries_about_lot(entry.lot)
    told = book(known).get(entry.lot)
    if told is None or is_known(entry, known):
        return
    if told.received is not None:
        yield (
            f'lot "{entry.lot}" is on the books already; give other fish a number of its own, or '
            "correct what was said of this lot"
        )
    for other in standing(known):
        if isinstance(other, LotEntry) and other.at_ms < entry.at_ms - CLOCKS_APART_MS:
            yield (
                f'entry {other.entry_number} about lot "{entry.lot}" counts and is older than '
                "this receipt; cancel it as well, or say when the lot came in"
            )


def _place(asked: _Asked) -> Iterator[str]:
    entry = asked.entry
    if not isinstance(entry, StartFreezing | StartThawing):
        return
    freezes = isinstance(entry, StartFreezing)
    if asked.shop.unit[entry.unit].kind.is_freezer is not freezes:
        others = [unit.id for unit in asked.shop.units if unit.kind.is_freezer is freezes]
        is_what = (
            "is no freezer and freezes nothing" if freezes else "is a freezer and thaws nothing"
        )
        has = ", ".join(others) or "none: the shop has no such unit"
        yield f"{entry.unit} {is_what}; expected one of {has}"


def _probe(asked: _Asked) -> Iterator[str]:
    entry, shop = asked.entry, asked.shop
    if isinstance(entry, CalibrationCheck):
        why = cannot_be_checked(shop, entry.probe)
        if why is not None:
            yield why
    elif isinstance(entry, StartFreezing) and entry.probe is not None:
        own = [probe.id for probe in shop.probes_of(entry.unit, Measures.PRODUCT)]
        if entry.probe not in own:
            has = f"it has {', '.join(own)}" if own else "it has none"
            yield f'"{entry.probe[:80]}" is no product probe of {entry.unit}; {has}'


def _needed_in_time(asked: _Asked) -> Iterator[str]:
    entry = asked.entry
    if isinstance(entry, StartFreezing) and entry.needed_by_ms is not None:
        by_ms = entry.needed_by_ms
        if by_ms <= asked.now_ms:
            yield f"needed by {asked.local(by_ms)} is past; expected a time to come"


def _while_it_is_here(asked: _Asked) -> Iterator[str]:
    """Nothing is done with fish before it came in or after it was gone."""
    entry = asked.entry
    handled = MoveLot | StartFreezing | StartThawing | StartTimeControl | WithdrawLot
    if not isinstance(entry, handled) or entry.lot is None:
        return
    told = asked.told(entry.lot)
    if told is None or is_known(entry, asked.books.entries_about_lot(entry.lot)):
        return
    gone = told.withdrawn
    if gone is not None and gone.at_ms <= entry.at_ms:
        because = f" ({gone.reason[:80]})" if gone.reason else ""
        yield (
            f'lot "{entry.lot}" is gone since {asked.local(gone.at_ms)}{because}; if it is here, '
            f"cancel entry {gone.entry_number} first"
        )
    received = told.received
    if received is not None and entry.at_ms < received.at_ms - CLOCKS_APART_MS:
        yield (
            f'lot "{entry.lot}" came in at {asked.local(received.at_ms)}, after that; '
            "say when it was done"
        )


def _correction(asked: _Asked) -> Iterator[str]:
    entry = asked.entry
    if not isinstance(entry, CorrectLot):
        return
    told = asked.told(entry.lot)
    if told is None or told.received is None:
        yield f'nobody has received lot "{entry.lot}", so there is nothing to correct'
    if not changes(entry) and not entry.confirms_start:
        yield "nothing to correct was given; say what is right"
    if entry.confirms_start and not entry.who.strip():
        yield "who confirms when its freezing began is not said; name yourself"


def _cancellation(asked: _Asked) -> Iterator[str]:
    entry, books = asked.entry, asked.books
    if not isinstance(entry, CancelEntry):
        return
    number, target = entry.number, books.entry_numbered(entry.number)
    if target is None:
        yield f"there is no entry {number}; the record of a lot shows the numbers"
        return
    if not isinstance(target, Cancellable):
        yield f"entry {number} is not about a lot; what it did cannot be undone by this"
        return
    about = _crossed_out_at_last(target, books)
    if isinstance(about, CorrectiveAction):
        yield from _taken_back(entry, books)
    if about is None or isinstance(about, CorrectiveAction):
        return
    known = list(books.entries_about_lot(about.lot))
    if number in cancelled(known):
        yield f"entry {number} does not count already"
        return
    last = max(other.entry_number for other in known)
    after = [*known, replace(entry, entry_number=last + 1)]
    if _receipts(after) > max(1, _receipts(known)):
        yield (
            f'without entry {number}, two receipts of lot "{about.lot}" would count; cancel the '
            "other one first"
        )
    if _older_than_receipt(after) > _older_than_receipt(known):
        yield (
            f'without entry {number}, something would count of lot "{about.lot}" that is older '
            "than its receipt; cancel that receipt first"
        )


def _settings(asked: _Asked) -> Iterator[str]:
    if isinstance(asked.entry, ChangeSettings) and (why := asked.settings_fault(asked.entry)):
        yield why


def _place_corrected(asked: _Asked) -> Iterator[str]:
    entry, shop = asked.entry, asked.shop
    if not isinstance(entry, CorrectPlace):
        return
    if not entry.who.strip():
        yield "who says where the probe was is not said; name yourself"
    if not entry.from_ms < entry.to_ms <= asked.now_ms:
        yield "expected a time that is over, from before to"
    if entry.was == entry.unit:
        yield f"{entry.probe} was in {entry.unit} by the settings as well"
    for begins_ms, ends_ms, then in shop.held:
        if ends_ms <= entry.from_ms or begins_ms >= entry.to_ms:
            continue
        known = then.probe.get(entry.probe)
        if known is None or known.unit != entry.was:
            had = "no such probe" if known is None else f"{entry.probe} in {known.unit}"
            from_ms = max(begins_ms, entry.from_ms)
            yield f"at {asked.local(from_ms)} the settings had {had}, not in {entry.was[:80]}"


def _place_confirmed(asked: _Asked) -> Iterator[str]:
    entry, books = asked.entry, asked.books
    if not isinstance(entry, ConfirmPlace):
        return
    target = books.entry_numbered(entry.number)
    if not isinstance(target, CorrectPlace):
        yield f"entry {entry.number} says of no probe where it was"
    elif not entry.who.strip():
        yield "who confirms where the probe was is not said; name yourself"
    elif entry.who.strip().casefold() == target.who.strip().casefold():
        yield f"{entry.who.strip()} said so already; somebody else has to confirm it"


def _crossed_out_at_last(target: Cancellable, books: Books) -> LotEntry | CorrectiveAction | None:
    """Return what a row of cancellations is about; None: of an old journal, about nothing."""
    about = target
    while isinstance(about, CancelEntry):
        before = books.entry_numbered(about.number)
        if not isinstance(before, Cancellable) or about.number >= about.entry_number:
            return None  # it never crossed anything out
        about = before
    return about


def _taken_back(entry: CancelEntry, books: Books) -> Iterator[str]:
    """What was written down as done about fish is taken back by somebody with a name alone."""
    if not entry.who.strip():
        yield "who takes back what was written down as done is not said; name yourself"
    elif entry.number in cancelled(books.entries_about_lot(_NO_LOT)):
        yield f"entry {entry.number} does not count already"


_NO_LOT: Final = LotId("")
"""About no lot: what may be about any is there all the same."""


def _receipts(entries: Sequence[AnyEntry]) -> int:
    """Return how many receipts count; one delivered twice is one."""
    found = [entry for entry in standing(entries) if isinstance(entry, ReceiveLot)]
    return len({replace(entry, entered_ms=None) for entry in found})


def _older_than_receipt(entries: Sequence[AnyEntry]) -> int:
    """Return how many entries count that are older than the lot's receipt."""
    counted = [entry for entry in standing(entries) if isinstance(entry, LotEntry)]
    came_ms = [entry.at_ms for entry in counted if isinstance(entry, ReceiveLot)]
    if not came_ms:
        return 0
    return sum(entry.at_ms < min(came_ms) - CLOCKS_APART_MS for entry in counted)


_RULES: Final[Sequence[Callable[[_Asked], Iterator[str]]]] = (
    _time_to_come,
    _unit,
    _unit_of_an_alarm,
    _lots,
    _received_once,
    _place,
    _probe,
    _needed_in_time,
    _while_it_is_here,
    _correction,
    _cancellation,
    _settings,
    _place_corrected,
    _place_confirmed,
)
"""In this order; the first that has something to say says it."""
