"""A probe checked in melting ice, from the phone: the minutes counted down, the check written down.

The page loads itself again while the probe settles, and no longer once it has. What is written
down is what the readings show at that moment, not what the form says.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.evaluation.door import cannot_be_checked
from rimewatch.journal.errors import JournalError
from rimewatch.report import wording
from rimewatch.shop import Probe
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, ProbeId
from rimewatch.web.enter import Desk
from rimewatch.web.page import Means, Page, again
from rimewatch.web.people import Role
from rimewatch.web.rendering import go_to

PATH: Final = "/ice"
AGAIN_S: Final = 5
REFERENCE: Final = "ice bath"
LONGEST_MS: Final = MS_PER_H
"""An older beginning is another day's (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IceSeen:
    """What a probe's last minutes show."""

    is_settled: bool
    readings: int
    shows_c: float | None
    """What it shows in the ice with its present correction, °C; None: too few readings."""
    new_offset_c: float | None
    """The correction by which it would be right, °C; None unless settled."""
    accept_c: float
    source: str
    """Where that stands."""
    window_s: float
    """For how long it has to stay."""


LookAtIce = Callable[[Probe, int], IceSeen]
"""Looks at a probe's readings up to an instant; a ``JournalError`` says they cannot be read."""


class IcePage(Page):
    """Serves the check of a probe in ice.

    Args:
        means: What every page is made with.
        desk: Writes entries down.
        look: Looks at a probe's last minutes.
    """

    def __init__(self, means: Means, desk: Desk, look: LookAtIce) -> None:
        super().__init__(means)
        self._desk = desk
        self._look = look

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and its form."""
        return [
            Route(PATH, self.show),
            Route(PATH, self.write, methods=["POST"]),
        ]

    async def show(self, request: Request) -> Response:
        """Show the probes there are, or how one does in the ice."""
        visitor = await self._guard.visitor(request, Role.ACT)
        known = [p for p in self._shop.probes if cannot_be_checked(self._shop, p.id) is None]
        asked = request.query_params.get("probe")
        if asked is None:
            cards = [(f"{PATH}?{urlencode({'probe': p.id})}", self._name(p), p.id) for p in known]
            written = request.query_params.get("done", "")
            return self._renderer.page(
                "ice.html",
                title="Check a probe in ice",
                visitor=visitor,
                cards=cards,
                seen=None,
                again=None,
                done=written if ProbeId(written) in self._shop.probe else "",
            )
        probe = self._probe(asked)
        now_ms = self._clock.now_ms()
        since_ms = _since(request, now_ms)
        if since_ms is None:
            return go_to(f"{PATH}?{urlencode({'probe': probe.id, 'since': now_ms})}")
        seen = await self._seen(probe, now_ms)
        stayed_s = (now_ms - since_ms) / MS_PER_S
        left_s = max(0.0, seen.window_s - stayed_s)
        is_ready = seen.is_settled and left_s == 0.0
        scale = self._shop.display
        shows = "" if seen.shows_c is None else wording.temperature(seen.shows_c, scale)
        return self._renderer.page(
            "ice.html",
            title=self._name(probe),
            visitor=visitor,
            cards=[],
            seen=seen,
            probe=probe.id,
            shows=shows,
            point=wording.temperature(0.0, scale),
            left=wording.duration(left_s) if left_s else "",
            stayed=wording.duration(stayed_s),
            is_ready=is_ready,
            again=again(request, AGAIN_S, when=not is_ready),
            verdict=self._verdict(seen) if is_ready else "",
            new="" if seen.new_offset_c is None else wording.correction(seen.new_offset_c, scale),
        )

    async def write(self, request: Request) -> Response:
        """Write the check down, and correct the probe from now on where that was asked for."""
        visitor = await self._guard.visitor(request, Role.ACT)
        fields = await self._guard.form(request, visitor)
        probe = self._probe(fields.get("probe", ""))
        seen = await self._seen(probe, self._clock.now_ms())
        if not seen.is_settled or seen.shows_c is None:
            raise HTTPException(
                409, "It moves again, so nothing was written down. Leave it in the ice for longer."
            )
        entry: dict[str, object] = {
            "do": "calibration-check",
            "probe": probe.id,
            "found_c": seen.shows_c,
            "reference": REFERENCE,
        }
        if fields.get("correct") == "yes":
            entry["offset_c"] = seen.new_offset_c
        await self._desk.take(visitor, entry)
        return go_to(f"{PATH}?{urlencode({'done': probe.id})}")

    async def _seen(self, probe: Probe, now_ms: int) -> IceSeen:
        try:
            return await run_in_threadpool(self._look, probe, now_ms)
        except JournalError:
            raise HTTPException(503, "The journal cannot be read right now.") from None

    def _probe(self, asked: str) -> Probe:
        why = cannot_be_checked(self._shop, ProbeId(asked))
        if why is not None:
            raise HTTPException(404)
        return self._shop.probe[ProbeId(asked)]

    def _name(self, probe: Probe) -> str:
        unit = self._shop.unit[probe.unit]
        return wording.printable(f"{unit.name}: {probe.measures}")

    def _verdict(self, seen: IceSeen) -> str:
        assert seen.shows_c is not None, "it has settled"
        scale = self._shop.display
        side = "Inside" if abs(seen.shows_c) <= seen.accept_c else "Outside"
        allowed = wording.temperature_difference(seen.accept_c, scale)
        off = wording.correction(seen.shows_c, scale)
        said = f"{off} off. {side} ±{allowed} ({seen.source})."
        if side == "Outside":
            said += " Do not rely on it until it is corrected or replaced."
        return said


def _since(request: Request, now_ms: int) -> int | None:
    """Return when it was put into the ice; None: nobody said, or nonsense."""
    said = request.query_params.get("since", "")
    if not (said.isascii() and said.isdigit() and len(said) < 16):
        return None
    since_ms = int(said)
    return since_ms if now_ms - LONGEST_MS <= since_ms <= now_ms else None
