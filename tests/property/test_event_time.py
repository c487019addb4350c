"""Event time: the ledger depends on what was measured when, not on how the messages came.

Whatever order, delay, batching and duplication they arrive with, the readings give
one ledger. Only who was told, and when, may depend on the arrivals.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from core_run import CoreRun, readings_part, run_core
from handmade import ONE_CONTACT, Paper, probe, shop, timed_probe, unit
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.channels import history_of, settings_for
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.track import Track
from rimewatch.intake.trace import TraceEntry, TraceMessage
from rimewatch.readings import Reading
from rimewatch.rules.channel import fold
from rimewatch.rules.watch import ChannelState
from rimewatch.shop import Seat, Shop
from rimewatch.vocabulary import ProbeId

START = "2026-03-02T15:00:00Z"
TOPICS = ("air", "corner", "cold", "door")
PROFILE = settings(deadline=None, max_examples=50)


@dataclass(frozen=True)
class Taken:
    """A reading that was taken: by which probe, when, and what it was."""

    topic: str
    taken_s: int
    value: float
    battery: int | None


@cache
def mixed_shop(lag_s: int = 600) -> Shop:
    """Return a shop with every kind of governing probe, on short delays."""
    keys: dict[str, Any] = {"every_s": 60, "stale_s": 180}
    return shop(
        unit("case-1", lag_s=lag_s, on_delay_s=300, operating_limit_c=3.3),
        unit("freezer-1", "freezer", lag_s=0, on_delay_s=60),
        timed_probe("air", **keys),
        timed_probe("corner", **keys),
        timed_probe("cold", "freezer-1", "product", uncertainty_c=0.0, **keys),
        timed_probe("door", measures="door", every_s=None),
        ONE_CONTACT.replace("repeat_s = 900", ""),
    )


def value_of(topic: str) -> st.SearchStrategy[float]:
    """Return values that cross a probe's lines often."""
    if topic == "door":
        return st.sampled_from([0.0, 1.0])
    around = [-20.4, -20.0, -19.9, -18.5, -17.0, -5.0] if topic == "cold" else []
    around = around or [1.0, 3.2, 4.4, 4.5, 5.0, 5.1, 7.0, 12.0]
    return st.sampled_from(around)


@st.composite
def nights(draw: st.DrawFn, topics: Sequence[str] = TOPICS) -> list[Taken]:
    """Return what was measured in some hours, in order of time, each probe and time once."""
    taken: list[Taken] = []
    for topic in topics:
        at_s = draw(st.integers(0, 200))
        for _ in range(draw(st.integers(1, 25))):
            battery = draw(st.sampled_from([None, 90, 14]))
            taken.append(Taken(topic, at_s, draw(value_of(topic)), battery))
            at_s += draw(st.sampled_from([1, 30, 60, 60, 60, 180, 181, 900, 4000]))
    return sorted(taken, key=lambda t: (t.taken_s, t.topic))


def message(paper: Paper, one: Taken, arrived_ms: int) -> TraceMessage:
    """Return a reading's message, arriving at an instant."""
    payload: dict[str, Any] = {"t": one.value, "ts": paper.at_ms(one.taken_s)}
    if one.topic == "door":
        payload["t"] = bool(one.value)
    if one.battery is not None:
        payload["bat"] = one.battery
    return TraceMessage(arrived_ms, one.topic, json.dumps(payload).encode())


def entries() -> list[TraceEntry]:
    """Return a lot that is frozen early and moved later."""
    paper = Paper(START).receive(0).freeze(30, "20C-24h")
    paper.do(1800, "move-lot", lot="L1", unit="case-1")
    paper.do(2400, "move-lot", lot="L1", unit="freezer-1")
    return entries_of(paper)


def entries_of(paper: Paper) -> list[TraceEntry]:
    """Return a paper's entries, read as a trace is."""
    return [line for line in paper.read() if isinstance(line, TraceEntry)]


def in_time(taken: Sequence[Taken]) -> list[TraceMessage | TraceEntry]:
    """Return the trace in which every message arrives when it was taken."""
    paper = Paper(START)
    lines: list[TraceMessage | TraceEntry] = [
        *entries(),
        *(message(paper, one, paper.at_ms(one.taken_s)) for one in taken),
    ]
    lines.sort(key=lambda line: line.at_ms)
    return lines


