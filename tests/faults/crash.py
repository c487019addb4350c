"""Kills the service at random moments, also within a commit, while a real broker feeds it.

    python tests/faults/crash.py --times 300 --seed 1

Each time it goes on from its journal, and is killed again: by SIGKILL after a random while, by
SIGKILL as it enters a random system call that writes or syncs the journal, or by the disk
refusing some of those calls for a while. Afterwards everything is put right, and then

- every reading that was published is in the journal, once, with its value;
- the units of the ledger are those of an undisturbed replay of what was published;
- the lot that is held meanwhile has the hold that the undisturbed replay gives it;
- each alarm was told at least once, and nothing twice unless the service died within seconds
  of the phone's taking it, or the disk refused all the while until it did;
- the journal is sound and its seals hold.

System calls are made to fail by strace's fault injection (strace(1), "Tampering").
"""

import argparse
import itertools
import json
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

sys.path.insert(0, str(Path(__file__).parents[1]))

import click
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from conflicts_kept import conflict_counts
from http_receiver import Answer, Receiver
from mosquitto_broker import Mosquitto
from rimewatch.config import read_shop
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.intake.trace import TraceMessage
from rimewatch.journal.reader import JournalReader
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of, resume
from rimewatch.vocabulary import ProbeId
from service_process import ServiceProcess

CASES: Final = ("case-1", "case-2", "case-3")
PROBES: Final = (*CASES, "freezer-1")
STEP_MS: Final = 5_000
"""Between two readings of a probe, in the shop's time."""
PAST_MS: Final = 20 * 86_400_000
"""How long ago the first reading was taken: nearer than a payload's time may lie back."""
A_SECOND: Final = 300
"""Messages published in a second, all probes together."""
WARM: Final = range(150, 330)
"""Of each 600 readings of a probe those that are warm: an alarm each time."""

