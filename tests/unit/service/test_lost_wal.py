"""A disk that loses the tail of the write-ahead file, or all of it, after a power cut.

SQLite trusts a frame of the WAL by its checksums, which go on from frame to frame ("Database File
Format", section 4.2): what stands behind a gap is not read. So what is left are whole batches.
"""

import random
import shutil
import struct
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from test_conclusions import AIR, SHOP, START_MS, live

from rimewatch.clock import SteppedClock
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_H

HOURS = 60
AWAY_H = 5
FRAME_HEADER_BYTES = 24
WAL_HEADER_BYTES = 32
"""Source: SQLite, "Database File Format", sections 4.1 and 4.2."""


@dataclass(frozen=True)
class Cut:
    """What a power cut left: the file, its WAL, and what was acknowledged."""

    file: Path
    wal: bytes
    acknowledged_ms: list[int]


@pytest.fixture(scope="module")
def cut(tmp_path_factory: pytest.TempPathFactory) -> Cut:
    """Live through two days and a half, with the file moved on once, and cut the power."""
    path = tmp_path_factory.mktemp("before") / "rimewatch.db"
    with Journal.open(path) as journal:
        clock = SteppedClock(START_MS)
        writer = Writer(SHOP, journal, clock)
        live(writer, clock, 0, HOURS // 2)
        assert journal.checkpoint_wal()
        live(writer, clock, HOURS // 2, HOURS)
        times = [int(at_ms) for at_ms in journal.span(AIR).times_ms]
        file = path.with_name("at-the-cut.db")
        shutil.copyfile(path, file)
        wal = path.with_name("rimewatch.db-wal").read_bytes()
    assert len(times) == HOURS * 6
    return Cut(file, wal, times)


def frames(wal: bytes) -> list[int]:
    """Return where each frame of a WAL begins."""
    (page,) = struct.unpack_from(">I", wal, 8)
    return list(range(WAL_HEADER_BYTES, len(wal), FRAME_HEADER_BYTES + page))


def start_again(folder: Path, cut: Cut, wal: bytes | None) -> int:
    """Start with what is left, check all of it, and go on; return how many readings were left."""
    path = folder / "rimewatch.db"
    shutil.copyfile(cut.file, path)
    for end in ("-wal", "-shm"):
        path.with_name(f"rimewatch.db{end}").unlink(missing_ok=True)
    if wal is not None:
        path.with_name("rimewatch.db-wal").write_bytes(wal)
    with Journal.open(path) as journal:
        left = [int(at_ms) for at_ms in journal.span(AIR).times_ms]
        assert left == cut.acknowledged_ms[: len(left)], "whole batches, from the first on"
        assert journal.verify() == []
        assert journal.check_seals() == []
        assert journal.check_conclusions() == []
        clock = SteppedClock(START_MS + HOURS * MS_PER_H)
        writer = Writer(SHOP, journal, clock)
        live(writer, clock, HOURS + AWAY_H, HOURS + AWAY_H + 26)
        assert journal.verify() == []
        assert journal.check_seals() == []
        assert journal.check_conclusions() == []
        (history,) = [one for probe, one in writer.evaluator.histories().items() if probe == AIR]
        last_ms = left[-1] if left else START_MS
        assert any(
            spell.start_ms <= last_ms + 3 * MS_PER_H and (spell.end_ms or 0) > last_ms
            for spell in history.ended
        ), "the time that was lost proves no cold"
    return len(left)


def test_lost_tail_leaves_whole_batches_and_no_cold_that_was_not_seen(
    tmp_path: Path, cut: Cut
) -> None:
    """Cut anywhere, and at the ends of frames, with nothing or with garbage behind it."""
    dice = random.Random(20260302)
    starts = frames(cut.wal)
    places = [0, 7, WAL_HEADER_BYTES, *dice.sample(starts, 2), starts[-1]]
    places += [dice.randrange(len(cut.wal)) for _ in range(4)]
    left = []
    for place in places:
        behind = dice.randbytes(len(cut.wal) - place) if dice.random() < 0.5 else b""
        left.append(start_again(tmp_path, cut, cut.wal[:place] + behind))

    assert min(left) == HOURS // 2 * 6, "what the file itself holds is always left"
    assert len(set(left)) > 3, "it was cut in many places"


def test_hole_in_the_wal_leaves_what_stands_before_it(tmp_path: Path, cut: Cut) -> None:
    """A sector of zeros in the middle: nothing behind it is believed."""
    middle = len(cut.wal) // 2
    holed = cut.wal[:middle] + bytes(512) + cut.wal[middle + 512 :]

    assert HOURS // 2 * 6 < start_again(tmp_path, cut, holed) < HOURS * 6


def test_lost_wal_leaves_what_the_file_holds(tmp_path: Path, cut: Cut) -> None:
    """All of it gone: the hours since it was last moved are missing, and nothing else is."""
    assert start_again(tmp_path, cut, None) == HOURS // 2 * 6


def test_backup_of_yesterday_is_gone_on_with_and_proves_no_cold_since(
    tmp_path: Path, cut: Cut
) -> None:
    """What was acknowledged since it was made is missing, is said to be, and no hold goes on."""
    copy = tmp_path / "copy.db"
    with JournalReader.open(cut.file) as reader:
        reader.backup(copy)

    assert start_again(tmp_path, replace(cut, file=copy), None) == HOURS // 2 * 6
