"""Publishers of every kind at once; service and broker are killed, and nothing is lost."""

import signal
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from mosquitto_broker import Mosquitto
from publishers import AT_MS, AT_S, PUBLISHERS
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.intake.proposal import propose
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.survey import Survey
from rimewatch.shop import Broker
from rimewatch.vocabulary import ProbeId
from service_process import Probes, ServiceProcess, until

pytestmark = pytest.mark.integration

ROUNDS = 30
STEP_S = 15
MINUTE_MS = 60_000
LARGE_QUEUE = "max_queued_messages 100000\n"

Message = tuple[str, bytes]


def dated(payload: bytes, at_ms: int) -> bytes:
    """Return a payload with its own time, where it has one, in place of the file's."""
    at = datetime.fromtimestamp(at_ms // 1000, tz=UTC)
    for before, after in (
        (str(AT_MS), str(at_ms)),
        (str(AT_S - 60), str(at_ms // 1000 - 5)),
        (str(AT_S), str(at_ms // 1000)),
        ("2026-03-02T08:00:00", at.strftime("%Y-%m-%dT%H:%M:%S")),
    ):
        payload = payload.replace(before.encode(), after.encode())
    return payload


def messages(at_ms: int) -> list[Message]:
    """Return what all of them send at one time, each below a level of its own.

    Sparkplug is left out: its data are QoS 0 by its standard, and no broker keeps them.
    """
    return [
        (f"p{number}/{topic}", dated(payload, at_ms))
        for number, publisher in enumerate(PUBLISHERS)
        for topic, payload in publisher.sends
        if not topic.startswith("spBv1.0/")
    ]


def expected(text: str, sent: list[list[Message]], now_ms: int) -> dict[str, set[int]]:
    """Return the times of all readings with a time of their own, as nothing disturbs them."""
    shop = load_shop(text)
    receiver = Receiver(shop)
    times: dict[str, set[int]] = {
        probe.id: set() for probe in shop.probes if "time" in probe.fields
    }
    for round_ in sent:
        for topic, payload in round_:
            for reading in receiver.receive(topic, payload, now_ms).readings:
                if reading.observed_ms != now_ms and reading.probe in times:
                    times[reading.probe].add(reading.observed_ms)
    return times


def heard_of(text: str, sent: list[list[Message]]) -> set[ProbeId]:
    """Return every probe that has readings in what is sent, dated by its arrival or not."""
    receiver = Receiver(load_shop(text))
    return {
        reading.probe
        for topic, payload in sent[-1]
        for reading in receiver.receive(topic, payload, AT_MS).readings
    }


def test_no_reading_is_lost_through_kills_of_service_and_broker(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """Configured as listening proposes; killed amid messages, and while a backlog is drained."""
    broker = start_mosquitto(LARGE_QUEUE)
    survey = Survey()
    now_ms = SystemClock().now_ms()
    for turn in range(3):
        for topic, payload in messages(now_ms - (3 - turn) * MINUTE_MS):
            survey.add(topic, payload, now_ms - (3 - turn) * MINUTE_MS)
    text = propose(survey.guesses(), Broker(url=broker.url, client_id="rimewatch"))
    config, journal = tmp_path / "shop.toml", tmp_path / "rimewatch.db"
    config.write_text(text, encoding="utf-8")
    sent = [messages(now_ms - (ROUNDS - n) * STEP_S * 1000) for n in range(ROUNDS)]
    wanted = expected(text, sent, now_ms)
    assert sum(map(len, wanted.values())) > 10 * ROUNDS, "most of the test would be empty"

    def kept(service: ServiceProcess) -> dict[str, set[int]]:
        found = service.look(
            lambda j: {probe: set(j.span(probe).times_ms.tolist()) for probe in wanted}  # type: ignore[arg-type]
        )
        return found or {probe: set() for probe in wanted}

    def missing(service: ServiceProcess) -> int:
        held = kept(service)
        return sum(len(times - held[probe]) for probe, times in wanted.items())

    def publish(rounds: list[list[Message]]) -> None:
        with Probes(broker.port) as probes:
            for round_ in rounds:
                for topic, payload in round_:
                    probes.publish(topic, [payload])

    everything = sum(map(len, wanted.values()))
    with ServiceProcess(config, journal) as service:
        service.wait_for("Listening")
        publish(sent[:10])
        until(lambda: missing(service) < everything, "the first readings")
        service.send(signal.SIGKILL)
        service.ended()
    publish(sent[10:20])
    heard = {probe.topic for probe in load_shop(text).probes}
    broker.until_saved([payload for topic, payload in sent[19] if topic in heard])
    broker.kill()
    broker.start()
    with ServiceProcess(config, journal) as service:
        until(lambda: missing(service) < everything * 0.6, "some of the backlog")
        service.send(signal.SIGKILL)
        service.ended()
    with ServiceProcess(config, journal) as service:
        publish(sent[20:])
        until(lambda: missing(service) == 0, "every reading")
        silent = service.look(lambda j: heard_of(text, sent) - set(j.known_probes()))
        findings = service.look(lambda j: j.verify())
        assert service.stop() == 0

    assert silent == set()
    assert findings == []