SHOP: Final = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
entries = true
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:{phone}/first"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 864000
"""
UNIT: Final = """
[[unit]]
id = "{unit}"
name = "{unit}"
kind = "display-case"
on_delay_s = 300
lag_s = 0
[[probe]]
id = "{unit}-fish"
unit = "{unit}"
measures = "product"
topic = "shop/{unit}/fish"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 60
"""
FREEZER: Final = """
[[unit]]
id = "freezer-1"
name = "freezer-1"
kind = "freezer"
[[probe]]
id = "freezer-1-fish"
unit = "freezer-1"
measures = "product"
topic = "shop/freezer-1/fish"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 60
"""
"""Where the lot is held: cold always but for half an hour that breaks its hold now and then."""
LOT: Final = (
    {
        "do": "receive-lot",
        "species": "Oncorhynchus nerka",
        "origin": "wild",
        "serve_raw": True,
    },
    {"do": "start-freezing", "unit": "freezer-1", "option": "20C-24h"},
)
BREAKS: Final = range(5000, 5360)
"""Of each 40,000 readings of the freezer those that are too warm for its lot."""
LIVES_LONG_SHARE: Final = 0.15
LONG_S: Final = (20.0, 45.0)
"""Deaths are rare as well: alarms are raised, told, repeated and over in one such life."""
NOTED_WITHIN_S: Final = {"kill": 2.0, "kill in a call": 6.0}
"""A service that lives notes within so long what a phone took; under strace it is slow."""
BACKDATED: Final = "backdated"
SINCE: Final = "Above the limit since"
ENTRY_TOPIC: Final = "rimewatch/rimewatch/entry"
SENT_LATE: Final = "Sent late:"
EVER_MS: Final = 10**14
CALLS: Final = ("pwrite64", "fdatasync", "ftruncate")
REFUSALS: Final = ("EIO", "ENOSPC")


class TimedReceiver(Receiver):
    """A phone that knows when each message came."""

    def __post_init__(self) -> None:
        self.taken: list[tuple[float, str, str]] = []
        super().__post_init__()

    def take(self, body: bytes) -> Answer:
        """Note when it came."""
        answer = super().take(body)
        if answer is Answer.TAKE:
            message = json.loads(body)
            self.taken.append((time.monotonic(), str(message["title"]), str(message["message"])))
        return answer


class Publisher(threading.Thread):
    """Publishes at QoS 1, at an even pace, until it is told to stop; knows what it published."""

    def __init__(self, port: int, start_ms: int) -> None:
        super().__init__(name="publisher", daemon=True)
        self._port = port
        self._start_ms = start_ms
        self._enough = threading.Event()
        self.published: list[TraceMessage] = []

    def run(self) -> None:
        """Publish."""
        client = Client(CallbackAPIVersion.VERSION2, client_id="probes-of-the-test")
        client.max_inflight_messages_set(500)
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        number = 0
        for body in LOT:
            entry = {**body, "lot": "L1", "at": _iso(self._start_ms)}
            line = json.dumps(entry).encode()
            self.published.append(
                TraceMessage(at_ms=self._start_ms, topic=ENTRY_TOPIC, payload=line, retained=False)
            )
            client.publish(ENTRY_TOPIC, line, qos=1).wait_for_publish(60.0)
        sent = []
        while not self._enough.wait(0.1):
            for _ in range(A_SECOND // 10 // len(PROBES)):
                at_ms = self._start_ms + number * STEP_MS
                assert number * STEP_MS < PAST_MS, "no reading is of the future"
                for place, unit in enumerate(PROBES):
                    payload = _payload(unit, number + 200 * place, at_ms)
                    topic = f"shop/{unit}/fish"
                    self.published.append(TraceMessage(at_ms=at_ms, topic=topic, payload=payload))
                    sent.append(client.publish(topic, payload, qos=1))
                number += 1
            sent = [info for info in sent if not info.is_published()]
        for info in sent:
            info.wait_for_publish(60.0)
            assert info.is_published(), "the broker did not confirm a message"
        client.disconnect()
        client.loop_stop()

    def stop(self) -> None:
        """Stop, once the broker has confirmed everything."""
        self._enough.set()
        self.join(120.0)
        assert not self.is_alive()


def _payload(unit: str, number: int, at_ms: int) -> bytes:
    if unit in CASES:
        warm_c = 8.0 if number % 600 in WARM else 2.0
    else:
        warm_c = -19.5 if number % 40_000 in BREAKS else -26.0
    celsius = round(warm_c + (number % 7) / 10, 1)
    return json.dumps({"t": celsius, "ts": _iso(at_ms)}).encode()


def _iso(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).isoformat()


class InjectedService(ServiceProcess):
    """The service under strace, which tampers with some of its system calls."""

    def __init__(self, config: Path, journal: Path, injection: str, call: str) -> None:
        super().__init__(config, journal)
        self.prefix = ("strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}")
        self.prefix += ("-e", f"inject={call}:{injection}", "--")


@dataclass
class Tally:
    """What was done to the service, and when it died."""

    how: Counter[str] = field(default_factory=Counter)
    unnoted_s: list[tuple[float, float]] = field(default_factory=list)
    """Times, by the machine's own, in which what a phone took may never have been noted."""


def crash(times: int, seed: int, *, say: bool = False) -> dict[str, Any]:
    """Kill the service so many times; return what was done and what was found afterwards.

    Raises:
        AssertionError: If anything was lost, doubled or judged otherwise.
    """
    folder = Path(tempfile.mkdtemp(prefix="rimewatch-crash-"))
    broker = Mosquitto(folder / "broker", "max_queued_messages 0\nmax_inflight_messages 200\n")
    broker.start()
    phone = TimedReceiver()
    config, journal = folder / "shop.toml", folder / "rimewatch.db"
    config.write_text(
        SHOP.format(port=broker.port, phone=phone.port)
        + "".join(UNIT.format(unit=unit) for unit in CASES)
        + FREEZER.format()
    )
    start_ms = time.time_ns() // 1_000_000 - PAST_MS
    start_ms -= start_ms % STEP_MS
    publisher = Publisher(broker.port, start_ms)
    tally = Tally()
    try:
        with ServiceProcess(config, journal) as first:
            first.wait_for("Listening")  # the broker keeps what comes from here on
        publisher.start()
        dice = random.Random(seed)
        for number in range(times):
            _disturb(config, journal, dice, tally)
            if say and sys.stderr.isatty():
                click.echo(f"\r{number + 1} of {times}: {dict(tally.how)}", nl=False, err=True)
        publisher.stop()
        _drain(config, journal, publisher.published)
        found = _examine(config, journal, publisher.published, phone, tally)
    finally:
        broker.stop()
        phone.close()
    shutil.rmtree(folder)
    return {"seed": seed, "times": times, "how": dict(tally.how), **found}


