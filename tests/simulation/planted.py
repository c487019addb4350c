"""Mistakes put into a copy of the service, which the weeks against the truth must find.

``python -m simulation.planted`` plays weeks with each until one breaks a promise, and says which.
A check that finds nothing may be blind.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click

SERVICE: Final = Path(__file__).parents[2] / "daemon" / "rimewatch"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """A mistake: what stands in one module, and what would stand there."""

    name: str
    weeks: tuple[int | str, ...]
    """Seeds and nights in which what it spoils happens."""
    module: str
    right: str
    wrong: str


PLANTED: Final = (
    Planted(
        name="power is back at the first look",
        weeks=("two_units_and_one_recovers",),
        module="rules/power_loss.py",
        right="    return cooling >= BACK_SHARE * len(outage.units)",
        wrong="    return cooling >= 0",
    ),
    Planted(
        name="warmth without power becomes usual",
        weeks=("freezer_and_cases_without_power", 152),
        module="evaluation/unit_air.py",
        right="        adopts = unit not in self.known_out",
        wrong="        adopts = True",
    ),
    Planted(
        name="a shelved loss of power silences its units",
        weeks=("loss_of_power_is_shelved",),
        module="alarms/workbench.py",
        right="        if cause.unit is None and (cause in self.shelves or",
        wrong="        if cause.unit is None and (",
    ),
    Planted(
        name="a unit that stays dead is silent until the hour after power is over",
        weeks=("two_units_and_one_recovers",),
        module="evaluation/overseer.py",
        right="            if not self.air.is_coming_back(unit, at_ms, back_ms):",
        wrong="            if at_ms < 0:",
    ),
    Planted(
        name="no line is a further one",
        weeks=("reload_while_acknowledged", 139),
        module="evaluation/conditions.py",
        right="        severity=0 if rule is Rule.OPERATING_LIMIT else"
        " lines_passed(unit.kind, limit_c, peak_c),",
        wrong="        severity=0,",
    ),
    Planted(
        name="a loss of power does not get worse",
        weeks=("freezer_and_cases_without_power", 152),
        module="evaluation/overseer.py",
        right="        return worst_of((unit.kind, unit.limit_c, peak_c)"
        " for unit, peak_c in spells)",
        wrong="        return 0 * worst_of((u.kind, u.limit_c, peak_c) for u, peak_c in spells)",
    ),
    Planted(
        name="an acknowledgement lasts for ever",
        weeks=("acknowledged_for_hours",),
        module="alarms/workbench.py",
        right="            lapses_ms = at_ms + self._policy.acknowledged_ms",
        wrong="            lapses_ms = None",
    ),
    Planted(
        name="a promise to be back is forgotten",
        weeks=("clocks_go_forward", "clocks_go_back", 139),
        module="alarms/workbench.py",
        right="            reopens_ms = at_ms + back_within_ms",
        wrong="            reopens_ms = None",
    ),
    Planted(
        name="alarms are forgotten over a restart or a reload",
        weeks=("reload_while_acknowledged", 131),
        module="service/resume.py",
        right='        standing = codec.from_json(alarms or "")',
        wrong='        standing = type(codec.from_json(alarms or ""))()',
    ),
    Planted(
        name="who comes to be on call waits for the next alarm",
        weeks=("reload_while_acknowledged", 131),
        module="alarms/workbench.py",
        right="                    if contact not in alarm.reached or contact in changed:",
        wrong="                    if contact in changed:",
    ),
    Planted(
        name="a contact's new address is not noticed",
        weeks=(133, 105),
        module="service/resume.py",
        right='                if memory.get("addresses", {}).get(contact, mark) != mark',
        wrong='                if memory.get("addresses", {}).get(contact, mark) is None',
    ),
    Planted(
        name="the on-delay is waited for twice",
        weeks=("reload_while_acknowledged", 124),
        module="evaluation/channels.py",
        right="    delay_ms = unit.on_delay_s * 1000.0",
        wrong="    delay_ms = unit.on_delay_s * 2000.0",
    ),
    Planted(
        name="an excursion ends above the limit",
        weeks=("reload_while_acknowledged", 131),
        module="evaluation/channels.py",
        right="            close_below_c=round(limit_c - unit.deadband_c, 9),",
        wrong="            close_below_c=round(limit_c + 3 * unit.deadband_c, 9),",
    ),
    Planted(
        name="the silence of all waits for the morning",
        weeks=("silent_all_while_one_dies",),
        module="evaluation/silence.py",
        right="            priority=Priority.HIGH,",
        wrong="            priority=Priority.MEDIUM,",
    ),
    Planted(
        name="the silence of one wakes, however cold",
        weeks=(129, 122),
        module="evaluation/evaluator.py",
        right="        return condition\n\n    def _speaking_last",
        wrong="        return replace(condition, priority=Priority.HIGH)\n\n    def _speaking_last",
    ),
    Planted(
        name="a clock that stands still is believed",
        weeks=(129, 172),
        module="intake/device_time.py",
        right="    stands = abs(own_ms - before.own_ms) <= STANDS_SHARE * passed_ms",
        wrong="    stands = False",
    ),
    Planted(
        name="a clock that falls back is believed",
        weeks=("clock_falls_back_and_resumes",),
        module="intake/device_time.py",
        right="    lags = usual_ms is not None and lag_ms - usual_ms > LAGS_NEWLY_MS",
        wrong="    lags = False",
    ),
    Planted(
        name="a clock that runs ahead is believed",
        weeks=(130, 164),
        module="intake/device_time.py",
        right="AHEAD_MS: Final = 300 * MS_PER_S",
        wrong="AHEAD_MS: Final = 86_400 * MS_PER_S",
    ),
    Planted(
        name="a hold goes on over what nobody saw",
        weeks=(129, 109),
        module="lots/hold.py",
        right="    for item in record.breaks:\n        if item.end_ms is not None and"
        " item.end_ms <= from_ms:\n            continue\n        lost_ms = 0.0",
        wrong="    for item in record.breaks:\n        if item.end_ms is not None and"
        " (item.end_ms <= from_ms or not item.is_warm):\n            continue\n"
        "        lost_ms = 0.0",
    ),
    Planted(
        name="a hold forgives two degrees",
        weeks=(131, 104, 119),
        module="evaluation/channels.py",
        right="        guarded_c = round(level_c - probe.uncertainty_c, 9)",
        wrong="        guarded_c = round(level_c + 2.0, 9)",
    ),
    Planted(
        name="a hold is done an hour early",
        weeks=(113, 119),
        module="lots/hold.py",
        right="    required_ms = REQUIRED_H[option] * MS_PER_H\n    interruptions",
        wrong="    required_ms = (REQUIRED_H[option] - 1) * MS_PER_H\n    interruptions",
    ),
    Planted(
        name="nobody rings at night",
        weeks=("reload_while_acknowledged",),
        module="alarms/night.py",
        right="        return self.night is None or priority in self.night.wake_for",
        wrong="        return self.night is None",
    ),
    Planted(
        name="what a phone refused counts as sent",
        weeks=("phones_refuse_for_half_an_hour",),
        module="service/writer.py",
        right="            if isinstance(result, Delivered):",
        wrong="            if result.id > 0:",
    ),
    Planted(
        name="repeats end with the process",
        weeks=("service_dies_while_fish_is_warm",),
        module="alarms/codec.py",
        right='            "repeats": tuple(Repeat(**repeat) for repeat in plain["repeats"]),',
        wrong='            "repeats": tuple(Repeat(**repeat) for repeat in ()),',
    ),
    Planted(
        name="compressors that die apart are a loss of power",
        weeks=("two_compressors_die_apart",),
        module="rules/power_loss.py",
        right="TOGETHER_MS: Final = 4 * MS_PER_MINUTE",
        wrong="TOGETHER_MS: Final = 400 * MS_PER_MINUTE",
    ),
)


def planted_copy(mistake: Planted, folder: Path) -> None:
    """Put a copy of the service with a mistake into a folder."""
    copy = folder / "rimewatch"
    shutil.copytree(SERVICE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    module = copy / mistake.module
    text = module.read_text()
    assert text.count(mistake.right) == 1, f"{mistake.name}: its place has changed"
    module.write_text(text.replace(mistake.right, mistake.wrong))


def found_with(mistake: Planted) -> str:
    """Play weeks with a mistake until one breaks a promise; return what, or nothing."""
    with tempfile.TemporaryDirectory() as folder:
        planted_copy(mistake, Path(folder))
        tests = str(Path(__file__).parents[1])
        path = os.pathsep.join([folder, tests])
        for seed in mistake.weeks:
            one = ["--weeks", "1", "--first", str(seed)]
            if isinstance(seed, str):
                one = ["--night", seed]
            done = subprocess.run(
                [sys.executable, "-m", "simulation.truth", *one],
                env={**os.environ, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
                capture_output=True,
                text=True,
                check=False,
            )
            name = seed if isinstance(seed, str) else f"seed {seed}"
            said = [line for line in done.stdout.splitlines() if line.startswith(f"{name}: ")]
            if said:
                return said[0]
            if done.returncode:
                return f"it ended: {done.stderr.strip().splitlines()[-1]}"
    return ""


def main() -> int:
    """Say of each mistake whether the weeks find it, and by what."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--only", default="", help="those whose names hold this")
    chosen = parser.parse_args()
    mistakes = [mistake for mistake in PLANTED if chosen.only in mistake.name]
    found = 0
    for mistake in mistakes:
        said = found_with(mistake)
        found += bool(said)
        click.echo(f"{mistake.name}: {said or 'not found'}")
    click.echo(f"{found} of {len(mistakes)} found")
    return found < len(mistakes)


if __name__ == "__main__":
    sys.exit(main())
