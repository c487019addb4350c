"""Holds the service for a while, as a machine that sleeps would, while a real broker is fed.

    python tests/faults/standstill.py --held-s 75

The process is stopped by SIGSTOP and continued by SIGCONT. Meanwhile the probes go on: one case
stays cold, one warms and is cold again before the service is back, one warms and stays warm.
The broker closes the connection, since nobody answers it any more. Afterwards

- every reading that was published is in the journal, once, with its value;
- no probe was accused of silence, though nothing of any was heard for longer than that takes;
- the standstill is on the record, and so is that the broker had kept the session;
- both warm cases have their alarm, and the phone has heard of both;
- a probe that falls silent when all of this is over is told of: silence is still noticed.
"""

import argparse
import json
import shutil
import signal
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

sys.path.insert(0, str(Path(__file__).parents[1]))

import click
from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion

from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.intake.arrivals import Happening
from rimewatch.vocabulary import ProbeId, Rule
from service_process import ServiceProcess, until

COLD: Final = "cold"
PASSING: Final = "passing"
LASTING: Final = "lasting"
CASES: Final = (COLD, PASSING, LASTING)
EVERY_S: Final = 1.0
"""Between two readings of a probe."""
STALE_S: Final = 30.0
"""After so long a probe counts as silent."""
LEAST_HELD_S: Final = 60.0
"""A shorter time is a slow turn of the service's loop, and no standstill."""
PATIENCE_S: Final = 120.0
EVER_MS: Final = 10**14
TIMED_OUT: Final = "exceeded timeout"

SHOP: Final = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:{phone}/first"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 3600
"""
UNIT: Final = """
[[unit]]
id = "{case}"
name = "The {case} case"
kind = "display-case"
on_delay_s = 20
lag_s = 0
[[probe]]
id = "{case}-fish"
unit = "{case}"
measures = "product"
topic = "shop/{case}/fish"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 10
stale_s = 30
"""


class Probes(threading.Thread):
    """Publishes a reading of each case each second at QoS 1; knows what it published."""

    def __init__(self, port: int) -> None:
        super().__init__(name="probes", daemon=True)
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="probes-of-the-test")
        self._client.max_queued_messages_set(0)
        self._client.connect("127.0.0.1", port)
        self._enough = threading.Event()
        self._sent: list[MQTTMessageInfo] = []
        self.warm: frozenset[str] = frozenset()
        self.silent: frozenset[str] = frozenset()
        self.published: dict[str, list[tuple[int, float]]] = {case: [] for case in CASES}
        """Of each case when a reading was taken, and what it was."""

    def run(self) -> None:
        """Publish until told to stop."""
        self._client.loop_start()
        number = 0
        while not self._enough.wait(EVERY_S):
            for case in CASES:
                if case not in self.silent:
                    self._publish(case, (8.0 if case in self.warm else 2.0) + number % 7 / 10)
            number += 1
        for info in self._sent:
            info.wait_for_publish(PATIENCE_S)
            assert info.is_published(), "the broker did not confirm a message"
        self._client.disconnect()
        self._client.loop_stop()

    def _publish(self, case: str, celsius: float) -> None:
        at_ms, said_c = time.time_ns() // 1_000_000, round(celsius, 1)
        at = datetime.fromtimestamp(at_ms / 1000, tz=UTC).isoformat(timespec="milliseconds")
        self.published[case].append((at_ms, said_c))
        payload = json.dumps({"t": said_c, "ts": at})
        self._sent.append(self._client.publish(f"shop/{case}/fish", payload, qos=1))

    def stop(self) -> None:
        """Stop, once the broker has confirmed everything."""
        self._enough.set()
        self.join(PATIENCE_S)
        assert not self.is_alive()


def hold(held_s: float) -> dict[str, Any]:
    """Hold the service for so long; return what was found afterwards.

    Raises:
        AssertionError: If anything was lost, doubled, not told, or a probe accused.
    """
    assert held_s >= LEAST_HELD_S, f"held for {held_s} s: expected at least {LEAST_HELD_S}"
    folder = Path(tempfile.mkdtemp(prefix="rimewatch-standstill-"))
    broker = Mosquitto(folder / "broker", "max_queued_messages 0\n")
    broker.start()
    phone = Receiver()
    config = folder / "shop.toml"
    config.write_text(
        SHOP.format(port=broker.port, phone=phone.port)
        + "".join(UNIT.format(case=case) for case in CASES)
    )
    probes = Probes(broker.port)
    try:
        with ServiceProcess(config, folder / "rimewatch.db") as service:
            service.wait_for("Listening")
            probes.start()
            service.wait_for_readings(f"{COLD}-fish", 5)
            found = _hold(service, probes, phone, held_s)
            found["broker"] = _what_the_broker_saw(broker)
            found["a silent probe told of after s"] = _fall_silent(service, probes, phone)
            probes.stop()
            _look_for(service, probes)
            found["readings"] = sum(map(len, probes.published.values()))
            assert service.stop() == 0, service.said
            assert "Traceback" not in service.said, service.said
            assert service.look(lambda journal: journal.verify()) == []
    finally:
        broker.stop()
        phone.close()
    shutil.rmtree(folder)
    return {"held s": held_s, **found, "lost": 0, "accused": 0}


def _hold(
    service: ServiceProcess, probes: Probes, phone: Receiver, held_s: float
) -> dict[str, Any]:
    """Stop the process, let the fish warm, continue it; see that all is caught up and told."""
    service.send(signal.SIGSTOP)
    before = {case: len(probes.published[case]) for case in CASES}
    _rest(0.2 * held_s)
    probes.warm = frozenset({PASSING, LASTING})
    _rest(0.4 * held_s)
    probes.warm = frozenset({LASTING})
    _rest(0.4 * held_s)
    assert phone.titles() == [], "nothing can be told while it is held"
    meanwhile = {case: len(probes.published[case]) for case in CASES}
    began_s = time.monotonic()
    service.send(signal.SIGCONT)
    for case in CASES:
        service.wait_for_readings(f"{case}-fish", meanwhile[case], within_s=PATIENCE_S)
    caught_up_s = time.monotonic() - began_s
    for case in (PASSING, LASTING):
        phone.wait_for(lambda p, case=case: _told(p, case), f"word of {case}", PATIENCE_S)
    told_s = time.monotonic() - began_s
    probes.warm = frozenset()
    _look_at_the_record(service, held_s)
    return {
        "published while it was held": sum(meanwhile[case] - before[case] for case in CASES),
        "all on the disk after s": round(caught_up_s, 1),
        "both warm cases told after s": round(told_s, 1),
    }


def _told(phone: Receiver, case: str) -> bool:
    return any(title.startswith(f"The {case} case") for title in phone.titles())


def _look_at_the_record(service: ServiceProcess, held_s: float) -> None:
    service.wait_for("The service stood still for ")
    events = service.look(lambda journal: journal.events_between(0, EVER_MS)) or []
    stood = [event.detail for event in events if event.what == "stood still"]
    assert len(stood) == 1, f"on the record: {stood}"
    noted_s = float(stood[0].removeprefix("for ").partition(" s")[0])
    assert abs(noted_s - held_s) < 5.0, f"{noted_s} s on the record, held for {held_s} s"
    whats = [event.what for event in events]
    assert f"broker {Happening.SESSION_LOST.value}" not in whats, "the broker kept the session"
    assert f"broker {Happening.DISCONNECTED.value}" in whats, whats
    alarms = service.look(lambda journal: journal.alarms_between(0, EVER_MS)) or []
    raised = sorted((str(alarm.unit), alarm.rule) for alarm in alarms)
    assert raised == [(LASTING, Rule.HOLDING), (PASSING, Rule.HOLDING)], raised


def _what_the_broker_saw(broker: Mosquitto) -> str:
    """Return in the broker's own words that it closed the connection while nobody answered."""
    lines = (broker.folder / "mosquitto.log").read_text().splitlines()
    (seen,) = [line for line in lines if TIMED_OUT in line]
    return seen.partition(": ")[2]