def as_it_came(
    taken: Sequence[Taken], delays_ms: Sequence[int], twice: Sequence[int]
) -> list[TraceMessage | TraceEntry]:
    """Return the trace in which each message is late by its own delay, and some come twice."""
    paper = Paper(START)
    lines: list[TraceMessage | TraceEntry] = list(entries())
    for n, one in enumerate(taken):
        arrived_ms = paper.at_ms(one.taken_s) + delays_ms[n % len(delays_ms)]
        lines.append(message(paper, one, arrived_ms))
        again_ms = twice[n % len(twice)]
        if again_ms:
            lines.append(message(paper, one, arrived_ms + again_ms))
    return sorted(lines, key=lambda line: line.at_ms)


def dated_by_arrival(taken: Sequence[Taken], run: CoreRun) -> bool:
    """Whether some message's own time was not believed: three in a row came as of a slow clock."""
    paper = Paper(START)
    known = {(one.topic, paper.at_ms(one.taken_s)) for one in taken}
    return any(
        (topic, int(at_ms)) not in known
        for topic in TOPICS
        for at_ms in run.store.span(ProbeId(topic), 0, 10**15).times_ms
    )


def folded_in_order(run: CoreRun, in_shop: Shop) -> dict[str, Any]:
    """Return the channels folded once over all the stored readings."""
    return {
        probe_id: history_of(in_shop, in_shop.probe[probe_id], run.store, 10**15)
        for probe_id in run.evaluator.tracks
    }


DELAYS_MS = st.lists(
    # −300 s is a clock as fast as is believed; the longest is half a day.
    st.sampled_from([0, 0, 1, 999, 1001, 45_000, 600_000, 7_200_000, 50_000_000, -300_000]),
    min_size=1,
    max_size=12,
)
TWICE_MS = st.lists(st.sampled_from([0, 0, 0, 1, 5000, 10**7]), min_size=1, max_size=7)
OLD_BATTERY_LAST = [Taken("air", 0, 1.0, 14), Taken("air", 60, 1.0, 90)]


@PROFILE
@given(taken=nights(), delays_ms=DELAYS_MS, twice=TWICE_MS)
@example(taken=OLD_BATTERY_LAST, delays_ms=[600_000, 0], twice=[0])
def test_any_arrival_gives_the_ledger_that_arrival_in_time_gives(
    taken: list[Taken], delays_ms: list[int], twice: list[int]
) -> None:
    """Delays of their own, in any order, some twice: one ledger, but for who was told.

    Unless they came as a clock's that cannot be: those, the arrival dates.
    """
    there = run_core(mixed_shop(), in_time(taken))
    here = run_core(mixed_shop(), as_it_came(taken, delays_ms, twice))
    assume(not dated_by_arrival(taken, here))

    assert readings_part(here.ledger) == readings_part(there.ledger)


@PROFILE
@given(
    taken=nights(), order=st.randoms(use_true_random=False), step_ms=st.sampled_from([0, 7, 3000])
)
def test_backlog_in_any_order_gives_the_ledger_that_arrival_in_time_gives(
    taken: list[Taken], order: Any, step_ms: int
) -> None:
    """Everything arrives two days later, shuffled, in one batch or in many."""
    paper = Paper(START)
    shuffled = list(taken)
    order.shuffle(shuffled)
    late: list[TraceMessage | TraceEntry] = list(entries())
    for n, one in enumerate(shuffled):
        late.append(message(paper, one, paper.at_ms(2 * 86_400) + n * step_ms))

    here = run_core(mixed_shop(), late)

    assert readings_part(here.ledger) == readings_part(
        run_core(mixed_shop(), in_time(taken)).ledger
    )


@PROFILE
@given(taken=nights(), delays_ms=DELAYS_MS, twice=TWICE_MS)
def test_channels_that_ran_through_late_readings_are_those_of_readings_in_order(
    taken: list[Taken], delays_ms: list[int], twice: list[int]
) -> None:
    """What the running service knows is what a fold over its whole store finds, to the bit."""
    run = run_core(mixed_shop(), as_it_came(taken, delays_ms, twice))

    assert run.evaluator.histories() == folded_in_order(run, mixed_shop())


@PROFILE
@given(taken=nights(topics=["air"]), cuts=st.lists(st.integers(0, 25), max_size=6))
def test_fold_resumed_from_json_anywhere_gives_the_same_spells(
    taken: list[Taken], cuts: list[int]
) -> None:
    """A restart at any reading, through the text of a checkpoint: nothing differs by a bit."""
    in_shop = mixed_shop()
    air = in_shop.probes[0]
    case = in_shop.units[0]
    store = MemoryStore()
    track = Track(Seat.of(case, air), store)
    for n, one in enumerate(taken):
        at_ms = one.taken_s * 1000
        store.add(
            Reading(
                probe=air.id, observed_ms=at_ms, arrived_ms=at_ms, raw=one.value, value=one.value
            )
        )
        if n in cuts:
            text = track_codec.to_text(track)
            track = Track(Seat.of(case, air), store)
            assert track_codec.restore(track, text)
            assert track_codec.to_text(track) == text
        track.take(at_ms, one.value)

    times, values = [t.taken_s * 1000 for t in taken], [t.value for t in taken]
    state, ended = fold(settings_for(case, air), ChannelState(), times, values)
    assert (track.state, track.ended) == (state, ended)


