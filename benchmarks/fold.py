"""Fold: readings a second of the evaluator alone, against pandas and polars.

The others only compute the time above a limit and the first-order lag; ours also finds
excursions, peaks, on-delays, gaps and the breaks of freezing holds.
"""

import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
from harness import Row, Timed, compare

from rimewatch.config import load_shop
from rimewatch.evaluation.channels import history_of, settings_for
from rimewatch.journal import Journal, JournalReader
from rimewatch.readings import Reading
from rimewatch.rules.channel import fold
from rimewatch.rules.watch import ChannelState

YEAR = 525_600
START_MS = 1_767_225_600_000
LIMIT_C = 5.0
LAG_S = 1200.0

SHOP = """
[shop]
name = "Bench"
timezone = "UTC"
[broker]
url = "mqtt://127.0.0.1:1883"
[[unit]]
id = "u"
name = "Case"
kind = "display-case"
operating_limit_c = 3.3
[[probe]]
id = "p"
unit = "u"
measures = "air"
topic = "t"
"""


def curve(count: int = YEAR, *, restless: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Return a year of a case with six defrosts a day, jittered by some milliseconds.

    A restless one has defrosts that lift the fish over its early line each time.
    """
    random = np.random.default_rng(7)
    minutes = np.arange(count)
    times = START_MS + minutes * 60_000 + random.integers(0, 500, count)
    length = 18 if restless else 6
    defrost = np.where(minutes % 240 < length, 6.0, 0.0)
    celsius = (2.0 if restless else 1.0) + random.normal(0.0, 0.3, count) + defrost
    return times.astype(np.int64), np.round(celsius, 2)


def with_pandas(times: np.ndarray, celsius: np.ndarray) -> float:
    """Compute time above the limit and the lag with pandas."""
    frame = pd.DataFrame({"t": pd.to_datetime(times, unit="ms"), "c": celsius}).set_index("t")
    seconds = frame.index.to_series().diff().dt.total_seconds()
    left, right = frame["c"].shift(), frame["c"]
    high, low = np.maximum(left, right), np.minimum(left, right)
    share = ((high - LIMIT_C) / (high - low)).clip(0.0, 1.0).where(low < LIMIT_C, 1.0)
    above = (share * seconds).where(high > LIMIT_C, 0.0).sum()
    # pandas' own first-order lag for irregular times.
    halflife = pd.Timedelta(seconds=LAG_S * float(np.log(2)))
    lagged = frame["c"].ewm(halflife=halflife, times=frame.index).mean()
    return float(above) + float((lagged > LIMIT_C).mul(seconds.fillna(0.0)).sum())


def with_polars(times: np.ndarray, celsius: np.ndarray) -> float:
    """The same with polars."""
    frame = pl.DataFrame({"t": times, "c": celsius}).with_columns(
        pl.from_epoch("t", time_unit="ms").alias("time"),
        (pl.col("t").diff() / 1000).alias("s"),
        pl.col("c").shift().alias("left"),
    )
    high = pl.max_horizontal("c", "left")
    low = pl.min_horizontal("c", "left")
    share = pl.when(low < LIMIT_C).then(((high - LIMIT_C) / (high - low)).clip(0, 1)).otherwise(1)
    halflife = f"{round(LAG_S * float(np.log(2)))}s"
    out = frame.select(
        pl.when(high > LIMIT_C).then(share * pl.col("s")).otherwise(0.0).sum().alias("above"),
        ((pl.col("c").ewm_mean_by("time", half_life=halflife) > LIMIT_C) * pl.col("s"))
        .sum()
        .alias("lagged"),
    )
    return float(out["above"][0]) + float(out["lagged"][0])


def run(rounds: int = 5, count: int = YEAR) -> list[Row]:
    """Return the comparison in memory, and the probe-year from the journal."""
    shop = load_shop(SHOP)
    unit, probe = shop.units[0], shop.probes[0]
    settings = settings_for(unit, probe)
    times, celsius = curve(count)
    restless_times, restless_celsius = curve(count, restless=True)
    times_list, celsius_list = times.tolist(), celsius.tolist()

    def timed(work) -> float:  # noqa: ANN001
        work()
        return count

    in_memory = compare(
        f"Fold of {count:,} readings in memory",
        "readings/s",
        {
            "rimewatch, every level": lambda: timed(
                lambda: fold(settings, ChannelState(), times, celsius)
            ),
            "rimewatch, a restless year": lambda: timed(
                lambda: fold(settings, ChannelState(), restless_times, restless_celsius)
            ),
            "pandas, time above and lag": lambda: timed(lambda: with_pandas(times, celsius)),
            "polars, time above and lag": lambda: timed(lambda: with_polars(times, celsius)),
        },
        rounds=rounds,
    )
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as folder:
        path = Path(folder) / "journal.db"
        with Journal.open(path) as journal:
            for start in range(0, count, 20_000):
                journal.add_readings(
                    [
                        Reading(probe=probe.id, observed_ms=t, arrived_ms=t, raw=c, value=c)
                        for t, c in zip(
                            times_list[start : start + 20_000],
                            celsius_list[start : start + 20_000],
                            strict=True,
                        )
                    ]
                )
            while journal.compact(times_list[-1] + 10 * 86_400_000, 64) == 64:
                pass
        with JournalReader.open(path) as reader:

            def from_journal() -> Timed:
                began = time.perf_counter()
                history_of(shop, probe, reader, times_list[-1])
                return Timed(count, time.perf_counter() - began)

            stored = compare(
                f"One probe-year of {count:,} readings, from the journal to its excursions",
                "readings/s",
                {"rimewatch": from_journal},
                rounds=rounds,
            )
    return [in_memory, stored]
