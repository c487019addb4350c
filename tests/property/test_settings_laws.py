"""Laws of settings that change: what was before stays; three ways give one ledger."""

import itertools
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from changing_shop import lived, shop_from
from handmade import Paper, probe, unit
from rimewatch.config.changing import tables_of
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.rules import stages
from rimewatch.rules.stages import ALWAYS, Stage
from rimewatch.rules.watch import ChannelSettings, ChannelState, Spell, Watch, WatchKind

MINUTE_MS = 60_000
HEAD = (
    '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    '[broker]\nurl = "mqtt://127.0.0.1:1883"\n'
)


def channel_settings() -> st.SearchStrategy[ChannelSettings]:
    """Return settings of a channel: a limit or none, a freezing option's line, a lag, a silence."""

    def made(lag_s: float, stale_min: int, limit_c: float | None, hold_c: float) -> ChannelSettings:
        hold = Watch(
            name="hold:-20", kind=WatchKind.HOLD, open_above_c=hold_c, close_below_c=hold_c
        )
        limit = [
            Watch(
                name="freezer",
                kind=WatchKind.EXCURSION,
                open_above_c=limit_c,
                close_below_c=limit_c - 0.5,
                on_delay_ms=5.0 * MINUTE_MS,
            )
            for limit_c in (limit_c,)
            if limit_c is not None
        ]
        return ChannelSettings(lag_s=lag_s, stale_ms=stale_min * MINUTE_MS, watches=(*limit, hold))

    return st.builds(
        made,
        st.sampled_from([0.0, 600.0, 1200.0, 2_592_000.0]),
        st.sampled_from([3, 10, 60]),
        st.sampled_from([None, -18.0, -15.0, -10.0]),
        st.sampled_from([-20.3, -20.0, -21.0]),
    )


def readings() -> st.SearchStrategy[list[tuple[int, float]]]:
    """Return readings around the lines, some far apart."""
    step = st.tuples(
        st.sampled_from([1, 1, 2, 2, 5, 20, 90]), st.floats(-26.0, -8.0).map(lambda c: round(c, 1))
    )

    def timed(steps: list[tuple[int, float]]) -> list[tuple[int, float]]:
        times = itertools.accumulate(minutes for minutes, _ in steps)
        return [(at * MINUTE_MS, c) for at, (_, c) in zip(times, steps, strict=True)]

    return st.lists(step, min_size=2, max_size=60).map(timed)


def spells_of(
    held: tuple[Stage, ...], taken: list[tuple[int, float]]
) -> tuple[ChannelState, list[Spell]]:
    """Fold readings, all at once."""
    times, values = [at for at, _ in taken], [c for _, c in taken]
    return stages.fold(held, ChannelState(), times, values)


def to_the_microsecond(spell: Spell) -> Spell:
    """Return a spell without what arithmetic in another order may change."""
    assert spell.end_ms is not None, "it has ended"
    return replace(
        spell,
        start_ms=round(spell.start_ms, 3),
        end_ms=round(spell.end_ms, 3),
        sustained_ms=None if spell.sustained_ms is None else round(spell.sustained_ms, 3),
        peak_c=None if spell.peak_c is None else round(spell.peak_c, 9),
        above=tuple((round(start, 3), round(end, 3)) for start, end in spell.above),
    )


@settings(max_examples=300)
@given(
    before=channel_settings(),
    after=channel_settings(),
    taken=readings(),
    at_s=st.integers(0, 200 * 60),
)
def test_a_change_leaves_what_ended_before_it_as_it_was(
    before: ChannelSettings, after: ChannelSettings, taken: list[tuple[int, float]], at_s: int
) -> None:
    """And what lasted then had begun when it had; but for a silence that is a gap by either."""
    turn_ms = at_s * 1000
    unchanged, as_it_was = spells_of((Stage(ALWAYS, before),), taken)
    state, found = spells_of((Stage(ALWAYS, before), Stage(turn_ms, after)), taken)
    across = [
        (start, end) for (start, _), (end, _) in itertools.pairwise(taken) if start < turn_ms <= end
    ]
    silence_ms = across[0][1] - across[0][0] if across else 0
    if after.stale_ms < silence_ms <= before.stale_ms:
        return  # the shorter stale time makes that silence a gap
    # In a silence nothing is known of later than its first reading.
    known_ms = across[0][0] if silence_ms > before.stale_ms else turn_ms

    def over(spells: list[Spell]) -> list[Spell]:
        ended = [spell for spell in spells if spell.end_ms is not None and spell.end_ms < known_ms]
        return [to_the_microsecond(spell) for spell in ended]

    def begun(spells: list[Spell]) -> set[tuple[str, float]]:
        return {
            (spell.watch, round(spell.start_ms, 3))
            for spell in spells
            if spell.start_ms < known_ms and (spell.end_ms is None or spell.end_ms >= known_ms)
        }

    assert over(found) == over(as_it_was)
    lasting = [spell for spell in unchanged.open if spell is not None]
    still = [spell for spell in state.open if spell is not None]
    assert begun([*found, *still]) == begun([*as_it_was, *lasting])


