"""How the watch itself is doing: broker, journal, messages, probes."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.report import wording
from rimewatch.shop import Probe
from rimewatch.web.live import Health, Snapshot
from rimewatch.web.page import Page
from rimewatch.web.unit_views import is_behind


class HealthPage(Page):
    """Shows the watch's own state."""

    def routes(self) -> list[BaseRoute]:
        """Return the route of the page."""
        return [Route("/health", self.page)]

    async def page(self, request: Request) -> Response:
        """Show it."""
        visitor = await self._guard.visitor(request)
        at_ms = self._clock.now_ms()
        snapshot = self._board.latest
        return self._renderer.page(
            "health.html",
            title="Health",
            visitor=visitor,
            here="/health",
            trouble=self._trouble(snapshot, at_ms),
            rows=self._rows(snapshot, at_ms),
            probes=[self._probe(probe, snapshot, at_ms) for probe in self._shop.probes],
        )

    def _trouble(self, snapshot: Snapshot, at_ms: int) -> list[str]:
        said = list(snapshot.health.trouble)
        if snapshot.health.is_recording and is_behind(snapshot, at_ms):
            said.insert(0, "The watch has not followed time for some minutes: see to the service.")
        return said or _not_well(snapshot.health)

    def _rows(self, snapshot: Snapshot, at_ms: int) -> list[tuple[str, str]]:
        health = snapshot.health
        broker = "listening" if health.listening else f"not listening. {health.broker_problem}"
        messages = f"{health.outbox_waiting} waiting"
        if health.outbox_failing:
            messages += f", {health.outbox_failing} of them tried in vain"
        if health.outbox_given_up:
            messages += f"; {health.outbox_given_up} given up"
        if not health.senders_alive:
            messages += "; a sender has ended"
        followed = "not yet"
        if snapshot.at_ms:
            followed = wording.local_time(snapshot.at_ms, self._zone, day_of_ms=at_ms)
        rows = [
            ("Time followed up to", followed),
            ("Broker", broker.strip()),
            ("Arrived since the start", wording.counted(health.arrivals, "message")),
            ("Waiting to be judged", wording.counted(health.waiting_arrivals, "message")),
            ("On the disk", _on_disk(health)),
            ("Messages to people", messages),
            ("Journal", f"{health.journal_bytes / 1e6:.1f} MB"),
        ]
        if health.mirror:
            rows.append(("Mirror", health.mirror))
        return rows

    def _probe(self, probe: Probe, snapshot: Snapshot, at_ms: int) -> dict[str, str]:
        heard = dict(snapshot.probes_ms).get(probe.id)
        battery = dict(snapshot.batteries).get(probe.id)
        return {
            "id": str(probe.id),
            "unit": wording.printable(self._shop.unit[probe.unit].name),
            "measures": probe.measures.value,
            "heard": "never" if heard is None else wording.relative(heard, at_ms),
            "battery": "" if battery is None else f"{battery:g}",
        }


def _on_disk(health: Health) -> str:
    after = wording.duration(health.delay_s)
    return (
        f"{after} after arrival; the last batch took {wording.duration(health.batch_s)}, "
        f"{wording.duration(health.disk_s)} of it the disk"
    )


def _not_well(health: Health) -> list[str]:
    """Return what is wrong though the watch has not raised its voice about it (yet)."""
    said = []
    if not health.listening:
        said.append("The broker is not reached: nothing arrives.")
    if health.outbox_failing:
        count = wording.counted(health.outbox_failing, "message")
        said.append(f"{count} to people could not be delivered; each is tried again.")
    if not health.senders_alive:
        said.append("A sender of messages has ended: see to the service.")
    return said
