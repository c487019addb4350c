"""Fold: readings a second of the evaluator alone, by its rules, against pandas and polars.

The others only compute the time above a limit and the first-order lag; ours also finds
excursions, peaks, on-delays, gaps and the breaks of freezing holds.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import polars as pl
from harness import ROUNDS, Row, Timed, compare
from numpy.typing import NDArray

from rimewatch.config import load_shop
from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.readings import Reading
from rimewatch.rules.channel import fold
from rimewatch.rules.probe_rule import ProbeRule, Sample
from rimewatch.rules.probe_rules import PROBE_RULES
from rimewatch.rules.watch import ChannelSettings, ChannelState

YEAR = 525_600
START_MS = 1_767_225_600_000
LIMIT_C = 5.0
LAG_S = 1200.0

Times = NDArray[np.int64]
Celsius = NDArray[np.float64]
Curve = tuple[Times, Celsius]

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


def curve(count: int = YEAR, *, restless: bool = False) -> Curve:
    """Return a year of a case with six defrosts a day, jittered by some milliseconds.

    A restless one has defrosts that lift the fish over its operating limit each time.
    """
    random = np.random.default_rng(7)
    minutes = np.arange(count)
    times = START_MS + minutes * 60_000 + random.integers(0, 500, count)
    length = 18 if restless else 6
    defrost = np.where(minutes % 240 < length, 6.0, 0.0)
    celsius = (2.0 if restless else 1.0) + random.normal(0.0, 0.3, count) + defrost
    return times.astype(np.int64), np.round(celsius, 2)


def with_pandas(times: Times, celsius: Celsius) -> float:
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


def with_polars(times: Times, celsius: Celsius) -> float:
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


def settings_of_a_case() -> ChannelSettings:
    """Return how a display case's air is folded: both limits and the freezing options."""
    shop = load_shop(SHOP)
    return settings_for(shop.units[0], shop.probes[0])


def rule_sets(settings: ChannelSettings) -> dict[str, ChannelSettings]:
    """Return a channel's levels from one to all of them."""
    holding, operating, *holds = settings.watches
    return {
        "every level": settings,
        "the critical limit alone": replace(settings, watches=(holding,)),
        "both limits of a case": replace(settings, watches=(holding, operating)),
        "the freezing options alone": replace(settings, watches=tuple(holds)),
    }


def in_memory(rounds: int, count: int) -> list[Row]:
    """Return the fold against pandas and polars, and each set of levels by itself."""
    settings = settings_of_a_case()
    calm, restless = curve(count), curve(count, restless=True)

    def folding(one: ChannelSettings, of: Curve) -> Callable[[], float]:
        def work() -> float:
            fold(one, ChannelState(), *of)
            return count

        return work

    def other(compute: Callable[[Times, Celsius], float]) -> Callable[[], float]:
        def work() -> float:
            compute(*calm)
            return count

        return work

    against = compare(
        f"Fold of {count:,} readings in memory",
        "readings/s",
        {
            "rimewatch, every level": folding(settings, calm),
            "pandas, time above and lag": other(with_pandas),
            "polars, time above and lag": other(with_polars),
        },
        rounds=rounds,
    )
    contenders = {f"{name}, calm": folding(one, calm) for name, one in rule_sets(settings).items()}
    contenders["every level, a restless year"] = folding(settings, restless)
    contenders["both limits of a case, a restless year"] = folding(
        rule_sets(settings)["both limits of a case"], restless
    )
    sets = compare(f"Fold of {count:,} readings, by its levels", "readings/s", contenders,
                   rounds=rounds)  # fmt: skip
    return [against, sets]


def live(rounds: int, count: int) -> Row:
    """Return the evaluator as the service drives it, one reading at a time, by its rules."""
    shop = load_shop(SHOP)
    probe = shop.probes[0]
    times, celsius = curve(count)
    samples = [
        Reading(probe=probe.id, observed_ms=at, arrived_ms=at, raw=value, value=value)
        for at, value in zip(times.tolist(), celsius.tolist(), strict=True)
    ]

    def whole() -> float:
        store = MemoryStore()
        evaluator = Evaluator(shop, store, samples[0].arrived_ms)
        for reading in samples:
            evaluator.advance(reading.arrived_ms)
            store.add(reading)
            evaluator.observe(reading)
            evaluator.take_outcomes()
        return count

    def levels() -> float:
        settings, state = settings_for(shop.units[0], probe), ChannelState()
        for n in range(count):
            state, _ = fold(settings, state, times[n : n + 1], celsius[n : n + 1])
        return count

    def alone(rule: ProbeRule) -> Callable[[], float]:
        def work() -> float:
            state = rule.start(shop.units[0], probe, samples[0].arrived_ms)
            for reading in samples:
                at_ms = reading.observed_ms
                state = rule.step(state, Sample(at_ms, reading.value, arrived_ms=at_ms))
                rule.finding(state, at_ms)
                rule.due_ms(state)
            return count

        return work

    contenders: dict[str, Callable[[], float | Timed]] = {
        "every rule: the evaluator": whole,
        "levels alone": levels,
    }
    for rule in PROBE_RULES:
        if rule.applies(shop.units[0], probe):
            contenders[f"{rule.rule.value} alone"] = alone(rule)
    return compare(
        f"Evaluator on {count:,} readings, one at a time", "readings/s", contenders, rounds=rounds
    )


def run(rounds: int = ROUNDS, count: int = YEAR) -> list[Row]:
    """Return the comparisons in memory, and the evaluator as the service drives it."""
    return [*in_memory(rounds, count), live(rounds, max(10, count // 50))]
