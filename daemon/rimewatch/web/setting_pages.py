"""The pages on which settings are changed: a form for each part of the configuration.

Every change goes to the keeper of the settings. What it refuses is said beside its field, and what
was typed stays; what was changed stands with who, when, before and after, and can be undone.
"""

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any, Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.rota import RotaPolicy
from rimewatch.config.changing import Tables
from rimewatch.report import wording
from rimewatch.report.page import limit_reason
from rimewatch.vocabulary import ProbeId, Scale, UnitId
from rimewatch.web.guard import Visitor
from rimewatch.web.page import Means, Page
from rimewatch.web.people import Role
from rimewatch.web.rendering import go_to
from rimewatch.web.setting_forms import (
    Filled,
    beside_fields,
    filled_in,
    name_for,
    value_at,
    views_of,
)
from rimewatch.web.setting_subjects import SUBJECTS, Subject, subject_of
from rimewatch.web.setting_words import lines_of
from rimewatch.web.settings_keeper import Asked, Done, InUse, Made, NotDone, SettingsKeeper

PATH: Final = "/settings"
CHANGES: Final = f"{PATH}/changes"
SHOWN_CHANGES: Final = 50
NOBODY: Final = "somebody, in the file"


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One of several, or one subject, in a list."""

    path: str
    name: str
    lines: tuple[str, ...] = ()
    note: str = ""
    """What should not be overlooked, such as a looser limit."""
    is_rare: bool = False
    """Whether it is for those who look for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a form is shown with once more: what was typed, and what is wrong."""

    filled: Filled
    others: Sequence[str] = ()
    file_seen: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A change as a page tells it."""

    number: int
    when: str
    who: str
    lines: tuple[str, ...] = field(default_factory=tuple)