def _fall_silent(service: ServiceProcess, probes: Probes, phone: Receiver) -> float:
    """Let one probe fall silent; return after how long it was told of, in seconds."""
    probes.silent = frozenset({COLD})
    began_s = time.monotonic()

    def accused() -> bool:
        alarms = service.look(lambda journal: journal.alarms_between(0, EVER_MS)) or []
        return any(alarm.rule is Rule.STALE and alarm.unit == COLD for alarm in alarms)

    until(accused, "an alarm about a probe that is silent", within_s=PATIENCE_S)
    phone.wait_for(lambda p: _told(p, COLD), "word of it", PATIENCE_S)
    took_s = time.monotonic() - began_s
    assert took_s >= STALE_S - 2 * EVERY_S, f"accused after {took_s} s already"
    return round(took_s, 1)


def _look_for(service: ServiceProcess, probes: Probes) -> None:
    """See that the journal holds what was published, each reading once."""
    for case, published in probes.published.items():
        service.wait_for_readings(f"{case}-fish", len(published), within_s=PATIENCE_S)
        span = service.look(lambda journal, case=case: journal.span(ProbeId(f"{case}-fish")))
        assert span is not None
        kept = list(zip(span.times_ms.tolist(), span.values.round(3).tolist(), strict=True))
        assert kept == published, f"{case}: readings lost, doubled or changed"


def _rest(seconds: float) -> None:
    threading.Event().wait(seconds)


def main() -> None:
    """Run it as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--held-s", type=float, default=75.0)
    chosen = parser.parse_args()
    click.echo(json.dumps(hold(chosen.held_s), indent=2))


if __name__ == "__main__":
    main()