def _disturb(config: Path, journal: Path, dice: random.Random, tally: Tally) -> None:
    how = dice.choice(("kill", "kill in a call", "disk refuses"))
    began_s = time.monotonic()
    call = dice.choice(CALLS[:2] if how == "disk refuses" else CALLS)
    if how == "kill":
        with ServiceProcess(config, journal) as service:
            if dice.random() < 0.8:  # else while it starts
                service.wait_for("Listening")
            lives_long = dice.random() < LIVES_LONG_SHARE
            _rest(dice.uniform(*LONG_S) if lives_long else dice.uniform(0.0, 1.5))
            service.send(signal.SIGKILL)
            service.ended()
    elif how == "kill in a call":
        when = dice.randint(1, 40 if call == "fdatasync" else 400)
        with InjectedService(config, journal, f"signal=KILL:when={when}", call) as service:
            if not _until_ended(service, 15.0):
                how = "kill"  # it did not come so far
    else:
        refusal, when = dice.choice(REFUSALS), dice.randint(5, 60)
        injection = f"error={refusal}:when={when}..{when + dice.randint(0, 8)}"
        with InjectedService(config, journal, injection, call) as service:
            _until_told(service)
            _until_ended(service, dice.uniform(0.5, 3.0))
        how = f"{how} ({refusal})"
    tally.how[how] += 1
    died_s = time.monotonic()
    # Where the disk refused, nothing could be noted from some time in that life on.
    noted_s = NOTED_WITHIN_S.get(how, died_s - began_s)
    tally.unnoted_s.append((died_s - noted_s - 0.5, died_s))


def _rest(seconds: float) -> None:
    threading.Event().wait(seconds)


def _until_told(service: ServiceProcess) -> None:
    """Wait until it has met the failing disk, or listens without having met it."""
    end_s = time.monotonic() + 15.0
    while not service.is_over() and time.monotonic() < end_s:
        if "Not recording" in service.said or "Listening" in service.said:
            return
        _rest(0.05)


def _until_ended(service: ServiceProcess, within_s: float) -> bool:
    """Wait for its end, or kill it; return whether it ended by itself."""
    end_s = time.monotonic() + within_s
    while not service.is_over() and time.monotonic() < end_s:
        _rest(0.05)
    by_itself = service.is_over()
    if not by_itself:
        service.send_to_all(signal.SIGKILL)
    service.ended()
    return by_itself


def _drain(config: Path, journal: Path, published: Sequence[TraceMessage]) -> None:
    """Let the service take in what is left, and send what is due."""
    each = (len(published) - len(LOT)) // len(PROBES)
    with ServiceProcess(config, journal) as service:
        for unit in PROBES:
            service.wait_for_readings(f"{unit}-fish", each, within_s=600.0)
        end_s = time.monotonic() + 120.0
        while service.look(lambda j: j.outbox_backlog().waiting) and time.monotonic() < end_s:
            _rest(0.1)
        assert service.stop() == 0, service.said
        assert "Traceback" not in service.said, service.said


