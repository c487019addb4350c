"""A governing probe's cold, supposing that the air was warm wherever nobody saw it.

Behind a lagged air probe the ledger's figures suppose nothing of a gap: the lag goes on from the
warmer of its last value and the new reading, and a hold counts from there. Had the readings
not been lost, a warm spell in them might have been felt for a while yet. Here the lag goes
on from what the warmest air that the probe can believe would have made of it, so that what is
cold then is cold whatever happened. Pure.
"""

from rimewatch.evaluation.channels import ChannelHistory, settings_for
from rimewatch.evaluation.governing import WARM_UP_LAGS, span_with_warm_up
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules import channel
from rimewatch.rules.watch import BreakReason, ChannelState, WatchKind
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_S


def warmth_may_hide(history: ChannelHistory, zero_ms: float) -> bool:
    """Whether warmth in a gap could still be felt after the zero of a hold's count.

    Not without a lag, nor when it has had the time to forget (``WARM_UP_LAGS``).
    """
    settings = history.settings
    since_ms = zero_ms - WARM_UP_LAGS * settings.lag_s * MS_PER_S
    holds = {watch.name for watch in settings.watches if watch.kind is WatchKind.HOLD}
    return settings.lag_s > 0.0 and any(
        spell.watch in holds
        and (spell.reason is BreakReason.GAP or spell.gap_ms > 0.0)
        and (spell.end_ms is None or spell.end_ms > since_ms)
        for spell in history.ended
    )


def supposing_warmth(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: int
) -> ChannelHistory:
    """Fold a probe over a period, supposing the warmest air it can believe in every gap.

    Args:
        shop: The shop.
        store: Its readings.
        probe: A governing probe.
        from_ms: Start of the period; the lag is run up before it.
        to_ms: Its end.
    """
    settings = settings_for(shop.unit[probe.unit], probe)
    span = span_with_warm_up(store, probe.id, settings, from_ms, to_ms)
    known = span.times_ms <= to_ms
    times, values = span.times_ms[known], span.values[known]
    state, ended = channel.fold(
        settings, ChannelState(), times, values, unseen_c=probe.plausible_c[1]
    )
    return ChannelHistory(
        probe=probe,
        settings=settings,
        first_ms=int(times[0]) if len(times) else None,
        state=state,
        ended=tuple(ended),
    )
