"""A governing probe's cold, supposing that the air was warm wherever nobody saw it.

Behind a lagged air probe the ledger's figures suppose nothing of a gap: the lag goes on from the
warmer of its last value and the new reading, and a hold counts from there. Had the readings
not been lost, a warm spell in them might have been felt for a while yet. Here the lag goes
on from what the warmest air that the probe can believe would have made of it, so that what is
cold then is cold whatever happened. Pure.
"""

from rimewatch.evaluation.channels import ChannelHistory, stages_for
from rimewatch.evaluation.governing import WARM_UP_LAGS, span_with_warm_up
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules.stages import fold
from rimewatch.rules.watch import BreakReason, ChannelState, WatchKind
from rimewatch.shop import Seat
from rimewatch.vocabulary import MS_PER_S


def warmth_may_hide(history: ChannelHistory, zero_ms: float) -> bool:
    """Whether warmth in a gap could still be felt after the zero of a hold's count.

    Not without a lag, nor when it has had the time to forget (``WARM_UP_LAGS``).
    """
    lag_s = max(stage.settings.lag_s for stage in history.stages)
    since_ms = zero_ms - WARM_UP_LAGS * lag_s * MS_PER_S
    watches = history.stages[-1].settings.watches
    holds = {watch.name for watch in watches if watch.kind is WatchKind.HOLD}
    return lag_s > 0.0 and any(
        spell.watch in holds
        and (spell.reason is BreakReason.GAP or spell.gap_ms > 0.0)
        and (spell.end_ms is None or spell.end_ms > since_ms)
        for spell in history.ended
    )


def supposing_warmth(store: ReadingStore, seat: Seat, from_ms: float, to_ms: int) -> ChannelHistory:
    """Fold a probe over a period, supposing the warmest air it can believe in every gap.

    Args:
        store: The shop's readings.
        seat: A governing probe where it stood.
        from_ms: Start of the period; the lag is run up before it.
        to_ms: Its end.
    """
    stages = stages_for(seat)
    span = span_with_warm_up(store, seat, stages, from_ms, to_ms)
    known = span.times_ms <= to_ms
    times, values = span.times_ms[known], span.values[known]
    hottest_c = max(stage.probe.plausible_c[1] for stage in seat.stages)
    state, ended = fold(stages, ChannelState(), times, values, unseen_c=hottest_c)
    return ChannelHistory(
        seat=seat,
        stages=stages,
        first_ms=int(times[0]) if len(times) else None,
        state=state,
        ended=tuple(ended),
    )
