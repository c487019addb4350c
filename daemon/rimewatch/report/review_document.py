"""A review as a document: its sentences and rows, for every way of laying it out. Pure."""

from collections.abc import Iterator
from typing import Final

from rimewatch.report import wording
from rimewatch.report.document import (
    Block,
    Column,
    Document,
    Heading,
    Paragraph,
    SmallPrint,
    Table,
    Tone,
)
from rimewatch.report.page import CAUTIONS
from rimewatch.report.review import Review, Stretch, UnitReview, worst_doors
from rimewatch.report.sections import RULES
from rimewatch.science.duty_cycle import DutyCycle
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, Measures, Priority

_COLUMNS: Final = (
    Column(title="Mean", share=0.9, align="R"),
    Column(title="Kinetic", share=0.9, align="R"),
    Column(title="Over limit", share=1.1, align="R"),
    Column(title="Over operating limit", share=1.9, align="R"),
    Column(title="Door open", share=1.1, align="R"),
    Column(title="Cooling", share=1.4, align="R"),
    Column(title="Defrost rise", share=1.3, align="R"),
    Column(title="Unmonitored", share=1.3, align="R"),
)
EXPLANATIONS: Final = tuple(
    """\
Kinetic: the one temperature that would have done as much; never below the mean. Defrost rise: \
how far and how long the air rises in a scheduled defrost, in degrees times minutes; a growing \
one may mean ice on the coil.
Cooling: how much of the time the air fell, and how many cycles an hour, in hours that neither a \
door nor a defrost disturbed; estimated from the swings of the air, the nearer to one half the \
surer, and a change looks smaller than it is. Nothing stands there where the air does not swing: \
a compressor may be regulated otherwise, or run without a rest.
A trend is named only where it is certain at 95 %; days that resemble one another widen its \
interval.
Benchmarks for alarms are those of IEC 62682 and ISA-18.2 for a plant's control room. A shop \
should come nowhere near them.""".splitlines()
)
STEADY_C_A_WEEK: Final = 0.1
"""A trend below this is told as steady, however certain: probes drift as much (our choice)."""
STEADY_SHARE: Final = 0.05
"""A compressor's share that changed by less of itself is told as steady (our choice)."""
_NOTHING: Final = "–"


def review_document(review: Review) -> Document:
    """Return a review as a document."""
    begins, ends = (wording.local_day(at, review.zone) for at in (review.from_ms, review.to_ms - 1))
    return Document(
        shop=wording.printable(review.shop_name),
        title=f"{review.first:%B %Y}" if review.is_month else f"Week to {ends}",
        when=(f"{begins} to {ends}, {_length(review)}, beside the {_what(review)}s before",),
        blocks=tuple(_blocks(review)),
        made=wording.local(review.to_ms, review.zone),
    )


def _blocks(review: Review) -> Iterator[Block]:
    first = Column(title="Month" if review.is_month else "Week from", share=1.3)
    for item in review.units:
        yield Heading(text=wording.printable(item.unit.name))
        yield from (Paragraph(text=note) for note in _notes(review, item))
        rows = tuple(_row(review, item, week) for week in item.stretches)
        yield Table(columns=(first, *_COLUMNS), rows=rows, newest_last=True)
    for title, texts in (
        ("Alarms", _alarms(review)),
        ("Worst doors", _doors(review)),
        ("Probe checks", _checks(review)),
    ):
        if told := tuple(Paragraph(text=text) for text in texts):
            yield Heading(text=title)
            yield from told
    yield Heading(text="How to read this")
    yield from (Paragraph(text=text, tone=Tone.QUIET) for text in EXPLANATIONS)
    yield SmallPrint(texts=CAUTIONS)


def _what(review: Review) -> str:
    return "month" if review.is_month else "week"


def _length(review: Review) -> str:
    """Return days, and hours where a change of the clock made them more or fewer."""
    days = (review.last - review.first).days + 1
    hours = (review.to_ms - review.from_ms) / MS_PER_H
    said = f"{days} days"
    return said if hours == days * 24 else f"{said} of {hours:g} h in all"


