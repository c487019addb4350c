"""Rule ``projection``: the fish is on its way past its limit, and how long is left.

Asked only of a unit whose air has been out of its usual band for longer than any door
or defrost would keep it there. The fit and its honest intervals are
``science.approach``; this decides what is worth an alarm.

Pure: no clock, no I/O. A projection holds while nothing changes; it is no verdict on
the fish.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.rules.usual import Departure
from rimewatch.science.approach import FEWEST_READINGS, fit_approach
from rimewatch.science.time_to_reach import project_lagged
from rimewatch.vocabulary import MS_PER_MINUTE, MS_PER_S, Priority

OUT_FOR_MS: Final = 30 * MS_PER_MINUTE
"""A defrost that no schedule names lasts 20 to 25 minutes in most cases, and the air has
turned within half an hour (common practice, no source)."""

PATIENT_FOR_MS: Final = 60 * MS_PER_MINUTE
IN_HAND_S: Final = 45 * 60.0
"""Where more than the latter is left, nobody is told before the air has been out for the
former: the longest defrosts have turned by then, and there is time. Our choice, tried on plants
that the rules were not made beside (``benchmarks/trust.py``)."""

ASK_SHARE: Final = 0.1
ASK_EVERY_MS: Final = (MS_PER_MINUTE, 10 * MS_PER_MINUTE)
"""An estimate is made anew after this share of the time that the air has been out, no sooner
and no later than so long: readings of a tenth more time change it little."""

HORIZON_S: Final = 24 * 3600.0
"""What is a day away has time until the morning summary."""

RAISE_CHANCE: Final = 0.9
CLEAR_CHANCE: Final = 0.3
"""Raised when it is this likely that the limit is reached; taken back below the other."""

FIRM_S: Final = 2 * 3600.0
"""An estimate is firm when all of its interval lies within this time."""
SOON_S: Final = 3600.0
"""Whoever has less than this left is better woken, fish on record or not."""

MOST_READINGS: Final = 120
"""A longer rise is thinned to so many: the curve is smooth, and a fit costs milliseconds."""
NOISE_C: Final = 0.1
"""Of one reading; more scatter in the readings themselves counts instead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What comes if nothing changes."""

    left_s: float | None
    """Until the fish reaches its limit, the likeliest; None: not within a day."""
    latest_s: float | None
    chance: float
    rate_c_per_h: float
    """How fast the measured temperature rises now."""

    @property
    def foretold(self) -> bool:
        """Whether it is worth an alarm."""
        return self.chance >= RAISE_CHANCE and self.left_s is not None

    @property
    def dismissed(self) -> bool:
        """Whether an alarm that was raised is better taken back."""
        return self.chance < CLEAR_CHANCE

    def priority(self, *, fish_at_stake: bool) -> Priority | None:
        """Return ``high`` where it cannot wait; None: the usual one."""
        if self.latest_s is None:
            return None
        firm = self.latest_s <= FIRM_S
        if (firm and fish_at_stake) or self.latest_s < SOON_S:
            return Priority.HIGH
        return None


def may_ask(departure: Departure, at_ms: int) -> bool:
    """Whether the air has been out for long enough, and is not on its way back."""
    return at_ms - departure.rising_since_ms >= OUT_FOR_MS and not departure.recovering


def is_pressing(
    outlook: Outlook, departure: Departure, at_ms: int, *, limit_c: float, lag_s: float
) -> bool:
    """Whether what is foretold is to be told now, and not looked at for a while longer.

    Fish behind air that is below its limit itself is in no hurry.
    """
    if at_ms - departure.rising_since_ms >= PATIENT_FOR_MS:
        return True
    near = (outlook.left_s or 0.0) <= IN_HAND_S
    return near and (lag_s == 0.0 or departure.last_c > limit_c)


def ask_again_ms(departure: Departure, at_ms: int) -> int:
    """Return when an estimate made at an instant is worth making anew."""
    least_ms, most_ms = ASK_EVERY_MS
    out_ms = at_ms - departure.rising_since_ms
    return at_ms + min(max(round(ASK_SHARE * out_ms), least_ms), most_ms)


def foresee(
    times_ms: NDArray[np.int64],
    celsius: NDArray[np.float64],
    *,
    fish_c: float,
    lag_s: float,
    limit_c: float,
) -> Outlook | None:
    """Return when fish reaches its limit, by the readings since a rise began.

    Args:
        times_ms: Times of the readings, strictly increasing. # (n,)
        celsius: The air, or the product itself. # (n,)
        fish_c: The fish's temperature at the last reading, °C.
        lag_s: How far it is behind the readings; 0: they are the fish's own.
        limit_c: Its limit, °C.

    Returns:
        None with too few readings to say anything.
    """
    if len(times_ms) < FEWEST_READINGS:
        return None
    every = -(-len(times_ms) // MOST_READINGS)
    # Counted from the last one, which must be in it.
    times = times_ms[::-1][::every][::-1]
    values = celsius[::-1][::every][::-1]
    fit = fit_approach((times - times[0]) / MS_PER_S, values, noise_c=NOISE_C)
    reach = project_lagged(fit, fish_c=fish_c, lag_s=lag_s, limit_c=limit_c, horizon_s=HORIZON_S)
    return Outlook(
        left_s=reach.likely_s,
        latest_s=reach.latest_s,
        chance=reach.chance,
        rate_c_per_h=fit.rate_c_per_h,
    )
