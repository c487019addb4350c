"""Each number of a morning's summary, worked out again from the journal by plain SQL and numpy."""

import json
import re
import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handmade import ms
from rimewatch.evaluation.mornings import local_day
from rimewatch.journal.canonical import grouped
from written_night import write_night


@pytest.fixture(scope="module")
def morning(tmp_path_factory: pytest.TempPathFactory) -> tuple[sqlite3.Connection, dict[str, Any]]:
    """A night's journal, opened by plain sqlite3, and what its summary says."""
    path = tmp_path_factory.mktemp("night") / "journal.db"
    write_night(path, "2026-03-02T12:30:00Z", 24.2)
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    (page,) = connection.execute("SELECT page FROM summary WHERE date = '2026-03-03'").fetchone()
    return connection, json.loads(page)


FROM_MS, TO_MS = ms("2026-03-02T12:30:00Z"), ms("2026-03-03T12:30:00Z")


def series(connection: sqlite3.Connection, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return a probe's times in seconds and values, of the time of the summary."""
    rows = connection.execute(
        "SELECT observed_ms, milli FROM reading JOIN probe ON no = probe_no"
        " WHERE id = ? AND observed_ms BETWEEN ? AND ? ORDER BY observed_ms",
        (name, FROM_MS, TO_MS),
    ).fetchall()
    found = np.array(rows, dtype=np.float64)
    return (found[:, 0] - FROM_MS) / 1000, found[:, 1] / 1000


def fahrenheit(celsius: float) -> str:
    """Return a temperature as the shop reads it."""
    return f"{celsius * 1.8 + 32:.1f}"


def test_range_and_mean_are_those_of_the_readings(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """Lowest, highest and time-weighted mean, the gap left out, by the trapezium rule."""
    connection, page = morning
    for place, name in ((0, "air"), (1, "fish")):
        times_s, values = series(connection, name)
        seen = np.diff(times_s) <= 180
        lengths = np.diff(times_s)[seen]
        mean = float(((values[1:] + values[:-1])[seen] / 2 * lengths).sum() / lengths.sum())
        low, high = fahrenheit(values.min()), fahrenheit(values.max())

        assert f"{low} to {high} °F, mean {fahrenheit(mean)} °F" in page["units"][place]["range"]


def test_time_above_the_limit_is_that_of_the_crossings(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """Counted in a hundred thousand small steps, to the minute that the summary shows."""
    connection, page = morning
    times_s, values = series(connection, "air")
    fine = np.linspace(times_s[0], times_s[-1], 2_000_000)
    after = np.searchsorted(times_s, fine).clip(1, len(times_s) - 1)
    watched = times_s[after] - times_s[after - 1] <= 180
    above = (np.interp(fine, times_s, values) > 5.0) & watched
    minutes = round(float(above.mean()) * (times_s[-1] - times_s[0]) / 60)
    length = f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"

    assert f"above 41.0 °F for {length}" in page["units"][0]["lines"][0]
    assert minutes > 10


def test_unmonitored_time_is_the_gap_between_two_rows(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """By a window over the rows: every interval longer than the stale time."""
    connection, page = morning
    (gap_ms,) = connection.execute(
        "SELECT sum(gap) FROM (SELECT observed_ms - lag(observed_ms) OVER (ORDER BY observed_ms)"
        " AS gap FROM reading JOIN probe ON no = probe_no WHERE id = 'air'"
        " AND observed_ms BETWEEN ? AND ?) WHERE gap > 180000",
        (FROM_MS, TO_MS),
    ).fetchone()

    assert any(
        line.startswith(f"Unmonitored for {round(gap_ms / 60_000)} min")
        for line in page["units"][0]["lines"]
    )
    assert not any("Unmonitored" in line for line in page["units"][1]["lines"])


def test_doors_are_counted_from_their_rows(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """Openings, time in all and the longest, from the contact's own rows."""
    connection, page = morning
    rows = connection.execute(
        "SELECT observed_ms, milli FROM reading JOIN probe ON no = probe_no WHERE id = 'door'"
        " ORDER BY observed_ms"
    ).fetchall()
    lengths_s = [
        (shut - opened) / 1000 for (opened, _), (shut, _) in zip(rows[::2], rows[1::2], strict=True)
    ]

    assert [milli for _, milli in rows] == [1000, 0] * 3
    assert (
        f"Door opened {len(lengths_s)} times, {sum(lengths_s) / 60:.0f} min in all, "
        f"longest {max(lengths_s) / 60:.0f} min"
    ) in " ".join(page["units"][0]["lines"])


def test_the_warm_spell_its_alarm_and_its_action_are_those_on_the_books(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """Peak, who was told, how soon somebody answered, and what became of the fish."""
    connection, page = morning
    sections = {section["title"]: section["items"] for section in page["sections"]}
    _, values = series(connection, "air")
    (spell,) = sections["Excursions"]
    text = " ".join([spell["head"], *spell["lines"]])
    assert f"Peak {fahrenheit(values.max())} °F" in text
    assert "Moved the fish to the walk-in (lot L-1, fish kept" in text
    (alarm,) = [item for item in sections["Alarms"] if "too warm" in item["head"]]
    told_ms, sent = connection.execute(
        "SELECT min(at_ms), count(*) FROM message WHERE rule = 'holding' AND about <> 'returned'"
    ).fetchone()
    (answered_ms,) = connection.execute(
        "SELECT at_ms FROM entry WHERE do = 'acknowledge'"
    ).fetchone()
    said = " ".join(alarm["lines"])
    assert f"Answered after {round((answered_ms - told_ms) / 60_000)} min" in said
    assert ("messages in all" in said) == (sent > 1)


def test_what_was_not_believed_is_counted(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """As many as the journal has in quarantine."""
    connection, page = morning
    (count,) = connection.execute("SELECT count(*) FROM quarantine").fetchone()
    (section,) = [s for s in page["sections"] if s["title"] == "Messages not believed"]
    assert count == 1
    assert "1 message" in section["items"][0]["lines"][0]


def test_the_mail_carries_the_seal_of_the_day_before(
    morning: tuple[sqlite3.Connection, dict[str, Any]],
) -> None:
    """What has left the house cannot be changed with the journal."""
    connection, _ = morning
    day, seal = connection.execute(
        "SELECT day, seal FROM seal WHERE kind = 'day' ORDER BY number DESC LIMIT 1"
    ).fetchone()
    (body,) = connection.execute(
        "SELECT body FROM outbox WHERE about = 'summary' ORDER BY id DESC LIMIT 1"
    ).fetchone()

    assert day == "2026-03-02"
    assert body.endswith(f"\nSeal of Mon 2 March 2026: {grouped(seal, 4)}.")
    assert len(body) < 1000


@pytest.mark.parametrize(
    ("start", "day", "hours", "said"),
    [
        ("2026-03-07T12:30:00Z", "2026-03-08", 23, "this is 23 h, not 24 h"),
        ("2026-10-31T11:30:00Z", "2026-11-01", 25, "this is 25 h, not 24 h"),
    ],
)
def test_a_night_of_a_clock_change_says_how_long_it_was(
    tmp_path: Path, start: str, day: str, hours: int, said: str
) -> None:
    """An hour that is missing, or there twice, is named; its length is that of UTC."""
    path = tmp_path / "journal.db"
    write_night(path, start, hours + 0.1)
    connection = sqlite3.connect(path)
    (page,) = connection.execute("SELECT page FROM summary WHERE date = ?", (day,)).fetchone()
    sealed = [json.loads(text) for (text,) in connection.execute("SELECT text FROM seal")]
    connection.close()

    assert said in json.loads(page)["clock_note"]
    assert re.search(rf", {hours} h$", json.loads(page)["period"])
    assert local_day(ms(start), "America/Chicago").isoformat() == sealed[0]["day"]
