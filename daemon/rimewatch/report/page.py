"""A summary in sentences, in the order in which they are read; no layout yet.

The text file, the mail and the push message all say what stands here, so that no
two of them can disagree. Pure.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from rimewatch.evaluation.ledger import Doors
from rimewatch.report import wording
from rimewatch.report.facts import State, Summary, UnitFacts
from rimewatch.report.sections import Section, sections
from rimewatch.rules.provisions import COLD_HOLDING_LIMIT_C
from rimewatch.shop import Unit
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Scale

CAUTIONS: Final = (
    "This is a record of what the probes measured; it is not a guarantee of food safety.",
    "The person in charge decides about the fish.",
    "Local codes and the licensed authority come first.",
)

STATE_WORDS: Final = {
    State.HELD: "held",
    State.NOT_PROVEN: "not proven",
    State.WARM: "got warm",
    State.UNWATCHED: "not watched",
    State.OUT_OF_SERVICE: "out of service",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitBlock:
    """One unit: a headline and a few lines below it."""

    name: str
    limit: str
    state: State
    state_word: str
    range: str
    lines: tuple[str, ...]
    has_chart: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Everything that is read, from top to bottom."""

    shop: str
    night: str
    period: str
    clock_note: str
    state: State
    verdict: tuple[str, ...]
    todos_title: str
    """To do today, and by whom: who is told first this morning."""
    todos: tuple[str, ...]
    units: tuple[UnitBlock, ...]
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]


def _length(milliseconds: int) -> str:
    """Return how long a summary's time is: whole hours, or minutes while there is not one."""
    if milliseconds < MS_PER_H:
        return wording.duration(milliseconds / MS_PER_S)
    return wording.whole_hours(milliseconds)


def page(summary: Summary) -> Page:
    """Return a summary in sentences."""
    period, zone = summary.period, summary.zone
    length = _length(period.to_ms - period.from_ms)
    begins = wording.local_moment(period.from_ms, zone)
    ends = wording.local_moment(period.to_ms, zone)
    return Page(
        shop=summary.shop_name,
        night=f"Night to {wording.local_day(period.to_ms, zone)}",
        period=f"{begins} to {ends}, {length}",
        clock_note=_clock_note(summary),
        state=summary.state,
        verdict=summary.verdict,
        todos_title="To do today"
        + (f", by {wording.joined(summary.on_call, most=3)}" if summary.on_call else ""),
        todos=tuple(todo.text for todo in summary.todos),
        units=tuple(_unit_block(summary, unit) for unit in summary.units),
        sections=tuple(sections(summary)),
        cautions=CAUTIONS,
    )


def _clock_note(summary: Summary) -> str:
    change_ms = summary.period.clock_change_ms
    if change_ms is None:
        return ""
    zone, period = summary.zone, summary.period
    before, after = wording.local(change_ms - 1, zone), wording.local(change_ms, zone)
    offset_before, offset_after = before.utcoffset(), after.utcoffset()
    assert offset_before is not None, "a zone always has an offset"
    assert offset_after is not None, "a zone always has an offset"
    moved = offset_after - offset_before
    elapsed_ms = period.to_ms - period.from_ms
    usual_ms = elapsed_ms + round(moved.total_seconds() * MS_PER_S)
    wall = after.replace(tzinfo=None) - moved  # as the clock showed it before it was changed
    way = "forward" if moved.total_seconds() > 0 else "back"
    by = wording.duration(abs(moved.total_seconds()))
    return (
        f"The clocks went {way} {by} at {wall:%H:%M} {wording.zone_name(before)}: "
        f"this is {wording.whole_hours(elapsed_ms)}, not {wording.whole_hours(usual_ms)}."
    )


def _unit_block(summary: Summary, facts: UnitFacts) -> UnitBlock:
    scale = summary.scale
    what = "Fish" if facts.has_product_probe else "Air"
    if facts.account.min_c is None or facts.account.max_c is None:
        span = "no readings"
    else:
        span = (
            f"{what} {wording.temperature_range(facts.account.min_c, facts.account.max_c, scale)}"
        )
        if facts.account.mean_c is not None:
            span += f", mean {wording.temperature(facts.account.mean_c, scale)}"
    return UnitBlock(
        name=facts.name,
        limit=f"limit {wording.temperature(facts.unit.limit_c, scale)}",
        state=facts.state,
        state_word=STATE_WORDS[facts.state],
        range=span,
        lines=tuple(_unit_lines(summary, facts)),
        has_chart=facts.has_chart,
    )


