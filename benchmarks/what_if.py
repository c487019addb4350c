"""``rimewatch what-if`` over a month: the example's five units, weeks of chance end to end.

Writes the month's journal unless the folder has one, then times the command on it, as a process
of its own. The replay begins eight days before the month, as the command has it.

    python benchmarks/what_if.py FOLDER
"""

import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

from rimewatch.config import load_shop
from rimewatch.intake.receiver import Receiver
from rimewatch.journal import Journal
from rimewatch.vocabulary import MS_PER_DAY
from rimewatch_sim.random_weeks import random_week
from rimewatch_sim.scenario import Scenario
from rimewatch_sim.simulation import simulate

EXAMPLE = Path(__file__).parents[1] / "config" / "saltmarsh-row.toml"
START = datetime(2026, 1, 5)  # noqa: DTZ001 - local wall time; the scenario has the zone
WEEKS = 6
FIRST, LAST = "2026-01-14", "2026-02-12"
"""Thirty days, with more than eight before them."""
BATCH = 5_000


def month() -> Scenario:
    """Return the weeks of the first seeds, one after the other."""
    plain = random_week(1).model_dump(exclude_unset=True)
    plain |= {"start": START.isoformat(), "lasts": f"{7 * WEEKS}d", "event": []}
    for number in range(WEEKS):
        week = random_week(number + 1)
        shift = START + timedelta(weeks=number) - datetime.fromisoformat(str(week.start))
        for event in week.event:
            moved = event.model_dump(exclude_unset=True)
            moved["at"] = (datetime.fromisoformat(str(event.at)) + shift).isoformat()
            plain["event"].append(moved)
    return Scenario.model_validate(plain)


def write(folder: Path) -> int:
    """Write the configurations and the journal; return its number of readings."""
    folder.mkdir(parents=True, exist_ok=True)
    text = EXAMPLE.read_text(encoding="utf-8")
    (folder / "now.toml").write_text(text, encoding="utf-8")
    changed = text.replace("on_delay_s = 1800 ", "on_delay_s = 2700 ")
    assert changed != text, "the example's walk-in has an on-delay of its own"
    (folder / "changed.toml").write_text(changed, encoding="utf-8")
    receiver = Receiver(load_shop(text, sends=False))
    count = 0
    with Journal.open(folder / "rimewatch.db") as journal:
        lines = [line for line in simulate(month()).lines() if line.topic is not None]
        for first in range(0, len(lines), BATCH):
            with journal.batch():
                for line in lines[first : first + BATCH]:
                    received = receiver.receive(line.topic or "", line.payload, line.at_ms)
                    count += len(journal.add_readings(received.readings))
        while journal.compact(lines[-1].at_ms - 2 * MS_PER_DAY, 64):
            pass
    return count


def main(folder: Path) -> None:
    """Write what is missing, then measure."""
    if not (folder / "rimewatch.db").exists():
        began_s = time.perf_counter()
        count = write(folder)
        sys.stdout.write(f"{count} readings written in {time.perf_counter() - began_s:.0f} s\n")
    began_s = time.perf_counter()
    subprocess.run(
        [
            sys.executable, "-m", "rimewatch", "what-if",
            "--config", folder / "now.toml", "--changed", folder / "changed.toml",
            "--journal", folder / "rimewatch.db", "--from", FIRST, "--to", LAST,
        ],
        check=True,
    )  # fmt: skip
    sys.stdout.write(f"what-if over 30 days: {time.perf_counter() - began_s:.1f} s\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