def _examine(
    config: Path,
    journal: Path,
    published: Sequence[TraceMessage],
    phone: TimedReceiver,
    tally: Tally,
) -> dict[str, Any]:
    shop = read_shop(config, {})
    undisturbed = ledger_document(replay(shop, published, summaries=False).ledger)
    expected = undisturbed["units"]
    with JournalReader.open(journal) as reader:
        kept = {unit: reader.span(ProbeId(f"{unit}-fish")) for unit in PROBES}
        for unit, span in kept.items():
            said = [m for m in published if m.topic == f"shop/{unit}/fish"]
            times_ms, celsius = [m.at_ms for m in said], [json.loads(m.payload)["t"] for m in said]
            assert span.times_ms.tolist() == times_ms, f"{unit}: readings lost or doubled"
            assert span.values.round(3).tolist() == celsius, f"{unit}: a value changed"
        from_ms, to_ms = published[0].at_ms, published[-1].at_ms
        evaluator = resume(shop, reader, to_ms).evaluator
        account = account_of(reader, evaluator, from_ms, to_ms)
        whole = ledger_document(build_ledger(shop, reader, account, from_ms=from_ms, to_ms=to_ms))
        # What is entered here is of three weeks ago, and the ledger says so.
        ledger, lots = whole["units"], [_entered_in_time(lot) for lot in whole["lots"]]
        assert lots == undisturbed["lots"], f"a lot is {lots}, should be {undisturbed['lots']}"
        for unit in PROBES:
            assert _facts(ledger[unit]) == _facts(expected[unit]), f"{unit}: judged otherwise"
        kept_alarms = [json.loads(row.text) for row in reader.alarms_between(0, EVER_MS)]
        # Two excursions judged in one instant are one alarm, raised again.
        raised = Counter[str]()
        for alarm in kept_alarms:
            raised[alarm["key"]["unit"]] += 1 + alarm["chatter"]
        wanted = Counter(alarm["unit"] for alarm in undisturbed["alarms"])
        assert raised == wanted, f"alarms raised {raised}, by the replay {wanted}"
        assert conflict_counts(reader.path) == {}
        assert reader.verify() == []
        rows = list(_outbox(reader))
    doubled = _told_twice(rows, phone, tally)
    return {
        "readings": sum(len(span.times_ms) for span in kept.values()),
        "excursions": sum(len(unit["excursions"]) for unit in expected.values()),
        "messages": len(rows),
        "told twice, after a death between sending and noting": doubled,
        "lost": 0,
    }


def _facts(unit: dict[str, Any]) -> dict[str, Any]:
    """Return what may not depend on when readings arrived."""
    excursions = [{k: v for k, v in e.items() if k != "alarmed"} for e in unit["excursions"]]
    return {**unit, "excursions": excursions}


def _entered_in_time(lot: dict[str, Any]) -> dict[str, Any]:
    """Return a lot without the doubt that it was entered long after it was so."""
    return {
        **lot,
        "doubts": [doubt for doubt in lot["doubts"] if doubt != BACKDATED],
        "reasons": [why for why in lot["reasons"] if why["reason"] != BACKDATED],
    }


def _outbox(reader: JournalReader) -> Iterator[tuple[str, str, str | None, int | None]]:
    yield from reader._connection.execute(
        "SELECT title, body, alarm_id, sent_ms FROM outbox ORDER BY id"
    )


def _told_twice(
    rows: Sequence[tuple[str, str, str | None, int | None]], phone: TimedReceiver, tally: Tally
) -> int:
    """Return how many messages were sent again: taken so soon before a death that none noted it."""
    told = {alarm for _, _, alarm, sent_ms in rows if sent_ms is not None}
    unheard = {alarm for _, _, alarm, _ in rows if alarm is not None} - told
    assert not unheard, f"alarms that nobody was told of: {unheard}"
    # Only what tells since when it is warm differs from every other message.
    unlike = Counter(body for _, body, _, sent_ms in rows if sent_ms is not None and SINCE in body)
    heard: dict[str, list[float]] = {body: [] for body, count in unlike.items() if count == 1}
    for at_s, _, message in phone.taken:
        if (body := message.partition(SENT_LATE)[0].rstrip()) in heard:
            heard[body].append(at_s)
    doubled = 0
    for body, came in heard.items():
        assert came, f"noted as sent, and never came: {body}"
        for before, after in itertools.pairwise(came):
            unnoted = (begun <= before <= died <= after for begun, died in tally.unnoted_s)
            assert any(unnoted), f"twice: {body}"
            doubled += 1
    assert heard, "some messages can be told from each other"
    return doubled


def main() -> None:
    """Run it as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--times", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    click.echo(json.dumps(crash(chosen.times, chosen.seed, say=True), indent=2))


if __name__ == "__main__":
    main()
