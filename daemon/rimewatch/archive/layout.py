"""Where in an archive what lies.

``ARCHIVE/shop=ID/probe=ID/month=YYYY-MM.parquet`` holds a probe's readings of a month
(UTC, by their own time), ``ARCHIVE/shop=ID/entries.parquet`` what people entered. The names
are those that other tools for partitioned Parquet understand. Pure but for listing folders.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from rimewatch.vocabulary import MS_PER_S, ProbeId

SHOP_ID: Final = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}")


class ArchiveError(Exception):
    """The archive cannot be written or read; the text says why."""


@dataclass(frozen=True, slots=True, order=True)
class Month:
    """A calendar month in UTC."""

    year: int
    month: int

    @classmethod
    def of(cls, at_ms: int) -> "Month":
        """Return the month of an instant."""
        at = datetime.fromtimestamp(at_ms // MS_PER_S, UTC)
        return cls(at.year, at.month)

    @classmethod
    def named(cls, text: str) -> "Month":
        """Return the month that :meth:`__str__` named."""
        year, month = text.split("-")
        return cls(int(year), int(month))

    def next(self) -> "Month":
        """Return the month after it."""
        return Month(self.year + self.month // 12, self.month % 12 + 1)

    @property
    def from_ms(self) -> int:
        """Its first instant."""
        return round(datetime(self.year, self.month, 1, tzinfo=UTC).timestamp()) * MS_PER_S

    @property
    def to_ms(self) -> int:
        """Its last millisecond."""
        return self.next().from_ms - 1

    def __str__(self) -> str:
        return f"{self.year:04}-{self.month:02}"


def shop_id(name: str) -> str:
    """Return a shop's name as a folder may bear it.

    >>> shop_id("Saltmarsh Row Fish")
    'saltmarsh-row-fish'
    """
    return re.sub(r"[^a-z0-9._-]+", "-", name.lower()).strip("-._")[:64]


def shop_folder(archive: Path, shop: str) -> Path:
    """Return where a shop's files lie.

    Raises:
        ArchiveError: If the id is none that a folder can bear.
    """
    if not SHOP_ID.fullmatch(shop):
        raise ArchiveError(
            f'"{shop}" is no id of a shop; expected letters a-z, digits, ".", "_" and "-"'
        )
    return archive / f"shop={shop}"


def readings_file(folder: Path, probe: ProbeId, month: Month) -> Path:
    """Return the file of a probe's month in a shop's folder."""
    return folder / f"probe={probe}" / f"month={month}.parquet"


def entries_file(folder: Path) -> Path:
    """Return the file of a shop's entries."""
    return folder / "entries.parquet"


def shops_in(archive: Path) -> list[str]:
    """Return the ids of the shops in an archive, in order."""
    return sorted(path.name.removeprefix("shop=") for path in archive.glob("shop=*/"))


def months_in(folder: Path) -> dict[Month, list[tuple[ProbeId, Path]]]:
    """Return each month's files in a shop's folder, by probe, in order."""
    found: dict[Month, list[tuple[ProbeId, Path]]] = {}
    for probe, path in sorted(_files(folder)):
        month = Month.named(path.stem.removeprefix("month="))
        found.setdefault(month, []).append((probe, path))
    return dict(sorted(found.items()))


def _files(folder: Path) -> Iterator[tuple[ProbeId, Path]]:
    for path in folder.glob("probe=*/month=*.parquet"):
        yield ProbeId(path.parent.name.removeprefix("probe=")), path
