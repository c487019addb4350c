"""What was learned of a unit, in words. Pure."""

from typing import Final

from rimewatch.report.wording import duration, temperature
from rimewatch.rules.habits import Defrosts
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
