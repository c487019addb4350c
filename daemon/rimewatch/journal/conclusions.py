"""Folds the readings again, and holds what was concluded of them against it.

What the evaluator remembers of a channel (when it was too warm, when the cold of a freezing hold
was lost) is derived, and lies beside the readings. Whoever takes one spell out of it turns a
broken hold into a proven one, with every page and every reading sound. So a check reads all
readings of each channel once more, under the settings that are remembered with it.

Left out of the comparison, since it cannot be made again: what lies around an instant at which
the clock was set back (which is on the record), and what began before the first reading that is
still there. Changes nothing.
"""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np

from rimewatch.evaluation.track_codec import Remembered, from_text
from rimewatch.journal.readings import MILLI, span_millis
from rimewatch.rules.stages import fold
from rimewatch.rules.watch import ChannelState, Spell
from rimewatch.shop import MOVED
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S

TRACK: Final = "track:"
"""Checkpoints of a probe's channel, with its id behind it."""
AROUND_MS: Final = 2 * MS_PER_DAY
"""How much is left out on either side of what cannot be made again (our choice)."""
_FOLD_BATCH: Final = 200_000

_Key = tuple[str, int, int | None, int, str, int | None]


@dataclass(frozen=True, slots=True)
class _Kept:
    """One checkpoint."""

    at_ms: int
    remembered: Remembered


@dataclass(frozen=True, slots=True)
class _Blind:
    """What is not compared."""

    before_ms: float
    around: tuple[tuple[float, float], ...]

    def hides(self, spell: Spell) -> bool:
        end_ms = float("inf") if spell.end_ms is None else spell.end_ms
        return spell.start_ms < self.before_ms or any(
            spell.start_ms < to_ms and end_ms > from_ms for from_ms, to_ms in self.around
        )


def findings(connection: sqlite3.Connection) -> list[str]:
    """Return what is remembered otherwise than the readings say, in words; one a channel.

    Args:
        connection: A connection in a transaction, or the only one.
    """
    around = _set_back(connection)
    return [
        found
        for number, probe in connection.execute("SELECT no, id FROM probe ORDER BY id").fetchall()
        for name in _names(connection, probe)
        if (kept := _kept(connection, name))
        and (found := _of_probe(connection, number, probe, kept, around))
    ]


def _names(connection: sqlite3.Connection, probe: str) -> list[str]:
    """Return the names of a probe's channels: where it is, and where it was before."""
    first, after = f"{TRACK}{probe}{MOVED}", f"{TRACK}{probe}{chr(ord(MOVED) + 1)}"
    before = connection.execute(
        "SELECT DISTINCT name FROM checkpoint WHERE name >= ? AND name < ? ORDER BY name",
        (first, after),
    )
    return [f"{TRACK}{probe}", *(name for (name,) in before)]


def _kept(connection: sqlite3.Connection, name: str) -> list[_Kept]:
    """Return a channel's checkpoints of this version, those that the newest goes on from."""
    found = [
        _Kept(at_ms, remembered)
        for at_ms, text in connection.execute(
            "SELECT at_ms, text FROM checkpoint WHERE name = ? ORDER BY at_ms", (name,)
        )
        if (remembered := from_text(text)) is not None
    ]
    stages = found[-1].remembered.stages if found else ()
    return [one for one in found if one.remembered.stages == stages[: len(one.remembered.stages)]]


def _set_back(connection: sqlite3.Connection) -> tuple[tuple[float, float], ...]:
    around = []
    for at_ms, detail in connection.execute(
        "SELECT at_ms, detail FROM event WHERE what = 'clock set back'"
    ):
        words = detail.split()
        by_ms = float(words[1]) * MS_PER_S if len(words) == 3 else 0.0
        around.append((at_ms - AROUND_MS, at_ms + by_ms + AROUND_MS))
    return tuple(around)


def _of_probe(
    connection: sqlite3.Connection,
    number: int,
    probe: str,
    kept: Sequence[_Kept],
    around: tuple[tuple[float, float], ...],
) -> str:
    stages = kept[-1].remembered.stages
    begins_ms = max(0.0, stages[0].from_ms)  # before, it stood elsewhere
    times_ms, millis = span_millis(connection, number, int(begins_ms), kept[-1].at_ms)
    values_c = millis / MILLI
    is_thinned = connection.execute(
        "SELECT 1 FROM reading_hour WHERE probe_no = ? LIMIT 1", (number,)
    ).fetchone()
    first_ms = int(times_ms[0]) if times_ms.size else None
    blind = _Blind(
        float("-inf") if is_thinned is None or first_ms is None else first_ms + AROUND_MS, around
    )
    state, ended, start = ChannelState(), list[Spell](), 0
    for checkpoint in kept:
        end = int(np.searchsorted(times_ms, checkpoint.at_ms, side="right"))
        while start < end:
            upto = min(start + _FOLD_BATCH, end)
            state, found = fold(stages, state, times_ms[start:upto], values_c[start:upto])
            ended.extend(found)
            start = upto
        wrong = _compared(checkpoint, first_ms if is_thinned is None else None, state, ended, blind)
        if wrong:
            return f"what is remembered of {probe} at {_when(checkpoint.at_ms)}: {wrong}"
    return ""


def _compared(
    kept: _Kept, first_ms: int | None, state: ChannelState, ended: list[Spell], blind: _Blind
) -> str:
    remembered = kept.remembered
    if first_ms is not None and remembered.first_ms != first_ms:
        return "it does not begin with the first reading"
    said = Counter(map(_key, _seen([*remembered.ended, *remembered.state.open], blind)))
    shown = Counter(map(_key, _seen([*ended, *state.open], blind)))
    lacking, invented = list((shown - said).elements()), list((said - shown).elements())
    if lacking:
        return f"it lacks {_told(lacking)}, which the readings show"
    if invented:
        return f"it holds {_told(invented)}, which the readings do not show"
    return ""


def _seen(spells: Sequence[Spell | None], blind: _Blind) -> list[Spell]:
    return [spell for spell in spells if spell is not None and not blind.hides(spell)]


def _key(spell: Spell) -> _Key:
    """Return what must be alike: times to the second, temperatures to the hundredth."""

    def second(at_ms: float | None) -> int | None:
        return None if at_ms is None else round(at_ms / MS_PER_S)

    return (
        spell.watch,
        round(spell.start_ms / MS_PER_S),
        second(spell.end_ms),
        round(spell.peak_c * 100),
        spell.reason.value,
        second(spell.sustained_ms),
    )


def _told(keys: list[_Key]) -> str:
    watch, start_s, end_s, *_ = min(keys, key=lambda key: key[1])
    until = "on" if end_s is None else f"to {_when(end_s * MS_PER_S)}"
    more = f" and {len(keys) - 1} more" if len(keys) > 1 else ""
    return f"the spell {watch} from {_when(start_s * MS_PER_S)} {until}{more}"


def _when(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / MS_PER_S, tz=UTC).strftime("%Y-%m-%d %H:%M:%SZ")