def _notes(review: Review, item: UnitReview) -> Iterator[str]:
    if item.measures is None:
        yield "No probe measures it."
        return
    what = "fish" if item.measures is Measures.PRODUCT else "air"
    found = item.daily_mean
    if found is None:
        yield f"Too few days to tell a trend of its {what}."
    else:
        low, slope, high = (
            _degrees(review, value * 7) for value in (found.low, found.slope, found.high)
        )
        unit = f"°{review.scale.value} a week"
        if max(abs(found.low), abs(found.high)) * 7 < STEADY_C_A_WEEK:
            yield f"Its {what} is steady: {slope} {unit} ({low} to {high})."
        elif not found.is_certain:
            yield f"No certain trend of its {what}: {low} to {high} {unit}."
        elif abs(found.slope * 7) < STEADY_C_A_WEEK:
            yield f"Its {what} is steady: {slope} {unit} ({low} to {high})."
        elif found.slope > 0:
            yield (
                f"Its {what} gets warmer: {slope} {unit} ({low} to {high}). Have its cooling "
                "looked at before it fails."
            )
        else:
            yield f"Its {what} gets colder: {slope} {unit} ({low} to {high})."
    rises = [
        week.defrost_rise_c_min for week in item.stretches if week.defrost_rise_c_min is not None
    ]
    if len(rises) >= 3 and rises[-1] > 1.25 * rises[0] and rises[-1] > rises[-2] > rises[0]:
        yield (
            f"Its defrosts warm the air by {(rises[-1] / rises[0] - 1) * 100:.0f} % more than in "
            f"the first {_what(review)} shown: look for ice on the coil."
        )
    yield from _compressor(review, item)
    last = item.stretches[-1]
    if last.above_limit_s > 0:
        yield f"Above its critical limit for {wording.duration(last.above_limit_s)} in all."
    if last.unmonitored_s > 0:
        yield f"Unmonitored for {wording.duration(last.unmonitored_s)}."
    yield from _beside(review, item)


def _compressor(review: Review, item: UnitReview) -> Iterator[str]:
    """Tell how much the compressor runs, beside the month before, or four weeks ago."""
    earlier = item.stretches[-2 if review.is_month else 0].duty
    when = "the month before" if review.is_month else "four weeks ago"
    now = item.stretches[-1].duty
    if now is None:
        if earlier is not None:
            yield (
                "Its air does not swing as it did: its compressor may run without a rest. Have it "
                "looked at."
            )
        return
    runs = f"{_share(now)} of undisturbed time, {now.cycles_an_hour:.1f} cycles an hour"
    if earlier is None:
        yield f"Its compressor runs {runs}, as estimated from its air."
        return
    more = now.cooling_share / earlier.cooling_share - 1.0
    if abs(more) < STEADY_SHARE:
        yield f"Its compressor runs as {when}: {runs}, as estimated from its air."
        return
    side = "longer" if more > 0 else "shorter"
    advice = " Look at its coil, its fans and the air around it." if more > 0 else ""
    yield (
        f"Its compressor runs {abs(more) * 100:.0f} % {side} than {when}: {runs}, then "
        f"{_share(earlier)} and {earlier.cycles_an_hour:.1f}, as estimated from its air.{advice}"
    )


def _share(duty: DutyCycle) -> str:
    return f"{duty.cooling_share * 100:.0f} %"


def _beside(review: Review, item: UnitReview) -> Iterator[str]:
    """Tell what is different from the week, or the month, before."""
    before, last = item.stretches[-2:]
    if before.mean_c is None or last.mean_c is None:
        return
    told = [f"mean {_degrees(review, last.mean_c - before.mean_c)} °{review.scale.value}"]
    for name, now_s, then_s in (
        ("above the limit", last.above_limit_s, before.above_limit_s),
        ("door open", last.door_open_s, before.door_open_s),
        ("unmonitored", last.unmonitored_s, before.unmonitored_s),
    ):
        if round(now_s) != round(then_s):
            told.append(f"{name} {_lasting(now_s)} after {_lasting(then_s)}")
    yield f"Beside the {_what(review)} before: {', '.join(told)}."


