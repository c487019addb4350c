"""One unit: how it is, its course over six hours to a year, and what people may do about it."""

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.evaluation.learned import lag_of
from rimewatch.evaluation.unit_now import UnitNow
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.report import wording
from rimewatch.report.habit_words import defrost_words, lag_words
from rimewatch.report.page import limit_reason
from rimewatch.report.plain_words import STATES
from rimewatch.report.sections import RULES
from rimewatch.rules.watch import Spell
from rimewatch.science.lag_measured import LagMeasured
from rimewatch.shop import Unit
from rimewatch.vocabulary import MS_PER_S, Disposition, Rule, UnitId
from rimewatch.web.chart import chart_svg, shows_bands, shows_doings
from rimewatch.web.course import LEAST_MS, SPANS, Course, course_of
from rimewatch.web.live import Snapshot
from rimewatch.web.page import BUSY_S, Page
from rimewatch.web.rendering import drawing
from rimewatch.web.unit_forms import PROMISES_MIN, SHELVES_MIN, known_unit
from rimewatch.web.unit_views import alarm_words, unit_view

USUAL: Final = "day"
MOST_ROWS: Final = 20


class UnitPage(Page):
    """Shows one unit at a time."""

    def routes(self) -> list[BaseRoute]:
        """Return the route of the page."""
        return [Route("/unit/{unit}", self.page)]

    async def page(self, request: Request) -> Response:
        """Show a unit."""
        visitor = await self._guard.visitor(request)
        unit = self._shop.unit[UnitId(known_unit(self._shop, request.path_params["unit"]))]
        name = request.query_params.get("span", USUAL)
        span = name if name in SPANS else USUAL
        at_ms = self._clock.now_ms()
        snapshot = self._board.latest
        now = snapshot.unit(unit.id)
        word, length_ms = SPANS[span]
        course = await run_in_threadpool(self._course, unit, now, at_ms, length_ms)
        from_ms = at_ms - (length_ms or at_ms) if course is None else course.from_ms
        excursions = self._excursions(unit, now, from_ms, at_ms)
        view = unit_view(unit, now, self._shop, at_ms)
        return self._renderer.page(
            "unit.html",
            title=view.name,
            visitor=visitor,
            view=view,
            alarms=[
                {"alarm": alarm, "words": alarm_words(self._shop, snapshot, alarm, at_ms)}
                for alarm in snapshot.alarms
                if alarm.key.unit == unit.id or unit.id in alarm.units
            ],
            shelves=self._shelves(snapshot, unit, at_ms),
            spans=[(key, said) for key, (said, _) in SPANS.items()],
            span=span,
            chart=self._chart(
                unit, course, f"the last {word}" if length_ms else "all that is kept"
            ),
            bands_drawn=course is not None and shows_bands(course),
            doings_drawn=course is not None and shows_doings(course),
            excursions=excursions[:MOST_ROWS],
            latest=MOST_ROWS if len(excursions) > MOST_ROWS else None,
            facts=[*([] if course is None else self._facts(course)), *self._learned(now)],
            lots=[str(story.lot) for story in snapshot.lots if story.entries.unit == unit.id],
            dispositions=[word.value for word in Disposition],
            states=STATES,
            promises=PROMISES_MIN,
            shelf_lengths=SHELVES_MIN,
            is_out=now.out_of_service,
            looser=limit_reason(unit, self._shop.display),
        )

    def _shelves(self, snapshot: Snapshot, unit: Unit, at_ms: int) -> list[dict[str, str]]:
        return [
            {
                "unit": key.unit or "",
                "rule": key.rule.value,
                "what": RULES[key.rule] if key.unit else f"several units: {RULES[key.rule]}",
                "until": wording.local_time(until_ms, self._zone, day_of_ms=at_ms),
            }
            for key, until_ms in snapshot.shelves
            if key.unit in (unit.id, None)
        ]

    def _course(self, unit: Unit, now: UnitNow, at_ms: int, length_ms: int | None) -> Course | None:
        probes = self._shop.governing_probes(unit.id)
        if not probes:
            return None
        probe = next((p for p in probes if p.id == now.probe), probes[0])
        try:
            with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
                if length_ms is None:
                    oldest_ms = journal.oldest_ms(probe.id)
                    length_ms = LEAST_MS if oldest_ms is None else max(at_ms - oldest_ms, LEAST_MS)
                return course_of(self._shop, journal, probe, at_ms - length_ms, at_ms)
        except JournalError:
            return None

    def _chart(self, unit: Unit, course: Course | None, when: str) -> object:
        if course is None or not course.fish:
            return ""
        low = min(b.low_c for b in course.fish)
        high = max(b.high_c for b in course.fish)
        seen = wording.temperature_range(low, high, self._shop.display)
        label = f"{wording.printable(unit.name)}, {when}: fish {seen}"
        return drawing(chart_svg(self._shop, unit, course, label))

    def _excursions(
        self, unit: Unit, now: UnitNow, from_ms: int, to_ms: int
    ) -> list[dict[str, Any]]:
        every = [spell for spell in (now.over, now.early) if spell is not None]
        every += [spell for spell in now.spells if (spell.end_ms or to_ms) >= from_ms]
        return [self._excursion(unit, spell, to_ms) for spell in every]

    def _excursion(self, unit: Unit, spell: Spell, to_ms: int) -> dict[str, Any]:
        end_ms = spell.end_ms
        lasted_s = max(0.0, ((to_ms if end_ms is None else end_ms) - spell.start_ms) / MS_PER_S)
        early = spell.watch == Rule.OPERATING_LIMIT.value
        limit_c = unit.operating_limit_c if early else unit.limit_c
        over = "its limit" if limit_c is None else wording.temperature(limit_c, self._shop.display)
        return {
            "start": wording.local_moment(round(spell.start_ms), self._zone),
            "lasted": wording.duration(lasted_s) + (" so far" if end_ms is None else ""),
            "peak": wording.temperature(spell.peak_c, self._shop.display),
            "over": f"{over} (operating limit)" if early else over,
        }

    def _learned(self, now: UnitNow) -> list[str]:
        facts = []
        if now.defrosts is not None:
            facts.append(
                f"Learned from its air: {defrost_words(now.defrosts, self._shop.display)}."
            )
        lag = self._lag(now)
        if lag is not None:
            facts.append(f"Learned from both its probes: {lag_words(lag)}.")
        return facts

    def _lag(self, now: UnitNow) -> LagMeasured | None:
        if now.at_ms is None:
            return None
        try:
            with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
                return lag_of(self._shop, journal, self._shop.unit[now.unit], now.at_ms)
        except JournalError:
            return None

    def _facts(self, course: Course) -> list[str]:
        facts = []
        if course.fish:
            seen = wording.temperature_range(
                min(b.low_c for b in course.fish),
                max(b.high_c for b in course.fish),
                self._shop.display,
            )
            facts.append(f"Fish: {seen}.")
        if course.air:
            seen = wording.temperature_range(
                min(b.low_c for b in course.air),
                max(b.high_c for b in course.air),
                self._shop.display,
            )
            facts.append(f"Air: {seen}.")
        if course.gaps:
            missing_s = sum(end - start for start, end in course.gaps) / MS_PER_S
            times = wording.counted(len(course.gaps), "gap")
            facts.append(f"Not measured for {wording.duration(missing_s)} ({times}).")
        if course.doors:
            longest_s = max(end - start for start, end in course.doors) / MS_PER_S
            times = wording.counted(len(course.doors), "opening")
            facts.append(f"Door: {times}, the longest {wording.duration(longest_s)}.")
        if course.defrosts:
            facts.append(f"Scheduled defrosts: {len(course.defrosts)}.")
        return facts
