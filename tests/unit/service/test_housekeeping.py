"""The journal is sealed, packed and thinned out as the service runs, a little at a time."""

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from handmade import ms, probe, shop, unit
from rimewatch.journal import Journal
from rimewatch.readings import Reading
from rimewatch.service.charts import Charts, charts_folder
from rimewatch.service.housekeeping import WAL_EVERY_MS, Housekeeping
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

SHOP = replace(
    shop(unit(), unit("freezer-1", "freezer"), probe(), probe("ice", "freezer-1")),
    keep_chilled_days=3,
    keep_frozen_days=5,
)
START_MS = ms("2026-03-02T06:00:00Z")  # midnight in Chicago


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """A journal with eight days of two probes."""
    with Journal.open(tmp_path / "journal.db") as opened:
        opened.add_readings(
            [
                Reading(
                    probe=ProbeId(name), observed_ms=at_ms, arrived_ms=at_ms, raw=2.0, value=2.0
                )
                for at_ms in range(START_MS, START_MS + 8 * MS_PER_DAY, 30 * 60_000)
                for name in ("air", "ice")
            ]
        )
        yield opened


def test_days_are_sealed_and_what_need_not_be_kept_is_thinned(journal: Journal) -> None:
    """After a day of looking now and then, everything is as it should be."""
    housekeeping = Housekeeping(journal, lambda: SHOP)
    now_ms = START_MS + 8 * MS_PER_DAY

    for _ in range(200):
        housekeeping.look(now_ms)
        now_ms += 60_000

    days = [row.day.day for row in journal.seal_rows() if row.kind == "day"]
    assert days == [2, 3, 4, 5, 6, 7, 8, 9]
    first_left = {
        name: (int(journal.span(ProbeId(name)).times_ms[0]) - START_MS) / MS_PER_H
        for name in ("air", "ice")
    }
    # The first UTC days that end no earlier than 3 and 5 days before now.
    assert first_left == {"air": 4 * 24 + 18, "ice": 2 * 24 + 18}
    assert journal.check_seals() == []
    assert journal.verify() == []


def test_packed_days_are_rolled_up_under_the_lag_of_the_day(journal: Journal) -> None:
    """A shop that changes a unit's lag has its long curves made anew."""
    behind = [shop(unit(lag_s=lag_s), probe()) for lag_s in (600, 1800)]
    current = behind[:1]
    housekeeping = Housekeeping(journal, lambda: current[0])
    now_ms = START_MS + 8 * MS_PER_DAY
    asked = (ProbeId("air"), START_MS, now_ms)

    def days(lag_s: float) -> int:
        kept = journal.governing_hours(asked[0], lag_s, 180_000.0, *asked[1:])
        return len(set((kept.hours // 24).tolist()))

    for _ in range(30):
        housekeeping.look(now_ms)
        now_ms += 60_000
    assert (days(600.0), days(1800.0)) == (6, 0)

    current[0] = behind[1]
    for _ in range(4):
        housekeeping.look(now_ms)
        now_ms += 60_000
    assert (days(600.0), days(1800.0)) == (0, 6)


def test_one_look_does_little(journal: Journal) -> None:
    """A reading that arrives meanwhile waits for a day at most, not for a week."""
    Housekeeping(journal, lambda: SHOP).look(START_MS + 8 * MS_PER_DAY + 2 * MS_PER_H)

    assert len(journal.seal_rows()) == 1
    assert len(journal.span(ProbeId("air"))) == 8 * 48


def test_pictures_of_messages_are_removed_after_a_week(journal: Journal, tmp_path: Path) -> None:
    """They are no part of the record, and nobody waits for them any more."""
    folder = charts_folder(tmp_path / "journal.db")
    folder.mkdir()
    now_ms = START_MS + 8 * MS_PER_DAY
    for name, days in (("old.png", 7.1), ("broken.png.part", 7.1), ("new.png", 6.9)):
        (folder / name).write_bytes(b"png")
        at_s = (now_ms - days * MS_PER_DAY) / 1000
        os.utime(folder / name, (at_s, at_s))
    (folder / "not ours.txt").write_text("kept")
    housekeeping = Housekeeping(journal, lambda: SHOP, Charts(folder))

    housekeeping.look(now_ms - WAL_EVERY_MS)
    assert len([*folder.iterdir()]) == 4
    housekeeping.look(now_ms)

    assert {path.name for path in folder.iterdir()} == {"new.png", "not ours.txt"}


def test_folder_without_pictures_is_no_trouble(journal: Journal, tmp_path: Path) -> None:
    """Most weeks have no alarm."""
    housekeeping = Housekeeping(journal, lambda: SHOP, Charts(tmp_path / "charts"))

    housekeeping.look(START_MS)
    housekeeping.look(START_MS + MS_PER_DAY)

    assert not (tmp_path / "charts").exists()
