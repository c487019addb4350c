"""What the probes make of the truth: lag, offset, noise, rounding, silence, nonsense.

Pure, given the seed: no clock, no I/O.
"""

import json
import math
from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from rimewatch_sim.chance import stream
from rimewatch_sim.plant import History
from rimewatch_sim.scenario import ProbeModel, Scenario
from rimewatch_sim.schedule import Interval, ProbePlan, Silence
from rimewatch_sim.timeline import MS_PER_S, utc_text

_LATENCY_MS: Final = (80, 900)
"""How long a message is under way (plausible, no source)."""

_BACKLOG_BEGINS_MS: Final = 1500
_BACKLOG_EVERY_MS: Final = 50

_DAY_MS: Final = 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A message as it arrives."""

    at_ms: int
    topic: str
    payload: bytes


def lagged(celsius: "array[float]", *, step_s: float, lag_s: float) -> "array[float]":
    """Return what a sensor with a first-order lag shows, exact for straight lines between steps.

    For an input from a to b over h seconds, s = (b − a)/h:
    y1 = b − sτ + (y0 − a + sτ)·exp(−h/τ).
    """
    if lag_s == 0:
        return celsius
    decay = math.exp(-step_s / lag_s)
    seen = celsius[0]
    result = array("d", [seen])
    before = seen
    for now in celsius[1:]:
        trail = (now - before) / step_s * lag_s
        seen = now - trail + (seen - before + trail) * decay
        result.append(seen)
        before = now
    return result


def temperature_messages(
    scenario: Scenario, probe: ProbeModel, plan: ProbePlan, history: History, *, seed: int
) -> Iterator[Message]:
    """Yield a temperature probe's messages; a back-log comes after later readings."""
    truth = history.air_c if probe.measures == "air" else history.fish_c
    seen = lagged(truth, step_s=history.step_s, lag_s=probe.lag_s)
    chance = stream(seed, f"probe/{probe.id}")
    every_ms = probe.every_s * MS_PER_S
    first_ms = scenario.start_ms + chance.randrange(probe.every_s) * MS_PER_S
    step_ms = scenario.step_s * MS_PER_S
    codes = _Codes(plan)
    kept: dict[int, int] = {}
    frozen: float | str | None = None
    for at_ms in range(first_ms, scenario.end_ms, every_ms):
        noise = chance.gauss(0.0, probe.noise_c)
        late_ms = chance.randint(*_LATENCY_MS)
        index, rest_ms = divmod(at_ms - scenario.start_ms, step_ms)
        celsius = seen[index] + (seen[index + 1] - seen[index]) * (rest_ms / step_ms)
        value: float | str = _sent(celsius + probe.offset_c + noise, probe)
        if not any(one.holds(at_ms) for one in plan.stuck):
            frozen = value
        elif frozen is not None:
            value = frozen
        value = codes.at(at_ms) or value
        battery = _battery(plan, at_ms)
        if battery is not None and battery <= 0:
            continue
        silence = _silence(plan, at_ms)
        arrives_ms = at_ms + late_ms
        if silence is not None:
            if not silence.backlog:
                continue
            number = kept.get(silence.during.to_ms, 0)
            kept[silence.during.to_ms] = number + 1
            arrives_ms = silence.during.to_ms + _BACKLOG_BEGINS_MS + number * _BACKLOG_EVERY_MS
        payload = _payload(probe, value, clock_ms=_clock_ms(probe, plan, at_ms), battery=battery)
        yield Message(at_ms=arrives_ms, topic=probe.topic, payload=payload)
        if any(one.holds(at_ms) for one in plan.duplicates):
            yield Message(at_ms=arrives_ms + 5, topic=probe.topic, payload=payload)


def door_messages(
    scenario: Scenario,
    probe: ProbeModel,
    plan: ProbePlan,
    doors: tuple[Interval, ...],
    *,
    seed: int,
) -> Iterator[Message]:
    """Yield a door contact's messages: at every change, and every ``every_s`` besides."""
    chance = stream(seed, f"probe/{probe.id}")
    first_ms = scenario.start_ms + chance.randrange(probe.every_s) * MS_PER_S
    times = set(range(first_ms, scenario.end_ms, probe.every_s * MS_PER_S))
    for door in doors:
        times.update((door.from_ms, door.to_ms))
    number = 0
    frozen = False
    for at_ms in sorted(times):
        while number < len(doors) and doors[number].to_ms <= at_ms:
            number += 1
        is_open = number < len(doors) and doors[number].holds(at_ms)
        if any(one.holds(at_ms) for one in plan.stuck):
            is_open = frozen
        frozen = is_open
        if at_ms >= scenario.end_ms or _silence(plan, at_ms) is not None:
            continue
        payload = json.dumps({"open": is_open}) if probe.format == "json" else str(int(is_open))
        message = Message(at_ms=at_ms + _LATENCY_MS[0], topic=probe.topic, payload=payload.encode())
        yield message
        if any(one.holds(at_ms) for one in plan.duplicates):
            yield message


class _Codes:
    """Deals out fault codes to the readings they are for."""

    def __init__(self, plan: ProbePlan) -> None:
        self._faults = plan.faults
        self._left = [count for _, count, _ in plan.faults]

    def at(self, at_ms: int) -> str | None:
        for i, (from_ms, _, code) in enumerate(self._faults):
            if self._left[i] and at_ms >= from_ms:
                self._left[i] -= 1
                return code
        return None


def _silence(plan: ProbePlan, at_ms: int) -> Silence | None:
    """Return the silence an instant falls in; one that loses readings goes before."""
    found = [one for one in plan.silences if one.during.holds(at_ms)]
    return min(found, key=lambda one: (one.backlog, one.during.to_ms)) if found else None


def _sent(celsius: float, probe: ProbeModel) -> float:
    value = celsius * 1.8 + 32.0 if probe.scale == "F" else celsius
    return round(round(value / probe.resolution) * probe.resolution, 6) + 0.0  # no minus zero


def _battery(plan: ProbePlan, at_ms: int) -> int | None:
    """Return the whole percent left; None: the probe does not tell."""
    known = [one for one in plan.batteries if one[0] <= at_ms]
    if not known:
        return None
    from_ms, percent, per_day = known[-1]
    return math.floor(percent - per_day * (at_ms - from_ms) / _DAY_MS)


def _clock_ms(probe: ProbeModel, plan: ProbePlan, at_ms: int) -> int:
    """Return what the probe's own clock shows."""
    off_s = probe.clock_offset_s + sum(by_s for one, by_s in plan.clocks if one.holds(at_ms))
    return at_ms + off_s * MS_PER_S


def _payload(probe: ProbeModel, value: float | str, *, clock_ms: int, battery: int | None) -> bytes:
    if isinstance(value, str):  # a fault code, as the sensor gives it
        value = float(value)
        value = int(value) if math.isfinite(value) else value
    if probe.format == "number":
        return str(value).encode()
    fields: dict[str, Any] = {"t": value}
    if probe.stamped:
        fields["ts"] = utc_text(clock_ms)
    if battery is not None:
        fields["bat"] = battery
    return json.dumps(fields).encode()  # NaN as such: poor firmware sends it so
