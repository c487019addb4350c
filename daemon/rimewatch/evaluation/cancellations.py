"""Which entries count: those that no later entry has crossed out. Pure.

Nothing is ever taken from the books. An entry that should not have been made is
cancelled by a further one, and so can a cancellation be.
"""

from collections.abc import Mapping, Sequence

from rimewatch.entries import AnyEntry, CancelEntry, CorrectiveAction, LotEntry

Cancellable = LotEntry | CancelEntry | CorrectiveAction
"""What a later entry can cross out."""


def cancelled(entries: Sequence[AnyEntry]) -> Mapping[int, CancelEntry]:
    """Return the numbers of the entries that do not count, and what cancelled each.

    A cancellation reaches back only: the number it names must be an earlier entry's. It undoes
    what was said of lots, and what was written down as done about fish; an acknowledgement or
    another thing done stays.
    """
    kinds = {entry.entry_number: entry for entry in entries if entry.entry_number}
    found: dict[int, CancelEntry] = {}
    for entry in sorted(
        (entry for entry in entries if isinstance(entry, CancelEntry)),
        key=lambda entry: entry.entry_number,
        reverse=True,
    ):
        target = kinds.get(entry.number)
        if entry.entry_number in found or entry.number >= entry.entry_number:
            continue
        if isinstance(target, CorrectiveAction) and not entry.who.strip():
            continue  # what a person decided is taken back by one with a name alone
        if isinstance(target, Cancellable):
            found.setdefault(entry.number, entry)
    return found


def standing(entries: Sequence[AnyEntry]) -> list[AnyEntry]:
    """Return the entries that count, in the order given."""
    crossed_out = cancelled(entries)
    if not crossed_out:
        return list(entries)
    return [entry for entry in entries if entry.entry_number not in crossed_out]
