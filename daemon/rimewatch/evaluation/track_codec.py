"""A channel's state as text, for a checkpoint, and back: exact to the last bit. Pure."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from rimewatch.evaluation.track import Track
from rimewatch.rules.stages import ALWAYS, Stage, stages_until
from rimewatch.rules.watch import (
    BreakReason,
    ChannelSettings,
    ChannelState,
    Spell,
    Watch,
    WatchKind,
)
from rimewatch.science.lag_run import Lagging

FORMAT: Final = 2


def to_text(track: Track) -> str:
    """Return a track's state and its spells as JSON.

    The settings are written as well: a state folded under other limits is of no use.
    """
    return json.dumps(
        {
            "format": FORMAT,
            "settings": _settings(track.settings),
            **_earlier(stages_until(track.stages, track.state.last_ms)),
            "first_ms": track.first_ms,
            "state": {
                "lag": None if track.state.lag is None else track.state.lag._asdict(),
                "open": [None if spell is None else asdict(spell) for spell in track.state.open],
            },
            "ended": [asdict(spell) for spell in track.ended],
        },
        separators=(",", ":"),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """What a checkpoint's text says of a channel."""

    stages: tuple[Stage, ...]
    """The settings that held up to its state, from when on each."""
    first_ms: int | None
    state: ChannelState
    ended: tuple[Spell, ...]

    @property
    def settings(self) -> ChannelSettings:
        """The settings that its state is of."""
        return self.stages[-1].settings


def from_text(text: str) -> Remembered | None:
    """Return what a checkpoint says; None: it is of another format, or none."""
    try:
        plain = json.loads(text)
        if plain["format"] != FORMAT:
            return None
        state = plain["state"]
        return Remembered(
            stages=_stages_of(plain),
            first_ms=plain["first_ms"],
            state=ChannelState(
                lag=None if state["lag"] is None else Lagging(**state["lag"]),
                open=tuple(None if s is None else _spell(s) for s in state["open"]),
            ),
            ended=tuple(_spell(spell) for spell in plain["ended"]),
        )
    except (KeyError, TypeError, ValueError, RecursionError):
        return None


def restore(track: Track, text: str) -> bool:
    """Put a track into a checkpoint's state.

    Returns:
        False where the checkpoint is of another format, was made under other settings or goes
        beyond the channel's end: the track is left as it is, and is to be folded from the start.
    """
    remembered = from_text(text)
    if remembered is None:
        return False
    expected = stages_until(track.stages, remembered.state.last_ms)
    if (remembered.state.last_ms or 0) >= track.seat.to_ms:
        return False  # it was found out since that the probe had been moved by then
    if _listed(remembered.stages) != _listed(expected):
        return False
    track.resume(remembered.state, list(remembered.ended), remembered.first_ms)
    return True


def _settings(settings: ChannelSettings) -> Any:  # noqa: ANN401 (plain JSON)
    # Through JSON once, so that what was read and what is written compare alike.
    return json.loads(json.dumps(asdict(settings)))


def _listed(stages: Sequence[Stage]) -> list[Any]:
    return [
        [None if stage.from_ms == ALWAYS else stage.from_ms, _settings(stage.settings)]
        for stage in stages
    ]


def _earlier(stages: Sequence[Stage]) -> dict[str, Any]:
    """Return what held before, where anything did: a channel that never changed says nothing."""
    if len(stages) == 1 and stages[0].from_ms == ALWAYS:
        return {}
    return {"earlier": _listed(stages)[:-1], "from_ms": stages[-1].from_ms}


def _stages_of(plain: dict[str, Any]) -> tuple[Stage, ...]:
    earlier = tuple(
        Stage(ALWAYS if from_ms is None else from_ms, _settings_of(settings))
        for from_ms, settings in plain.get("earlier", ())
    )
    return (*earlier, Stage(plain.get("from_ms", ALWAYS), _settings_of(plain["settings"])))


def _settings_of(plain: dict[str, Any]) -> ChannelSettings:
    return ChannelSettings(
        lag_s=plain["lag_s"],
        stale_ms=plain["stale_ms"],
        watches=tuple(
            Watch(**{**watch, "kind": WatchKind(watch["kind"])}) for watch in plain["watches"]
        ),
    )


def _spell(plain: dict[str, Any]) -> Spell:
    return Spell(
        **{
            **plain,
            "reason": BreakReason(plain["reason"]),
            "above": tuple((start, end) for start, end in plain["above"]),
        }
    )