def _lasting(seconds: float) -> str:
    return wording.duration(seconds) if seconds > 0 else "none"


def _degrees(review: Review, delta_c: float) -> str:
    value = wording.difference_in_scale(delta_c, review.scale)
    return "0.00" if abs(value) < 0.005 else f"{value:+.2f}".replace("-", "−")


def _row(review: Review, item: UnitReview, week: Stretch) -> tuple[str, ...]:
    def shown(value: float | None) -> str:
        return _NOTHING if value is None else wording.temperature(value, review.scale)

    def lasting(seconds: float) -> str:
        return _NOTHING if seconds <= 0 else wording.duration(seconds)

    rise = week.defrost_rise_c_min
    return (
        f"{week.first:%Y-%m}" if review.is_month else week.first.isoformat(),
        shown(week.mean_c),
        shown(week.kinetic_c),
        lasting(week.above_limit_s),
        lasting(week.above_operating_s),
        lasting(week.door_open_s) if item.has_doors else _NOTHING,
        _NOTHING if week.duty is None else f"{_share(week.duty)}, {week.duty.cycles_an_hour:.1f}/h",
        _NOTHING
        if rise is None
        else f"{wording.difference_in_scale(rise, review.scale):.0f} °{review.scale.value}·min",
        lasting(week.unmonitored_s),
    )


def _alarms(review: Review) -> Iterator[str]:
    figures = review.alarms
    if not figures.alarms:
        yield "No alarm was raised."
        return
    split = [
        f"{figures.by_priority[priority]} {priority.value}"
        for priority in Priority
        if figures.by_priority[priority]
    ]
    yield (
        f"{wording.counted(figures.alarms, 'alarm')} ({wording.joined(split)}), "
        f"{figures.alarms_per_day:.2g} a day; somebody was woken "
        f"{wording.counted(figures.woke, 'time') if figures.woke else 'by none of them'}."
    )
    if figures.to_acknowledge_median_s is not None:
        longest_s = figures.to_acknowledge_longest_s or 0.0
        yield (
            f"Answered after {wording.duration(figures.to_acknowledge_median_s)} in the median, "
            f"{wording.duration(longest_s)} at the longest."
        )
    if figures.never_acknowledged:
        yield f"{wording.counted(figures.never_acknowledged, 'alarm')} never answered."
    for key in figures.chattering:
        unit = next((i.unit.name for i in review.units if i.unit.id == key.unit), "several units")
        yield f"Keeps coming and going: {wording.printable(unit)}, {RULES[key.rule]}."
    beyond = figures.beyond_benchmarks()
    yield (
        f"Beyond the benchmarks: {'; '.join(beyond)}."
        if beyond
        else "Within the benchmarks: at most 150 alarms a day, none chattering, fewer than 5 "
        "standing for over a day, under 1 % of the time in flood."
    )


def _doors(review: Review) -> Iterator[str]:
    names = {item.unit.id: wording.printable(item.unit.name) for item in review.units}
    for unit, openings, open_s, longest_s in worst_doors(review)[:3]:
        if openings:
            yield (
                f"{names[unit]}: opened {wording.counted(openings, 'time')}, "
                f"{wording.duration(open_s)} in all, longest {wording.duration(longest_s)}."
            )


def _checks(review: Review) -> Iterator[str]:
    never = [item.probe for item in review.checks if item.last_ms is None]
    if never:
        them = "it" if len(never) == 1 else "them"
        named = wording.joined(never, most=6)
        yield f"No check is on record for {named}: check {them} in ice water."
    for item in review.checks:
        if item.last_ms is None or item.due_ms is None or item.due_ms > review.to_ms:
            continue
        days = (review.to_ms - item.last_ms) // MS_PER_DAY
        yield (
            f"{item.probe}: last checked {days} days ago, due every {item.every_days:g}; "
            "check it in ice water."
        )
