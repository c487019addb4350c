"""What was learned of a unit, in words. Pure."""

from typing import Final

from rimewatch.report.wording import duration, temperature
from rimewatch.rules.habits import Defrosts
from rimewatch.rules.icing import Icing
from rimewatch.science.lag_measured import LagMeasured
from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, MS_PER_S, Scale

HALF_HOUR_MS: Final = 30 * MS_PER_MINUTE


def defrost_words(defrosts: Defrosts, scale: Scale) -> str:
    """Return what a unit's defrosts are like: how often, how long, how warm the air becomes.

    Lengths are from when the air rises until it turns, by five minutes.
    """
    if defrosts.every_ms is None:
        often = f"about {duration(defrosts.apart_ms / MS_PER_S)} apart"
    else:
        rounded_ms = max(round(defrosts.every_ms / HALF_HOUR_MS) * HALF_HOUR_MS, HALF_HOUR_MS)
        often = f"every {rounded_ms / MS_PER_H:g} h"
    shortest, longest = (round(length / MS_PER_MINUTE) for length in defrosts.rising_ms)
    long = f"{longest} min" if shortest == longest else f"{shortest} to {longest} min"
    return f"defrosts {often}, {long}, air to {temperature(defrosts.peak_c, scale)}"


def lag_words(lag: LagMeasured) -> str:
    """Return how far fish is behind its air, how sure that is, and what it rests on."""
    low_s, high_s = (duration(end) for end in lag.interval_s)
    return (
        f"fish is behind its air by about {duration(lag.lag_s)} ({low_s} to {high_s}), "
        f"from {duration(lag.hours * 3600.0)} in which both were measured"
    )


def icing_words(icing: Icing) -> str:
    """Return how a unit's defrosts have changed."""
    said = []
    if icing.longer_ms is not None:
        before, now = (duration(length / MS_PER_S) for length in icing.longer_ms)
        said.append(f"its defrosts last {now}, {before} some days ago")
    if icing.apart_ms is not None:
        before, now = (duration(length / MS_PER_S) for length in icing.apart_ms)
        said.append(f"its defrosts come every {now}, every {before} some days ago")
    return "; ".join(said)
