"""Latency: from a reading's publication to the alarm's message in a phone's hands.

The service runs as a process of its own, with mosquitto on one side and an HTTP server on the
other that stands for the push service. Readings come at a steady pace; five times a second one
of them lifts its case over the limit, where no on-delay holds the alarm back. Beside it, in
turn, what broker and HTTP alone cost: a bare client that posts each warm reading as it comes.
"""

import json
import multiprocessing
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from harness import ROUNDS, Row, exponent
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from http_receiver import Answer, Receiver
from mosquitto_broker import Mosquitto
from service_process import ServiceProcess

CASES = 50
"""Cases that take turns at getting warm, and as many that stay cold."""
RATES = (10, 100, 1000)
"""Readings a second."""
ALARMS_A_SECOND = 5
SAMPLES = 40
"""Alarms in a round; the bare client gets a quarter of them."""
WARM, COLD = b"9.0", b"2.0"
PATIENCE_S = 30.0


def shop_text(port: int, phone: str) -> str:
    """Return a shop whose cases alarm at once."""
    head = (
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "UTC"\n'
        f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\n'
        f'[[contact]]\nid = "first"\nname = "On-call phone"\nurls = ["{phone}"]\n'
        '[[escalation]]\nafter_s = 0\ncontacts = ["first"]\nrepeat_s = 3600\n'
    )
    return head + "".join(
        f'[[unit]]\nid = "{kind}-{n}"\nname = "{kind}-{n}"\nkind = "display-case"\n'
        "lag_s = 0\non_delay_s = 0\n"
        f'[[probe]]\nid = "{kind}-{n}-air"\nunit = "{kind}-{n}"\nmeasures = "air"\n'
        f'topic = "shop/{kind}/{n}"\nformat = "number"\nevery_s = 600\n'
        for kind in ("turn", "calm")
        for n in range(CASES)
    )


class Phone(Receiver):
    """A push service that knows when each message came; the path says who sent it."""

    def __post_init__(self) -> None:
        """Begin to listen."""
        self.came: dict[str, float] = {}
        super().__post_init__()

    def take(self, body: bytes) -> Answer:
        """Note when a message came that says a case is warm."""
        at_s = time.perf_counter()
        answer = super().take(body)
        message = self.got.pop()
        if message["type"] in ("failure", "warning"):
            words = f"{message['title']} {message['message']}".replace(":", " ").split()
            case = next(word for word in words if word.startswith(("turn-", "bare-")))
            self.came[case.rstrip(",.")] = at_s
        return answer


def post_each(port: int, phone_port: int) -> None:
    """Post each warm reading of the bare client's cases: what is left when all else is gone."""

    def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
        if float(message.payload) > 5.0:
            case = "bare-" + message.topic.rsplit("/", 1)[1]
            body = json.dumps({"type": "failure", "title": case, "message": "warm"}).encode()
            request = urllib.request.Request(f"http://127.0.0.1:{phone_port}/", body)
            urllib.request.urlopen(request, timeout=10).close()

    def subscribe(client: Client, *_: object) -> None:
        client.subscribe("bare/#", qos=1)

    client = Client(CallbackAPIVersion.VERSION2, client_id="bench-bare")
    client.on_connect = subscribe
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_forever()


