"""How far wake-ups can be trusted on plants that nobody tuned the rules to.

Shops of chance (``rimewatch_sim.plants``) with the configuration their owner would type, lag
guessed and no defrost named, are replayed; what was raised is judged against the fish's true
temperature. Even seeds are for working on the rules; what is published comes from odd ones.

- *Breach*: fish over its limit by 0.3 K or more for 20 minutes and more in all.
- *Told*: a message about an alarm of the cold left for a phone; one that waits for the morning,
  as one of middling priority does at night, tells nobody.
- *Missed*: nobody was told before the breach ended, of an alarm that was still on when it began.
- *False*: a high alarm of the cold within whose next hour the fish is never over its limit,
  and which no failure stands behind that would take it there within a day if nobody mends it.
- *Withdrawn*: a false one that returned within a quarter of an hour.
- *Woke*: it sounded at night.
- *Lead*: from when somebody was first told to the fish's crossing (below 0: after it), for
  breaches that a failure of the cooling or of the power brought about.
- *Silence*: a message that a probe, or all of them, fell silent tells of no fish and counts as
  none of these; where a hub dies with the power it is all that can come in time, and the failures
  told of before the crossing are counted once more with it.

References:
    [1] Garwood (1936), as in ``alarm_quality``: exact interval of a Poisson rate.
    [2] Wilson, E. B. (1927). Probable inference. JASA 22, 209-212: interval of a share.
"""

import argparse
import json
import math
import statistics
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alarm_quality import FISH_RULES, ms, poisson_interval

from rimewatch.config import load_shop
from rimewatch.intake.entries import parse_entry
from rimewatch.intake.trace import TraceEntry, TraceReading
from rimewatch.readings import Reading
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.vocabulary import ProbeId
from rimewatch_sim.plants.draw import ShopPlan, UnitPlan, draw_shop
from rimewatch_sim.plants.running import STEP_S, Course, Trouble, run
from rimewatch_sim.plants.sensing import config_of, courses, said, unit_id

START_MS = round(datetime(2026, 3, 2, 6, 0, tzinfo=UTC).timestamp() * 1000)
"""Local midnight of the invented shop."""
DAY_S = 86_400
MONTH_S = 30 * DAY_S
BREACH_K = 0.3
BREACH_S = 1200
AHEAD_S = 3600
WITHDRAWN_S = 900


@dataclass(slots=True)
class Raised:
    """A high alarm of the cold, and what became of it."""

    seed: int
    unit: int
    rule: str
    at_s: float
    lasted_s: float | None
    woke: bool
    is_true: bool


@dataclass(slots=True)
class Breach:
    """A time of the fish over its limit."""

    seed: int
    unit: int
    from_s: float
    to_s: float
    peak_k: float
    failed: bool
    """A failure of the cooling or of the power stood behind it."""
    lead_s: float | None
    """None: nobody was told."""
    by: str
    why: str
    silence_s: float | None = None
    """The same of a message that its probes were silent."""


@dataclass(slots=True)
class Week:
    """What one unit's week came to."""

    seed: int
    unit: int
    plant: str
    probe: str
    lag: str
    lasted_s: float
    breaches: list[Breach] = field(default_factory=list)
    raised: list[Raised] = field(default_factory=list)


def judge(seed: int, *, lag: str | None = None, days: int = 7) -> list[Week]:
    """Replay one shop's week; return what each unit came to."""
    plan = draw_shop(seed, days=days, lag=lag)
    truth = courses(plan)
    replayed = replay(load_shop(config_of(plan), sends=False), _trace(plan, truth), summaries=False)
    ledger = ledger_document(replayed.ledger)
    weeks = []
    for number, (unit, course) in enumerate(zip(plan.units, truth, strict=True)):
        week = Week(seed, number, unit.plant, unit.probe_kind, unit.lag_is, days * DAY_S)
        name = unit_id(number)
        alarms = [one for one in ledger["alarms"] if name in (one["unit"], *one.get("units", ()))]
        told = _told(alarms, ledger["messages"])
        week.breaches = _breaches(plan, number, course, told)
        week.raised = _raised(plan, number, course, alarms)
        weeks.append(week)
    return weeks


def _trace(plan: ShopPlan, truth: list[Course]) -> Iterable[TraceEntry | TraceReading]:
    if plan.has_lots:
        for number in range(len(plan.units)):
            lot, at_ms = f"L{number}", START_MS - 1000
            received = {"at": _iso(at_ms), "do": "receive-lot", "lot": lot, "species": "salmon",
                        "origin": "wild", "serve_raw": False}  # fmt: skip
            moved = {"at": _iso(at_ms), "do": "move-lot", "lot": lot, "unit": unit_id(number)}
            yield TraceEntry(at_ms, parse_entry(received, at_ms))
            yield TraceEntry(at_ms, parse_entry(moved, at_ms))
    for one in said(plan, truth):
        at_ms = START_MS + one.at_s * 1000
        yield TraceReading(
            at_ms, Reading(ProbeId(one.probe), at_ms, at_ms, one.celsius, one.celsius)
        )


