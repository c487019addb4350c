"""A year's record: five units, eight temperature probes, a reading a minute, some 750 excursions.

Writes a journal (minutes) unless the folder has one, then times ``rimewatch records`` on it,
as a process of its own, for each form.

    python benchmarks/year_record.py FOLDER
"""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from rimewatch.alarms import codec
from rimewatch.config import load_shop
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.journal import Journal
from rimewatch.journal.checkpoints import ALARM_STATE, EVALUATOR_STATE
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

START_MS = 1_735_689_600_000
"""2025-01-01T00:00:00Z."""
DAYS = 365
PER_DAY = 1440

UNITS = (
    ("case-1", "display-case", 1.0, ("air", "product")),
    ("case-2", "display-case", 1.0, ("air", "product")),
    ("walk-in", "walk-in", 1.5, ("air", "product")),
    ("freezer-1", "freezer", -22.0, ("air",)),
    ("ultra-1", "ultra-low-freezer", -66.0, ("air",)),
)

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "UTC"
[broker]
url = "mqtt://127.0.0.1:1883"
"""


def shop_text() -> str:
    """Return the configuration."""
    text = SHOP
    for unit, kind, _, probes in UNITS:
        text += f'[[unit]]\nid = "{unit}"\nname = "{unit}"\nkind = "{kind}"\n'
        for measures in probes:
            text += (
                f'[[probe]]\nid = "{unit}-{measures}"\nunit = "{unit}"\nmeasures = "{measures}"\n'
                f'topic = "{unit}/{measures}"\n'
            )
    return text


def curves(random: np.random.Generator) -> dict[str, np.ndarray]:
    """Return each probe's year: swings, defrosts, long open doors, and a power loss a month."""
    minutes = np.arange(DAYS * PER_DAY)
    found = {}
    outages = [(day * PER_DAY + 200, 150) for day in range(15, DAYS, 30)]
    cooled = np.ones(len(minutes))
    for at, length in outages:
        cooled[at : at + length] = 0.0
    for number, (unit, _, level, probes) in enumerate(UNITS):
        air = level + 0.8 * cooled * np.sin(2 * np.pi * (minutes + 5 * number) / 21)
        air += random.normal(0.0, 0.1, len(minutes))
        air += cooled * np.where((minutes + 97 * number) % 360 < 25, 2.5, 0.0)
        warm = np.zeros(len(minutes))
        for day in range(DAYS):
            if random.random() < 0.4:
                at = day * PER_DAY + int(random.integers(300, 1300))
                warm[at : at + 70] += 9.0 * (1.0 - np.exp(-np.arange(70) / 20))
        for at, length in outages:
            warm[at : at + length] += 10.0 * np.arange(length) / length
        air += warm
        found[f"{unit}-air"] = np.round(air, 2)
        if "product" in probes:
            fish, share = np.empty(len(minutes)), 1.0 / 25
            last = level
            for at, value in enumerate(level + warm):
                last += share * (value - last)
                fish[at] = last
            found[f"{unit}-product"] = np.round(fish + random.normal(0.0, 0.03, len(fish)), 2)
    return found


def write(folder: Path) -> None:
    """Write the shop and its journal."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(shop_text(), encoding="utf-8")
    shop = load_shop(shop_text())
    made = curves(np.random.default_rng(20250101))
    end_ms = START_MS + DAYS * MS_PER_DAY
    with Journal.open(folder / "rimewatch.db") as journal:
        for day in range(DAYS):
            with journal.batch():
                for probe, values in made.items():
                    first = day * PER_DAY
                    journal.add_readings(
                        [
                            Reading(
                                probe=ProbeId(probe),
                                observed_ms=START_MS + n * 60_000,
                                arrived_ms=START_MS + n * 60_000,
                                raw=float(values[n]),
                                value=float(values[n]),
                            )
                            for n in range(first, first + PER_DAY)
                        ]
                    )
            while journal.compact(START_MS + (day - 1) * MS_PER_DAY, 64):
                pass
        evaluator = Evaluator(shop, journal, end_ms)
        for probe, track in evaluator.tracks.items():
            track.load()
            assert track.state.last_ms is not None, "every probe has a year"
            text = track_codec.to_text(track)
            journal.save_checkpoint(f"track:{probe}", track.state.last_ms, text)
        journal.save_state(ALARM_STATE, codec.to_json(evaluator.alarms))
        known = {
            "watching_since_ms": START_MS,
            "seen_until_ms": end_ms,
            "entry_number": 0,
            "batteries": {},
        }
        journal.save_state(EVALUATOR_STATE, json.dumps(known))


def main(folder: Path) -> None:
    """Write what is missing, then measure."""
    if not (folder / "rimewatch.db").exists():
        write(folder)
    for form in ("csv", "json", "pdf"):
        begun_s = time.perf_counter()
        subprocess.run(
            [
                sys.executable, "-m", "rimewatch", "records",
                "--config", folder / "shop.toml", "--journal", folder / "rimewatch.db",
                "--from", "2025-01-01", "--to", "2025-12-31",
                "--out", folder / "out", "--format", form,
            ],
            check=True,
        )  # fmt: skip
        sys.stdout.write(f"{form}: {time.perf_counter() - begun_s:.1f} s\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