@dataclass(slots=True)
class Street:
    """Everything that runs: probes on one side, a phone on the other."""

    probes: Client
    phone: Phone

    def round(self, prefix: str, kind: str, rate: int, samples: int) -> list[float]:
        """Return the latencies, in seconds, of some alarms at a pace of readings.

        Args:
            prefix: Of the topics: who is to answer, the service or the bare client.
            kind: Of the cases that take turns.
            rate: Readings a second in all.
            samples: How many alarms.
        """
        self.phone.came.clear()
        sent: dict[str, float] = {}
        began_s = time.perf_counter()
        others = max(0.0, rate - 2 * ALARMS_A_SECOND)
        others_sent = 0
        pause = threading.Event()
        for number in range(samples):
            due_s = began_s + number / ALARMS_A_SECOND
            while (left_s := due_s - time.perf_counter()) > 0:
                wanted = int(others * (time.perf_counter() - began_s))
                for n in range(others_sent, wanted):
                    self.probes.publish(f"{prefix}/calm/{n % CASES}", COLD, qos=1)
                others_sent = max(others_sent, wanted)
                pause.wait(min(left_s, 0.01))
            case = number % CASES
            sent[f"{kind}-{case}"] = time.perf_counter()
            self.probes.publish(f"{prefix}/{kind}/{case}", WARM, qos=1)
            # Ten turns later it is cold again: the message that tells so is part of the load.
            if number >= 10:
                self.probes.publish(f"{prefix}/{kind}/{(number - 10) % CASES}", COLD, qos=1)
        self.phone.wait_for(
            lambda _: len(self.phone.came) >= len(sent), f"{len(sent)} alarms", PATIENCE_S
        )
        for number in range(max(0, samples - 10), samples):
            self.probes.publish(f"{prefix}/{kind}/{number % CASES}", COLD, qos=1)
        return [self.phone.came[case] - at_s for case, at_s in sent.items()]


@contextmanager
def street() -> Iterator[Street]:
    """Run broker, phone, service and bare client, every case cold."""
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        phone = Phone()
        config = folder / "shop.toml"
        config.write_text(shop_text(broker.port, phone.url("first")), encoding="utf-8")
        bare = multiprocessing.Process(
            target=post_each, args=(broker.port, phone.port), daemon=True
        )
        bare.start()
        probes = Client(CallbackAPIVersion.VERSION2, client_id="bench-probes")
        probes.max_inflight_messages_set(2000)
        probes.connect("127.0.0.1", broker.port)
        probes.loop_start()
        try:
            with ServiceProcess(config, folder / "rimewatch.db") as service:
                service.wait_for("Listening")
                for kind in ("turn", "calm"):
                    for n in range(CASES):
                        probes.publish(f"shop/{kind}/{n}", COLD, qos=1)
                service.wait_for_readings(f"calm-{CASES - 1}-air", 1)
                yield Street(probes, phone)
                assert service.stop() == 0, service.said
        finally:
            bare.terminate()
            bare.join()
            probes.disconnect()
            probes.loop_stop()
            phone.close()
            broker.stop()


def percentile(values: list[float], share: float) -> float:
    """Return the value that a share of them does not exceed."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def run(rounds: int = ROUNDS, samples: int = SAMPLES, rates: tuple[int, ...] = RATES) -> list[Row]:
    """Return a row for each pace of readings."""
    rows = []
    with street() as all_of_it:
        for rate in rates:
            ours: list[list[float]] = []
            bare: list[list[float]] = []
            for turn in range(rounds):
                for who in ("shop", "bare") if turn % 2 else ("bare", "shop"):
                    if who == "shop":
                        ours.append(all_of_it.round("shop", "turn", rate, samples))
                    else:
                        bare.append(all_of_it.round("bare", "bare", rate, max(1, samples // 4)))
            row = Row(
                f"Latency at {rate:,} readings/s, {rounds * samples} alarms",
                "ms",
                less_is_better=True,
            )
            for name, found in (("rimewatch", ours), ("bare client that posts", bare)):
                every = [1000.0 * one for each in found for one in each]
                for label, share in (("p50", 0.5), ("p99", 0.99)):
                    row.put(
                        f"{name}, {label}",
                        percentile(every, share),
                        [1000.0 * percentile(each, share) for each in found],
                    )
            rows.append(row)
    for percent in ("p50", "p99") if len(rates) > 1 else ():
        ours_ms = {
            rate: row.figures[f"rimewatch, {percent}"]
            for rate, row in zip(rates, rows, strict=True)
        }
        slope = f"{percent} grows with the readings by the exponent {exponent(ours_ms):.2f}"
        rows[-1].note = f"{rows[-1].note}; {slope}" if rows[-1].note else slope
    return rows
