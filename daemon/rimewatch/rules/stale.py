"""Rule ``stale``: a probe that has fallen silent. Missing data is never cold.

Silence is counted from the last reading's own time, so that it is raised at that time
plus the stale time. A probe whose clock is slow says every minute that its reading is
minutes old; counted like that it would be silent and back once a minute all night. So
the delay that several readings in a row have had in common is allowed for, up to the
stale time: readings older than that are no news of how cold it is now.
Pure.
"""

from math import ceil
from typing import Final, NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_S, ProbeId, Rule, Unread

LASTING_READINGS: Final = 4
"""A delay that so many readings in a row have had is the clock's, not a network's hiccup."""
ALIKE_MS: Final = 10_000
"""Delays that differ by no more than this are the same."""
LEAST_DELAY_MS: Final = 10_000
"""Shorter delays are the network's, and the contract's figure stands to the millisecond."""
GONE_GRACE_MS: Final = 20_000
"""Whoever was said to be gone may come back so soon without an alarm: a gateway that connects anew
dies and is born within seconds (our choice)."""


_UNREAD: Final = {
    Unread.FORMAT: 'messages arrive, but cannot be read as format "{format}"',
    Unread.ABSENT: "messages arrive on its topic, but without its value",
    Unread.DISBELIEVED: "values arrive, but are not believed",
    Unread.BIRTH: "messages arrive, but the birth that names their values does not",
}
"""What is said of a silent probe on whose topic there is no silence."""


class StaleState(NamedTuple):
    """When a probe last spoke, by its readings' own time, and how late its readings come."""

    probe: str
    stale_ms: int
    last_ms: int
    delayed: int = 0
    """How many readings in a row came late by about the same."""
    least_delay_ms: int = 0
    most_delay_ms: int = 0
    gone_ms: int | None = None
    """When whoever speaks for it said that it is gone; None: nobody has since it spoke."""
    format: str = ""
    unread: Unread | None = None
    """Why the latest message on its topic since it spoke gave no reading; None: none came."""
    unread_ms: int = 0

    @property
    def due_ms(self) -> int:
        """When the silence will have lasted for the stale time, or for a while after a death."""
        allowed_ms = self.least_delay_ms if self.delayed >= LASTING_READINGS else 0
        silent_ms = self.last_ms + self.stale_ms + min(allowed_ms, self.stale_ms)
        if self.gone_ms is not None:
            return min(silent_ms, self.gone_ms + GONE_GRACE_MS)
        return silent_ms


class StaleRule:
    """Raised at the last reading plus the stale time."""

    rule = Rule.STALE

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch every probe that is expected to speak by itself."""
        return probe.stale_s is not None

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> StaleState:  # noqa: ARG002
        """Count the silence from when watching began: a probe never heard is stale as well."""
        assert probe.stale_s is not None, "applies() was not asked"
        stale_ms = ceil(probe.stale_s * MS_PER_S)
        return StaleState(probe.id, stale_ms, at_ms, format=probe.format)

    def step(self, state: StaleState, sample: Sample) -> StaleState:
        """Take note of a reading."""
        if sample.at_ms <= state.last_ms:
            return state
        if sample.arrived_ms is None:
            return state._replace(last_ms=sample.at_ms, gone_ms=None, unread=None)
        delay_ms = sample.arrived_ms - sample.at_ms
        if delay_ms < LEAST_DELAY_MS:
            return StaleState(
                state.probe, state.stale_ms, sample.at_ms, 0, 0, 0, None, state.format
            )
        least_ms = min(delay_ms, state.least_delay_ms) if state.delayed else delay_ms
        most_ms = max(delay_ms, state.most_delay_ms)
        if most_ms - least_ms > ALIKE_MS:  # a backlog: each reading less late than the last
            return StaleState(
                state.probe,
                state.stale_ms,
                sample.at_ms,
                1,
                delay_ms,
                delay_ms,
                None,
                state.format,
            )
        return StaleState(
            state.probe,
            state.stale_ms,
            sample.at_ms,
            state.delayed + 1,
            least_ms,
            most_ms,
            None,
            state.format,
        )

    def leave_unread(self, state: StaleState, why: Unread, at_ms: int) -> StaleState:
        """Take note that a message on its topic gave no reading: it is silent, not gone."""
        return state._replace(unread=why, unread_ms=at_ms)

    def lose(self, state: StaleState, at_ms: int) -> StaleState:
        """Take note that the probe is gone: nobody need wait for its silence to last."""
        return state if state.gone_ms is not None else state._replace(gone_ms=at_ms)

    def finding(self, state: StaleState, now_ms: int) -> Finding | None:
        """Return that the probe is silent, once it has been for the stale time."""
        if now_ms < state.due_ms:
            return None
        if state.gone_ms is not None:
            detail = f"{state.probe} is gone: its node or device has said so"
            return Finding(since_ms=state.last_ms, detail=detail)
        if state.unread is not None and now_ms - state.unread_ms < state.stale_ms:
            return Finding(
                since_ms=state.last_ms,
                detail=f"{state.probe}: {_UNREAD[state.unread].format(format=state.format)}",
                unread=(ProbeId(state.probe), state.unread),
            )
        return Finding(since_ms=state.last_ms, detail=f"{state.probe} is silent")

    def due_ms(self, state: StaleState) -> int:
        """Return when the silence will have lasted for the stale time.

        Afterwards, when messages that give no reading will have stopped as well.
        """
        if state.unread is not None and state.unread_ms >= state.due_ms:
            return state.unread_ms + state.stale_ms
        return state.due_ms
