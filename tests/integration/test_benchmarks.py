"""The benchmarks run: each on next to no work, so that none of them rots.

What they measure is no test's business: figures differ from machine to machine. Each imports
what it alone needs, since some of it takes a second.
"""

import json
import math
import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[2] / "benchmarks"))

import harness

pytestmark = pytest.mark.integration


def assert_figures(rows: list[harness.Row], folder: Path) -> None:
    """Each row has figures that a machine can read back."""
    harness.write_json(rows, folder / "rows.json")
    written = json.loads((folder / "rows.json").read_text(encoding="utf-8"))
    assert [row["name"] for row in written] == [row.name for row in rows]
    for row in written:
        assert row["figures"], row["name"]
        assert all(math.isfinite(figure) and figure >= 0 for figure in row["figures"].values())
    shown = harness.show(rows)
    assert all(contender in shown for row in rows for contender in row.figures)


class TestEachRuns:
    def test_intake(self, tmp_path: Path) -> None:
        """A queue of forty, drained four ways."""
        import intake

        assert_figures([intake.at_window(20, 40, 1)], tmp_path)

    def test_latency(self, tmp_path: Path) -> None:
        """One alarm through the whole service."""
        import latency

        assert_figures(latency.run(rounds=1, samples=1, rates=(100,)), tmp_path)

    def test_pages(self, tmp_path: Path) -> None:
        """A few days of a few units, looked at by every length of time."""
        import page

        assert_figures(page.run(1, page.Scale(days=4, share=0.02), tmp_path), tmp_path)

    def test_fold(self, tmp_path: Path) -> None:
        """Some hours of readings, by each rule and by the other libraries."""
        import fold

        assert_figures(fold.run(rounds=1, count=200), tmp_path)

    def test_journal_and_years(self, tmp_path: Path) -> None:
        """Made quickly, it answers as the others do that hold the same readings."""
        import file_look
        import journal_queries
        import year_journal
        import years

        year = year_journal.make(tmp_path / "year.db", probes=3, days=3)

        assert years.fold_stored(year.path, 3, range(3)) == year.count
        assert_figures(journal_queries.run(year, rounds=1), tmp_path)
        assert_figures(file_look.run(year, rounds=1, window_s=0.1), tmp_path)

    def test_footprint(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Of the script alone: the service's own start is in the latency's."""
        import footprint

        monkeypatch.delitem(footprint.CONTENDERS, "rimewatch")

        assert_figures([footprint.start(rounds=1, probes=2)], tmp_path)
        assert_figures(footprint.at_rest(windows=1, sizes=(2,), window_s=0.1), tmp_path)

    def test_month(self, tmp_path: Path) -> None:
        """A day of one case."""
        import month

        found = month.live(tmp_path, days=1, probes=1)

        assert_figures([month.row_of(found, 1440)], tmp_path)

    def test_morning(self, tmp_path: Path) -> None:
        """Of one case."""
        import morning

        assert_figures(morning.run(rounds=1, units=(1,)), tmp_path)

    def test_growth(self, tmp_path: Path) -> None:
        """The writer on a few readings, at two scales."""
        import growth

        work = {scale: growth.writing(tmp_path, 4 * scale, 2) for scale in (1, 10)}

        assert_figures([growth.grow("the writer", work, rounds=1)], tmp_path)


class TestHarness:
    def test_contenders_take_turns_in_a_rotated_order(self) -> None:
        """What drifts hits each of them alike."""
        order: list[str] = []

        def once(name: str) -> harness.Timed:
            order.append(name)
            return harness.Timed(1.0, {"a": 0.5, "b": 0.25}[name])

        row = harness.compare(
            "work",
            "pieces/s",
            {"a": lambda: once("a"), "b": lambda: once("b")},
            rounds=2,
            before_round=lambda: order.append("ready"),
        )

        assert order == ["ready", "a", "b", "ready", "b", "a"]
        assert row.figures == {"a": 2.0, "b": 4.0}
        assert row.times_better("b") == 0.5

    def test_less_time_is_better(self) -> None:
        """Half the time of another is twice as good."""
        row = harness.Row("waiting", "ms", less_is_better=True)
        row.put_median("ours", [10.0, 20.0, 30.0])
        row.put_median("other", [40.0, 40.0, 40.0])

        assert row.times_better("other") == 2.0
        assert row.spread == {"ours": 0.5, "other": 0.0}

    def test_exponent_is_that_of_a_power_law(self) -> None:
        """Time that grows with the square of the work has the exponent 2."""
        seconds = {scale: 0.003 * scale**2 for scale in (1, 10, 100)}

        assert harness.exponent(seconds) == pytest.approx(2.0)
