"""What a probe's readings in melting ice show, for the command and for the page alike.

Reads only; tells no time. References: :mod:`rimewatch.science.ice_point`.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from rimewatch.entries import AnyEntry
from rimewatch.intake.offsets import Offsets, checks_of
from rimewatch.journal.reader import JournalReader, JournalReads
from rimewatch.rules.provisions import PROVISIONS
from rimewatch.science.ice_point import (
    DEFAULT_WINDOW_S,
    IcePointCheck,
    IcePointState,
    check_ice_point,
)
from rimewatch.shop import Probe
from rimewatch.vocabulary import MS_PER_S, Measures
from rimewatch.web.ice_page import IceSeen

BUSY_S: Final = 5.0
_ENTRIES_AT_ONCE: Final = 10_000


def accuracy(probe: Probe) -> tuple[float, str]:
    """Return by how much a probe may be off, °C, and where that stands."""
    is_product = probe.measures is Measures.PRODUCT
    key = "food-thermometer-accuracy" if is_product else "air-thermometer-accuracy"
    provision = PROVISIONS[key]
    assert isinstance(provision.value, float), "an accuracy is a number"
    source = provision.citation
    if provision.confidence != "read":
        source = f"{source}; {provision.confidence}"
    return provision.value, source


def window_s(probe: Probe) -> float:
    """Return how much of a probe's stay in the ice is judged, s: some of its readings at least."""
    return max(DEFAULT_WINDOW_S, 4.0 * (probe.every_s or 0.0))


def looked(
    probe: Probe, journal: JournalReads, entries: Iterable[AnyEntry], now_ms: int
) -> tuple[IcePointCheck, float]:
    """Return what the last minutes show without any offset, and the offset that holds now.

    Args:
        probe: The probe in the ice.
        journal: Has its readings.
        entries: Those with its earlier checks, in the order they were entered.
        now_ms: The present instant.

    Raises:
        JournalError: If the journal cannot be read.
    """
    offsets = Offsets(probe.offset_c)
    for entered in checks_of(entries, probe.id):
        if entered.offset_c is not None:
            offsets.add(entered.from_ms, entered.offset_c)
    from_ms = now_ms - round(window_s(probe) * MS_PER_S)
    span = journal.span(probe.id, from_ms, now_ms)
    plain_c = [
        value - offsets.at(int(at_ms))
        for at_ms, value in zip(span.times_ms, span.values, strict=True)
    ]
    accept_c, _ = accuracy(probe)
    checked = check_ice_point(span.times_ms, plain_c, window_s=window_s(probe), accept_c=accept_c)
    return checked, offsets.at(now_ms)


def ice_seen(path: Path, probe: Probe, now_ms: int) -> IceSeen:
    """Return what a page shows of a probe in the ice.

    Raises:
        JournalError: If the journal cannot be read.
    """
    with JournalReader.open(path, busy_s=BUSY_S) as journal:
        seen, offset_c = looked(probe, journal, _entries(journal), now_ms)
    accept_c, source = accuracy(probe)
    is_settled = seen.state in (IcePointState.ACCEPTED, IcePointState.REJECTED)
    off_c = None if seen.mean_c is None else round(seen.mean_c + offset_c, 3)
    return IceSeen(
        is_settled=is_settled,
        readings=seen.readings,
        shows_c=off_c,
        new_offset_c=None if seen.offset_c is None else round(seen.offset_c, 3),
        accept_c=accept_c,
        source=source,
        window_s=window_s(probe),
    )


def _entries(journal: JournalReads) -> Iterator[AnyEntry]:
    number = 0
    while found := journal.entries_after(number, _ENTRIES_AT_ONCE):
        number = found[-1][0]
        yield from (entry for _, entry in found)