@PROFILE
@given(taken=nights(topics=["cold"]), first=st.integers(0, 299), count=st.integers(1, 20))
def test_gap_never_increases_what_is_credited(taken: list[Taken], first: int, count: int) -> None:
    """Readings that were lost prove nothing: a hold is never further for it."""
    keys: dict[str, Any] = {"every_s": 60, "stale_s": 180, "uncertainty_c": 0.0}
    one = shop(
        unit("freezer-1", "freezer"),
        unit("case-1"),
        timed_probe("cold", "freezer-1", "product", **keys),
        probe("end"),
    )
    paper = Paper(START).receive(0).freeze(0, "20C-24h")
    # Minutes become half-hours, with a reading each two of them, so that hours are credited.
    all_taken = [
        replace(t, taken_s=30 * t.taken_s + extra_s)
        for t in taken
        for extra_s in range(0, 30 if len(taken) == 1 else 1800, 150)
    ]
    all_taken = list({t.taken_s: t for t in all_taken}.values())
    all_taken.sort(key=lambda t: t.taken_s)
    begin, length = first % len(all_taken), count
    kept = [*all_taken[:begin], *all_taken[begin + length :]]
    end_s = all_taken[-1].taken_s + 1
    after = all_taken[begin + length :]
    resumes_s = after[0].taken_s if after else end_s
    if not kept or (begin > 0 and resumes_s - all_taken[begin - 1].taken_s <= 180):
        return  # what was left out is bridged by a straight line, or may still come: no gap
    tail = [TraceMessage(paper.at_ms(end_s), "end", b"2.0")]

    def credited(readings: Sequence[Taken]) -> float:
        lines = [message(paper, r, paper.at_ms(r.taken_s)) for r in readings]
        trace: list[TraceMessage | TraceEntry] = [*entries_of(paper), *lines, *tail]
        trace.sort(key=lambda line: line.at_ms)
        (lot,) = run_core(one, trace).ledger["lots"]
        return float(lot["credited_h"])

    assert credited(kept) <= credited(all_taken) + 1e-9


@PROFILE
@given(
    taken=nights(topics=["air", "corner"]),
    limits=st.lists(
        st.sampled_from([0.5, 3.2, 4.4, 4.5, 5.0]), min_size=2, max_size=2, unique=True
    ),
    lag_s=st.sampled_from([0, 300, 1200]),
)
def test_lower_limit_never_gives_less_time_above_it(
    taken: list[Taken], limits: list[float], lag_s: int
) -> None:
    """A stricter line never makes the same night look better."""
    keys: dict[str, Any] = {"every_s": 60, "stale_s": 180}
    low, high = (
        run_core(
            shop(
                unit("case-1", limit_c=limit_c, lag_s=lag_s),
                unit("freezer-1", "freezer"),
                timed_probe("air", **keys),
                timed_probe("corner", **keys),
                timed_probe("cold", "freezer-1"),
            ),
            in_time(taken),
        ).ledger["units"]["case-1"]
        for limit_c in sorted(limits)
    )

    assert low["above_limit_s"] >= high["above_limit_s"] - 0.001
    assert low["governing_above_limit_s"] >= high["governing_above_limit_s"] - 0.001


@PROFILE
@given(
    steps=st.lists(st.integers(-50, 120), min_size=1, max_size=30),
    lag_s=st.sampled_from([0, 900]),
)
def test_fahrenheit_and_celsius_probes_give_one_ledger(steps: list[int], lag_s: int) -> None:
    """The same temperatures, each in its own scale: tenths of a degree Celsius."""
    in_c, in_f = (
        Paper(START)
        .curve([(60 * n, round(0.1 * k * factor + start, 2)) for n, k in enumerate(steps)])
        .ledger(shop(unit(lag_s=lag_s, on_delay_s=120), probe(scale=scale)))
        for scale, factor, start in [("C", 1.0, 0.0), ("F", 1.8, 32.0)]
    )

    assert in_c == in_f