@settings(max_examples=200)
@given(
    held=st.lists(channel_settings(), min_size=2, max_size=4),
    turns_s=st.lists(st.integers(1, 200 * 60), min_size=3, max_size=3, unique=True),
    taken=readings(),
    cuts=st.lists(st.integers(0, 60), max_size=6),
)
def test_however_readings_are_cut_into_calls_the_state_is_the_same(
    held: list[ChannelSettings],
    turns_s: list[int],
    taken: list[tuple[int, float]],
    cuts: list[int],
) -> None:
    """One by one or all at once, to the last bit."""
    froms = [ALWAYS, *(at_s * 1000.0 for at_s in sorted(turns_s))]
    over_time = tuple(Stage(at_ms, one) for at_ms, one in zip(froms, held, strict=False))
    expected = spells_of(over_time, taken)
    state, ended = ChannelState(), list[Spell]()
    edges = sorted({0, len(taken), *(cut for cut in cuts if cut < len(taken))})
    for first, after in itertools.pairwise(edges):
        part = taken[first:after]
        state, more = stages.fold(over_time, state, [at for at, _ in part], [c for _, c in part])
        ended.extend(more)

    assert (state, ended) == expected
    curve = stages.governing_curve(over_time, [at for at, _ in taken], [c for _, c in taken])
    assert curve[-1] == pytest.approx(state.governing_c, abs=1e-9)


TABLES = [
    HEAD + unit("freezer-1", "freezer", **more) + unit("case-1") + where
    for more in ({"lag_s": 0}, {"lag_s": 1200}, {"limit_c": -15.0, "operating_limit_c": -19.0})
    for where in (
        probe("a", "freezer-1") + probe("b", "case-1"),
        probe("b", "freezer-1") + probe("a", "case-1"),
        probe("a", "freezer-1", stale_s=3600, uncertainty_c=0.5) + probe("b", "freezer-1"),
        probe("a", "freezer-1", offset_c=-1.0) + probe("c", "case-1"),
    )
]


@st.composite
def stories(draw: st.DrawFn) -> tuple[Paper, str, list[int]]:
    """Return a trace with changes of settings, the settings it begins with, and restarts."""
    first = draw(st.sampled_from(TABLES))
    paper = Paper().receive(0).freeze(30, "20C-168h")
    at_s = 60
    for n in range(draw(st.integers(10, 40))):
        at_s += draw(st.sampled_from([20, 60, 60, 120, 900]))
        paper.say(at_s, draw(st.floats(-26, -12).map(lambda c: round(c, 1))), "a")
        paper.say(at_s + 1, draw(st.floats(1, 8).map(lambda c: round(c, 1))), "b")
        if n % 5 == 4 and draw(st.booleans()):
            settings_now = tables_of(draw(st.sampled_from(TABLES)))
            paper.do(at_s + draw(st.integers(2, 19)), "change-settings", settings=settings_now)
    restarts = draw(st.lists(st.integers(1, len(paper.lines) - 1), max_size=3))
    return paper, first, restarts


def said_of(ledger: dict[str, Any]) -> dict[str, Any]:
    """Return what follows from readings, entries and settings alone."""
    told = {key: ledger[key] for key in ("units", "lots", "refused")}
    told["changes"] = [
        {key: change[key] for key in ("at", "key", "before", "after")}
        for change in ledger["setting_changes"]
    ]
    return told


def raised_in(ledger: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return the alarms; a restart may see one return a reading later."""
    keys = ("unit", "rule", "raised", "returned")
    return sorted(tuple(str(alarm[key]) for key in keys) for alarm in ledger["alarms"])


@settings(
    max_examples=12,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(story=stories())
def test_a_replay_a_life_with_reloads_and_one_with_restarts_give_one_ledger(
    story: tuple[Paper, str, list[int]],
) -> None:
    """The same changes at the same instants, however they came."""
    paper, first, restarts = story
    lines = paper.read()
    replayed = ledger_document(replay(shop_from(first), lines, summaries=False).ledger)
    expected = said_of(replayed)
    for where in ((), restarts):
        with TemporaryDirectory() as folder:
            found = lived(Path(folder), shop_from(first), lines, restarts=where)
            assert said_of(found) == expected
        if not where:
            assert raised_in(found) == raised_in(replayed)