def _unit_lines(summary: Summary, facts: UnitFacts) -> Iterator[str]:
    if facts.account.readings:
        yield _above(summary, facts)
    if reason := limit_reason(facts.unit, summary.scale):
        yield f"{reason[0].upper()}{reason[1:].rstrip('.')}."
    if facts.account.out_of_service:
        yield f"Out of service: {_out_of_service(summary, facts)}."
    if checked := check_words(facts, summary.zone):
        yield checked
    if facts.account.missing_s > 0:
        yield f"Unmonitored for {wording.duration(facts.account.missing_s)}{_gaps(summary, facts)}."
    extras = []
    if facts.account.doors is not None:
        extras.append(_doors(facts.account.doors))
    if facts.account.defrosts:
        extras.append(f"{wording.counted(facts.account.defrosts, 'defrost')}.")
    if extras:
        yield " ".join(extras)


def check_words(facts: UnitFacts, zone: tzinfo) -> str:
    """Say that a unit's probe was being checked, so that its figures are of a bath as well.

    Lowest, highest and mean are of everything it measured; nobody can tell from its readings where
    the bath ends and the unit begins.
    """
    if not facts.checked:
        return ""
    times = [
        wording.local_moment(at_ms, zone) + (f" against {reference}" if reference else "")
        for at_ms, reference in facts.checked
    ]
    return (
        f"Its probe was being checked up to {wording.joined(times, most=4)}: what it measured "
        "then, such as the ice bath, counts in the lowest, the highest and the mean."
    )


def limit_reason(unit: Unit, scale: Scale) -> str:
    """Return by what reason a unit has a limit of its own; empty: it has none."""
    if not unit.laxer_because:
        return ""
    reason = wording.printable(unit.laxer_because)
    limit = f"limit {wording.temperature(unit.limit_c, scale)}"
    if not unit.kind.is_freezer and unit.limit_c > COLD_HOLDING_LIMIT_C:
        published = wording.temperature(COLD_HOLDING_LIMIT_C, scale)
        limit += f" in place of {published} (FDA Food Code 2022 3-501.16(A)(2))"
    return f"{limit}: {reason}"


def _above(summary: Summary, facts: UnitFacts) -> str:
    """Return how long a unit was above its limit, and what is meant by the unit's temperature."""
    limit = wording.temperature(facts.unit.limit_c, summary.scale)
    fish, air = facts.account.governing_above_limit_s, facts.account.above_limit_s
    who = _spoken_for(facts)
    if facts.probe:
        who = f"{who.rstrip(',')} at probe {facts.probe}"
    if fish > 0:
        line = f"{who} above {limit} for {wording.duration(fish)}"
    elif facts.state is State.HELD:
        line = f"{who} never above {limit}"
    else:
        line = f"{who} not above {limit} while measured"
    if facts.probe and facts.state is State.WARM and fish <= 0:
        line += "; another probe saw it warm"
    if who != "Air" and not facts.has_product_probe and air > 0:
        line += f"; air above it for {wording.duration(air)}"
    return f"{line}."


def _spoken_for(facts: UnitFacts) -> str:
    """Return what the governing temperature stands for: fish, an estimate of it, or bare air."""
    if facts.has_product_probe:
        return "Fish"
    return "Fish, as estimated from the air," if facts.unit.lag_s > 0 else "Air"


def _gaps(summary: Summary, facts: UnitFacts) -> str:
    if not facts.account.gaps:
        return ""
    day = summary.period.to_ms
    spans = [wording.local_span(*gap, summary.zone, day_of_ms=day) for gap in facts.account.gaps]
    return f": {wording.joined(spans, most=4)}"


def _out_of_service(summary: Summary, facts: UnitFacts) -> str:
    zone, day = summary.zone, summary.period.to_ms
    spans = [
        f"since {wording.local_time(start, zone, day_of_ms=day)}"
        if end is None
        else wording.local_span(start, end, zone, day_of_ms=day)
        for start, end in facts.account.out_of_service
    ]
    return wording.joined(spans, most=4)


def _doors(doors: Doors) -> str:
    if doors.openings == 0:
        return "Door never opened."
    text = f"Door opened {_times(doors.openings)}, {wording.duration(doors.open_s)} in all"
    if doors.openings > 1:
        text += f", longest {wording.duration(doors.longest_s)}"
    return f"{text}."


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
