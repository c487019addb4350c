"""How soon the service judges its first reading, and how much memory it takes with 50 probes.

    python benchmarks/start_and_memory.py

Starts mosquitto and ``rimewatch run`` as processes, publishes, and looks into the journal and
into /proc. Linux only; touches only this machine; ends by itself in about half a minute.
"""

import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from mosquitto_broker import Mosquitto
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.vocabulary import ProbeId

PROBES = 50
ROUNDS = 120
LIMIT_S = 60.0


def configuration(port: int) -> str:
    """Return a shop of 25 cases with two probes each."""
    head = '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    head += f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\n'
    units = "".join(
        f'[[unit]]\nid = "case-{n}"\nname = "Case {n}"\nkind = "display-case"\n'
        for n in range(PROBES // 2)
    )
    probes = "".join(
        f'[[probe]]\nid = "p-{n}"\nunit = "case-{n // 2}"\nmeasures = "air"\n'
        f'topic = "shop/p-{n}"\nformat = "number"\n'
        for n in range(PROBES)
    )
    return head + units + probes


def kept(journal: Path, probe: str) -> int:
    """Return how many readings of a probe are in the journal."""
    try:
        with JournalReader.open(journal) as reader:
            return len(reader.span(ProbeId(probe)))
    except JournalError:
        return 0


def resident_mb(pid: int) -> dict[str, float]:
    """Return present and peak resident memory in MB, as the kernel counts them."""
    text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    fields = dict(line.split(":", 1) for line in text.splitlines())
    return {name: int(fields[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM")}


def main() -> int:
    """Measure once, and print."""
    breath = threading.Event()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        shop, journal = folder / "shop.toml", folder / "rimewatch.db"
        shop.write_text(configuration(broker.port), encoding="utf-8")
        client = Client(CallbackAPIVersion.VERSION2, client_id="probes")
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        command = [sys.executable, "-m", "rimewatch", "run"]
        command += ["--config", str(shop), "--journal", str(journal)]
        begun = time.monotonic()
        service = subprocess.Popen(command, env=os.environ, stderr=subprocess.DEVNULL)
        try:
            while not kept(journal, "p-0"):
                if time.monotonic() - begun > LIMIT_S:
                    print("no reading came through")
                    return 1
                client.publish("shop/p-0", b"2.1", qos=1)
                breath.wait(0.05)
            took_s = time.monotonic() - begun
            print(f"from the process's start to the first judged reading: {took_s:.2f} s")
            for n in range(ROUNDS):
                for probe in range(PROBES):
                    value = 2.0 + n % 7 / 10
                    client.publish(f"shop/p-{probe}", f"{value:.1f}".encode(), qos=1)
                breath.wait(0.05)
            end_s = time.monotonic() + LIMIT_S
            while kept(journal, f"p-{PROBES - 1}") < ROUNDS * 0.9 and time.monotonic() < end_s:
                breath.wait(0.2)
            got = resident_mb(service.pid)
            now, peak = got["VmRSS"], got["VmHWM"]
            print(f"{PROBES} probes, {PROBES * ROUNDS:,} readings: {now:.0f} MB, peak {peak:.0f}")
        finally:
            service.terminate()
            service.wait(timeout=30)
            client.disconnect()
            client.loop_stop()
            broker.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