def _iso(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).isoformat().replace("+00:00", "Z")


def _seconds(text: str | None) -> float | None:
    return None if text is None else (ms(text) - START_MS) / 1000.0


@dataclass(frozen=True, slots=True)
class _Told:
    """An alarm that reached a phone, and when."""

    rule: str
    at_s: float
    until_s: float


def _told(alarms: list[dict[str, Any]], messages: list[dict[str, Any]]) -> list[_Told]:
    """Return what phones were told of some alarms."""
    found = []
    for one in alarms:
        at_s, returned_s = _seconds(one["raised"]), _seconds(one["returned"])
        until_s = math.inf if returned_s is None else returned_s
        if at_s is None:
            continue
        sent_s = [
            sent_s
            for message in messages
            if (message["rule"], message["unit"]) == (one["rule"], one["unit"])
            and message["about"] != "returned"
            and (sent_s := _seconds(message["at"])) is not None
            and at_s <= sent_s <= until_s
        ]
        if sent_s:
            found.append(_Told(one["rule"], min(sent_s), until_s))
    return found


def _breaches(plan: ShopPlan, number: int, course: Course, told: Sequence[_Told]) -> list[Breach]:
    unit = plan.units[number]
    found: list[Breach] = []
    for first, after in _spells(course.fish_c, unit.limit_c):
        over = [value - unit.limit_c for value in course.fish_c[first:after]]
        if sum(k >= BREACH_K for k in over) * STEP_S < BREACH_S:
            continue
        from_s, to_s = first * STEP_S, after * STEP_S
        on = [one for one in told if one.at_s <= to_s and one.until_s >= from_s]
        of_fish = min(((one.at_s, one.rule) for one in on if one.rule in FISH_RULES), default=None)
        silence_s = min((one.at_s for one in on if one.rule == "stale"), default=None)
        causes = [
            f.what.value
            for f in unit.failures
            if f.from_s - 60 <= to_s and f.to_s >= from_s - DAY_S
        ]
        causes += [
            "no power" for start, end in plan.outages if start <= to_s and end >= from_s - 6 * 3600
        ]
        failed = any(cause != Trouble.AJAR.value for cause in causes)
        found.append(
            Breach(
                plan.seed, number, from_s, to_s, max(over), failed,
                from_s - of_fish[0] if of_fish else None, of_fish[1] if of_fish else "",
                ", ".join(causes) or "ordinary work",
                None if silence_s is None else from_s - silence_s,
            )
        )  # fmt: skip
    return found


def _spells(values: Sequence[float], limit_c: float) -> list[tuple[int, int]]:
    found, began = [], None
    for place, value in enumerate(values):
        if value > limit_c and began is None:
            began = place
        elif value <= limit_c and began is not None:
            found.append((began, place))
            began = None
    return [*found, (began, len(values))] if began is not None else found