class SettingPages(Page):
    """Serves the forms about settings.

    Args:
        means: What every page is made with.
        keeper: Keeps the settings.
    """

    def __init__(self, means: Means, keeper: SettingsKeeper) -> None:
        super().__init__(means)
        self._keeper = keeper

    def routes(self) -> list[BaseRoute]:
        """Return the routes; a table's name is one of the subjects', or there is nothing."""
        return [
            Route(CHANGES, self.changes),
            Route(f"{CHANGES}/undo", self.undo, methods=["POST"]),
            Route(f"{PATH}/{{table}}", self.show),
            Route(f"{PATH}/{{table}}", self.take, methods=["POST"]),
            Route(f"{PATH}/{{table}}/remove", self.remove, methods=["POST"]),
        ]

    # --- shown ----------------------------------------------------------------------------

    async def show(self, request: Request) -> Response:
        """Show the list of a subject, or the form of one."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        subject = _subject(request)
        in_use = await run_in_threadpool(self._keeper.in_use)
        if subject.is_many and not {"of", "add"} & request.query_params.keys():
            return await self._list(visitor, subject, in_use, request.query_params.get("made", ""))
        at = _place(subject, in_use.tables, request)
        return await self._form(visitor, subject, in_use, at, request.query_params.get("made", ""))

    async def changes(self, request: Request) -> Response:
        """Show who changed what, and when."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        history = await run_in_threadpool(self._keeper.history, SHOWN_CHANGES)
        in_use = await run_in_threadpool(self._keeper.in_use)
        return self._renderer.page(
            "setting_changes.html",
            title="Changes",
            visitor=visitor,
            here=PATH,
            changes=[self._told(made) for made in history],
            in_use=in_use,
        )

    async def _list(self, visitor: Visitor, subject: Subject, in_use: InUse, made: str) -> Response:
        items = in_use.tables.get(subject.table, [])
        return self._renderer.page(
            "setting_list.html",
            title=subject.title,
            visitor=visitor,
            here=PATH,
            subject=subject,
            cards=[self._card(subject, n, item) for n, item in enumerate(items)],
            now=self._on_call() if subject.table == "rota" else [],
            add=f"{PATH}/{subject.table}?add=1",
            in_use=in_use,
            made=await self._just_made(made),
        )

    async def _form(
        self,
        visitor: Visitor,
        subject: Subject,
        in_use: InUse,
        at: int | None,
        made: str = "",
        shown: Shown | None = None,
    ) -> Response:
        item = _item(subject, in_use.tables, at)
        is_new = subject.is_many and at is None
        views = views_of(
            subject,
            item,
            in_use.tables,
            self._shop.display,
            None if shown is None else shown.filled,
        )
        query = {"add": "1"} if is_new else {"of": _name(subject, at, item)}
        action = f"{PATH}/{subject.table}" + (f"?{urlencode(query)}" if subject.is_many else "")
        others = [] if shown is None else list(shown.others)
        is_open = any(view.error for view in views if view.is_more)
        return self._renderer.page(
            "setting_form.html",
            title=self._title(subject, at, item, is_new=is_new),
            visitor=visitor,
            here=PATH,
            status=200 if shown is None else 422,
            file_seen="" if shown is None else shown.file_seen,
            subject=subject,
            views=views,
            is_open=is_open,
            is_new=is_new,
            is_there=bool(item),
            of=_name(subject, at, item),
            action=action,
            others=others,
            wrong=sum(bool(view.error) for view in views) + len(others),
            in_use=in_use,
            note=self._note(subject, item),
            made=await self._just_made(made),
        )

    # --- changed --------------------------------------------------------------------------

    async def take(self, request: Request) -> Response:
        """Change settings as somebody filled a form in."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        sent = await self._guard.form(request, visitor)
        subject = _subject(request)
        in_use = await run_in_threadpool(self._keeper.in_use)
        at = _place(subject, in_use.tables, request, or_new=True)
        item = _item(subject, in_use.tables, at)

        def by_whom(key: str) -> str:
            history = self._keeper.history(SHOWN_CHANGES)  # asked only where two clash
            return self._by_whom(history, subject, _name(subject, at, item), key)

        filled = await run_in_threadpool(
            filled_in, subject, item, sent, in_use.tables, self._shop.display, by_whom
        )
        if in_use.trouble:
            return await self._again(visitor, subject, in_use, at, filled, [in_use.trouble])
        if filled.errors:
            return await self._again(visitor, subject, in_use, at, filled)
        after, place = _with(subject, in_use.tables, at, filled.item)
        asked = Asked(
            who=visitor.person.name,
            before=in_use.tables,
            after=after,
            file_seen=sent.get("file_seen", ""),
        )
        answer = await run_in_threadpool(self._keeper.change, asked)
        if isinstance(answer, NotDone):
            return await self._not_done(visitor, subject, in_use, at, filled, answer, place)
        return go_to(_back(subject, answer))

    async def remove(self, request: Request) -> Response:
        """Take one of several away, or a table there need not be."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        fields = await self._guard.form(request, visitor)
        subject = _subject(request)
        in_use = await run_in_threadpool(self._keeper.in_use)
        at = _at(subject, in_use.tables, fields.get("of", "")) if subject.is_many else None
        if not subject.gone or (subject.is_many and at is None):
            raise HTTPException(410, "It is there no longer; nothing was changed.")
        after = deepcopy(dict(in_use.tables))
        if at is None:
            after.pop(subject.table, None)
        else:
            after[subject.table] = [i for n, i in enumerate(after[subject.table]) if n != at]
            if not after[subject.table]:
                del after[subject.table]
        asked = Asked(who=visitor.person.name, before=in_use.tables, after=after)
        answer = await run_in_threadpool(self._keeper.change, asked)
        if isinstance(answer, Done):
            return go_to(_back(subject, answer))
        nothing = Filled(item={}, typed={})
        return await self._not_done(visitor, subject, in_use, at, nothing, answer, "")

    async def undo(self, request: Request) -> Response:
        """Put back what was before a change."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        fields = await self._guard.form(request, visitor)
        number = fields.get("number", "")
        if not number.isascii() or not number.isdigit():
            raise HTTPException(422, "Which change is to be undone was not said.")
        answer = await run_in_threadpool(self._keeper.undo, int(number), visitor.person.name)
        if isinstance(answer, NotDone):
            said = [finding.sentence for finding in answer.findings] or [answer.trouble]
            if answer.clashes:
                keys = ", ".join(".".join(clash.path) for clash in answer.clashes)
                said = [f"It was changed again since ({keys}); change it by hand."]
            raise HTTPException(409, f"Nothing was undone. {' '.join(said)}")
        return go_to(CHANGES)

    async def _not_done(
        self,
        visitor: Visitor,
        subject: Subject,
        in_use: InUse,
        at: int | None,
        filled: Filled,
        answer: NotDone,
        place: str,
    ) -> Response:
        errors, others = beside_fields(subject, place, answer.findings, self._shop.display)
        for clash in answer.clashes:
            errors |= self._clash(subject, clash.path, clash.theirs)
            if not errors:
                others.append(
                    f"Meanwhile somebody changed {'.'.join(clash.path)} in the file. Send it "
                    "again to have it as you typed it."
                )
        if answer.trouble:
            others.append(answer.trouble)
        shown = Shown(filled=filled.also(errors), others=others, file_seen=answer.file)
        return await self._form(visitor, subject, in_use, at, shown=shown)

    def _clash(self, subject: Subject, path: Sequence[str], theirs: object) -> dict[str, str]:
        known = subject.field(".".join(path[2 if subject.is_many else 1 :]))
        if known is None:
            return {}
        now = "nothing" if theirs is None else known.kind.show(theirs, self._shop.display)
        return {known.key: f"In the file it was changed to {now} meanwhile. Which is right?"}

    async def _again(
        self,
        visitor: Visitor,
        subject: Subject,
        in_use: InUse,
        at: int | None,
        filled: Filled,
        others: Sequence[str] = (),
    ) -> Response:
        shown = Shown(filled=filled, others=others)
        return await self._form(visitor, subject, in_use, at, shown=shown)

    # --- words ----------------------------------------------------------------------------

    def _title(
        self, subject: Subject, at: int | None, item: Mapping[str, Any], *, is_new: bool
    ) -> str:
        if is_new:
            return f"A new {subject.one}"
        if not subject.is_many:
            return subject.title
        return wording.printable(self._card_name(subject, 0 if at is None else at, item))

    def _name_of(self, subject: Subject, item: Mapping[str, Any]) -> str:
        return str(item.get("name") or item.get("id") or item.get("common") or subject.one)

    def _card(self, subject: Subject, number: int, item: Mapping[str, Any]) -> Card:
        path = f"{PATH}/{subject.table}?{urlencode({'of': _name(subject, number, item)})}"
        return Card(
            path=path,
            name=wording.printable(self._card_name(subject, number, item)),
            lines=tuple(wording.printable(line) for line in self._lines(subject, item)),
            note=self._note(subject, item),
        )

    def _card_name(self, subject: Subject, number: int, item: Mapping[str, Any]) -> str:
        if subject.table == "escalation":
            minutes = wording.duration(float(item.get("after_s", 0)))
            return "At once" if not item.get("after_s") else f"After {minutes}"
        if subject.table == "rota":
            return f"{item.get('id', subject.one)}, shift {number + 1}"
        if subject.table == "probe":
            unit = self._shop.unit.get(UnitId(str(item.get("unit"))))
            where = str(item.get("unit")) if unit is None else unit.name
            return f"{where}: {item.get('measures', 'nothing yet')}"
        return self._name_of(subject, item)

    def _lines(self, subject: Subject, item: Mapping[str, Any]) -> list[str]:
        """Return what is worth knowing of one of several before it is opened."""
        scale = self._shop.display
        match subject.table:
            case "unit":
                return self._unit_lines(item, scale)
            case "probe":
                return self._probe_lines(item)
            case "contact":
                return [_shown(subject, item, "urls", scale)]
            case "escalation":
                told = [self._contact_name(c) for c in item.get("contacts", [])]
                again = item.get("repeat_s")
                often = f"again every {wording.duration(float(again))}" if again else "once"
                return [f"{wording.joined(told)}, {often}"]
            case "rota":
                days = ", ".join(item.get("days", ["every weekday"]))
                who = wording.joined([self._contact_name(c) for c in item.get("contacts", [])])
                return [f"{days}, {item.get('from', '00:00')} to {item.get('to', '00:00')}: {who}"]
            case _:
                return [str(item.get("scientific", ""))]

    def _unit_lines(self, item: Mapping[str, Any], scale: Scale) -> list[str]:
        unit = self._shop.unit.get(UnitId(str(item.get("id"))))
        if unit is None:
            return []
        lines = [f"limit {wording.temperature(unit.limit_c, scale)}"]
        if unit.operating_limit_c is not None:
            lines[0] += f", early line {wording.temperature(unit.operating_limit_c, scale)}"
        probes = [probe for probe in self._shop.probes if probe.unit == unit.id]
        return [*lines, wording.counted(len(probes), "probe") if probes else "no probe hangs in it"]

    def _probe_lines(self, item: Mapping[str, Any]) -> list[str]:
        heard = dict(self._board.latest.probes_ms).get(ProbeId(str(item.get("id"))))
        now_ms = self._clock.now_ms()
        last = "not heard yet" if heard is None else f"heard {wording.relative(heard, now_ms)}"
        return [f"{item.get('id')}; {last}"]

    def _contact_name(self, contact: object) -> str:
        known = self._shop.contact.get(contact)  # type: ignore[call-overload]  # an id
        return str(contact) if known is None else known.name

    def _on_call(self) -> list[str]:
        """Return who is on call at this moment, rota by rota."""
        policy = RotaPolicy(self._shop.shifts, self._shop.holidays, self._shop.timezone)
        now_ms = self._clock.now_ms()
        rotas = dict.fromkeys(shift.rota for shift in self._shop.shifts)
        told = [(rota, policy.on_call(rota, now_ms)) for rota in rotas]
        return [
            wording.printable(f"{rota}: {wording.joined([self._contact_name(w) for w in who])}")
            for rota, who in told
        ]

    def _note(self, subject: Subject, item: Mapping[str, Any]) -> str:
        unit = self._shop.unit.get(UnitId(str(item.get("id"))))
        if subject.table != "unit" or unit is None:
            return ""
        reason = limit_reason(unit, self._shop.display)
        return f"Looser than the code: {reason}" if reason else ""

    # --- changes --------------------------------------------------------------------------

    async def _just_made(self, number: str) -> Told | None:
        if not number:
            return None
        history = await run_in_threadpool(self._keeper.history, 1)  # it was made a moment ago
        return next((self._told(m) for m in history if str(m.number) == number), None)

    def _told(self, made: Made) -> Told:
        now_ms = self._clock.now_ms()
        return Told(
            number=made.number,
            when=wording.local_moment(made.at_ms, self._zone)
            + f", {wording.relative(made.at_ms, now_ms)}",
            who=wording.printable(made.who or NOBODY),
            lines=tuple(lines_of(made.changes, self._shop.display)),
        )

    def _by_whom(self, history: Sequence[Made], subject: Subject, of: str, key: str) -> str:
        wanted = {f"{subject.table}.{of}.{key}", f"{subject.table}.{key}"}
        for made in history:
            if any(change.key in wanted for change in made.changes):
                when = wording.local_time(made.at_ms, self._zone, day_of_ms=self._clock.now_ms())
                return f"{wording.printable(made.who or NOBODY)}, {when}"
        return ""


def menu(shop_tables: Tables) -> list[Card]:
    """Return what can be changed, as the set-up page leads to it."""
    found = []
    for subject in SUBJECTS:
        items = shop_tables.get(subject.table)
        count = f" ({len(items)})" if subject.is_many and items else ""
        found.append(
            Card(
                path=f"{PATH}/{subject.table}",
                name=f"{subject.title}{count}",
                lines=(subject.what,),
                is_rare=subject.is_rare,
            )
        )
    return found


def _subject(request: Request) -> Subject:
    subject = subject_of(request.path_params["table"])
    if subject is None:
        raise HTTPException(404)
    return subject


def _at(subject: Subject, tables: Tables, of: str) -> int | None:
    """Return the place of one of several; None: there is none of that name."""
    items = tables.get(subject.table, [])
    names = [_name(subject, number, item) for number, item in enumerate(items)]
    return names.index(of) if of in names else None


def _place(
    subject: Subject, tables: Tables, request: Request, *, or_new: bool = False
) -> int | None:
    """Return which of several a request is about; None: the one there is, or a new one."""
    of = request.query_params.get("of")
    if not subject.is_many or of is None:
        return None
    at = _at(subject, tables, of)
    if at is None and or_new:
        raise HTTPException(410, "It was taken away meanwhile; nothing was changed.")
    if at is None:
        raise HTTPException(404)
    return at


def _item(subject: Subject, tables: Tables, at: int | None) -> dict[str, Any]:
    held = tables.get(subject.table)
    if not subject.is_many:
        return dict(held or {})
    return {} if at is None or held is None else dict(held[at])


def _name(subject: Subject, number: int | None, item: Mapping[str, Any]) -> str:
    if not subject.is_many:
        return ""
    if subject.named_by:
        return str(item.get(subject.named_by, ""))
    return "" if number is None else str(number + 1)


def _with(
    subject: Subject, tables: Tables, at: int | None, item: dict[str, Any]
) -> tuple[dict[str, Any], str]:
    """Return the whole configuration with one table as it would be, and where that stands."""
    after = deepcopy(dict(tables))
    if not subject.is_many:
        if item or subject.table in after:
            after[subject.table] = item
        return after, subject.table
    items = list(after.get(subject.table, []))
    if at is None:
        if subject.named_by == "id":
            known = [str(each.get("id")) for each in items]
            item = {"id": name_for(str(item.get("name", subject.one)), known), **item}
        items.append(item)
        at = len(items) - 1
    else:
        items[at] = item
    after[subject.table] = items
    return after, f"{subject.table}[{at}]"


def _back(subject: Subject, done: Done) -> str:
    made = f"?made={done.number}" if done.number else ""
    return f"{PATH}/{subject.table}{made}"


def _shown(subject: Subject, item: Mapping[str, Any], key: str, scale: Scale) -> str:
    known = subject.field(key)
    assert known is not None, "the subject has it"
    held = getattr(known.kind, "held", None)
    value = value_at(item, key)
    return str(held(value)) if held is not None else known.kind.show(value, scale)