def _raised(
    plan: ShopPlan, number: int, course: Course, alarms: list[dict[str, Any]]
) -> list[Raised]:
    unit = plan.units[number]
    found: list[Raised] = []
    for one in alarms:
        at_s, returned_s = _seconds(one["raised"]), _seconds(one["returned"])
        if one["rule"] not in FISH_RULES or one["priority"] != "high" or at_s is None:
            continue
        ahead = course.fish_c[max(0, int(at_s) // STEP_S) : int(at_s + AHEAD_S) // STEP_S]
        true = bool(ahead) and max(ahead) > unit.limit_c
        found.append(
            Raised(
                plan.seed, number, one["rule"], at_s,
                None if returned_s is None else returned_s - at_s, one["woke"],
                true or _comes_true(plan, unit, at_s),
            )
        )  # fmt: skip
    return found


def _comes_true(plan: ShopPlan, unit: UnitPlan, at_s: float) -> bool:
    """Whether something is broken that takes the fish past its limit in a day if not mended."""
    broken = any(one.from_s <= at_s <= one.to_s + 1800.0 for one in unit.failures)
    dark = any(start <= at_s <= end + 1800.0 for start, end in plan.outages)
    if not broken:
        return dark
    # The same room as in the week itself, a day further.
    course = run(unit.life(True), at_s + DAY_S, season_s=plan.days * DAY_S)  # noqa: FBT003
    return max(course.fish_c[int(at_s) // STEP_S :]) > unit.limit_c


def wilson(hits: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share [2].

    >>> [round(end, 3) for end in wilson(10, 10)]
    [0.722, 1.0]
    """
    if not of:
        return 0.0, 1.0
    z, share = 1.959964, hits / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)


HEAD = (
    f"{'':<18}{'unit-mths':>10}{'breaches':>9}{'missed':>7}{'false high':>11}"
    f"{'a unit-month, 95 %':>22}{'woke':>6}{'withdrawn':>10}{'failures told before':>22}"
    f"{'with silence':>14}{'lead p10 p50 p90 min':>22}"
)


def line(name: str, weeks: Sequence[Week]) -> str:
    """Return one row of the table."""
    months = sum(week.lasted_s for week in weeks) / MONTH_S
    breaches = [one for week in weeks for one in week.breaches]
    false = [one for week in weeks for one in week.raised if not one.is_true]
    low, high = (end / months for end in poisson_interval(len(false)))
    failures = [one for one in breaches if one.failed]
    before = sum((one.lead_s or 0.0) > 0.0 for one in failures)
    either = sum(max(one.lead_s or 0.0, one.silence_s or 0.0) > 0.0 for one in failures)
    leads = [one.lead_s / 60.0 for one in failures if one.lead_s is not None]
    tenths = statistics.quantiles(leads, n=10) if len(leads) > 1 else leads * 9
    lead = " ".join(f"{tenths[n]:.0f}" for n in (0, 4, 8)) if tenths else "–"
    share = wilson(before, len(failures))
    gone = sum(one.lasted_s is not None and one.lasted_s <= WITHDRAWN_S for one in false)
    return (
        f"{name:<18}{months:>10.2f}{len(breaches):>9}{sum(b.lead_s is None for b in breaches):>7}"
        f"{len(false):>11}{f'{len(false) / months:.2f} ({low:.2f}–{high:.2f})':>22}"
        f"{sum(one.woke for one in false):>6}{gone:>10}"
        f"{f'{before}/{len(failures)} ({share[0]:.0%}–{share[1]:.0%})':>22}"
        f"{f'{either}/{len(failures)}':>14}{lead:>22}"
    )


def table(weeks: Sequence[Week]) -> str:
    """Return the table: all, by plant, by probe, by what was typed as the lag."""
    rows = [HEAD, line("all", weeks)]
    for key in ("plant", "probe", "lag"):
        rows += [
            line(value, [week for week in weeks if getattr(week, key) == value])
            for value in sorted({getattr(week, key) for week in weeks})
        ]
    return "\n".join(rows)


def details(weeks: Sequence[Week]) -> str:
    """Return what each false alarm and each miss was."""
    rows = []
    for week in weeks:
        kind = f"{week.plant}, {week.probe}, lag {week.lag}"
        rows += [
            f"False {r.seed}/{r.unit} {r.rule} at {r.at_s / DAY_S:.3f} d, "
            f"{'on' if r.lasted_s is None else f'{r.lasted_s / 60:.0f} min'}"
            f"{', woke' if r.woke else ''}: {kind}"
            for r in week.raised
            if not r.is_true
        ]
        rows += [
            f"Missed {b.seed}/{b.unit} at {b.from_s / DAY_S:.3f} d, "
            f"{(b.to_s - b.from_s) / 60:.0f} min, "
            f"{b.peak_k:.2f} K over, {b.why}: {kind}"
            for b in week.breaches
            if b.lead_s is None
        ]
    return "\n".join(rows)


def week_of(plain: dict[str, Any]) -> Week:
    """Return a week as a run wrote it."""
    known = {
        "breaches": [Breach(**one) for one in plain["breaches"]],
        "raised": [Raised(**one) for one in plain["raised"]],
    }
    return Week(**{**plain, **known})


def main() -> None:
    """Judge the shops that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=10)
    parser.add_argument("--first", type=int, default=0, help="seed; every second one follows")
    parser.add_argument("--lag", choices=["guessed", "default", "true"])
    parser.add_argument("--days", type=int, default=7)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--read", type=Path, nargs="+", help="show what earlier runs wrote")
    given = parser.parse_args()
    if given.read:
        weeks = [week_of(one) for path in given.read for one in json.loads(path.read_text())]
        print(table(weeks))
        print(details(weeks))
        return
    began = time.perf_counter()
    seeds = range(given.first, given.first + 2 * given.shops, 2)
    weeks = []
    with ProcessPoolExecutor(given.processes) as pool:
        jobs = [pool.submit(judge, seed, lag=given.lag, days=given.days) for seed in seeds]
        for job in jobs:
            weeks += job.result()
            if given.out:  # as it comes: whoever stops it has what there is
                given.out.write_text(json.dumps([asdict(week) for week in weeks], indent=1))
    print(f"{given.shops} shops from seed {given.first}, {time.perf_counter() - began:.0f} s")
    print(table(weeks))
    print(details(weeks))


if __name__ == "__main__":
    main()
