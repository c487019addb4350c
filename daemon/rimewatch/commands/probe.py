"""``rimewatch probe``: how the probes are, and checking one in melting ice."""

import threading
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import config_option, journal_option, load, who_option
from rimewatch.commands.standing import enter, existing, standing
from rimewatch.entries import CalibrationCheck
from rimewatch.errors import UserError
from rimewatch.evaluation.door import cannot_be_checked
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S, Measures, ProbeId, Scale

if TYPE_CHECKING:
    from rimewatch.science.ice_point import IcePointCheck

GUIDE = (
    "Fill a cup with crushed ice, then with cold water to its brim; stir. Hold the probe in the "
    "middle, clear of the walls, and wait until it has settled. While it is out of its unit, "
    "put the unit out of service (rimewatch unit out-of-service)."
)
LOOK_EVERY_S = 2.0


@click.group(cls=CommandGroup, epilog="Example:  rimewatch probe list --config shop.toml")
def command() -> None:
    """See how probes are, and check one against melting ice."""


@command.command("list", epilog="Example:  rimewatch probe list --config shop.toml")
@config_option
@journal_option
def list_probes(config: Path, journal: Path) -> None:
    """List each probe's last reading, battery, clock, offset and checks."""
    from rimewatch.evaluation.clock_note import offset_s_of
    from rimewatch.intake.offsets import checks_of
    from rimewatch.report.wording import duration
    from rimewatch.service.resume import clock_notes

    shop = load(config, sends=False)
    with standing(shop, journal) as now:
        clocks = clock_notes(shop, now.journal)
        for probe in shop.probes:
            last = now.journal.last_before(probe.id, now.now_ms + 1)
            if last is None:
                parts = ["no reading yet"]
            else:
                said = reading_words(probe.measures, last[1], shop.display)
                parts = [f"{said}, {duration((now.now_ms - last[0]) / MS_PER_S)} ago"]
            if probe.id in now.evaluator.batteries:
                parts.append(f"battery {now.evaluator.batteries[probe.id]:g}")
            note = clocks.get(probe.id)
            offset_s = None if note is None else offset_s_of(note.late_ms)
            if offset_s is not None and abs(offset_s) >= 1.0:
                parts.append(f"clock {abs(offset_s):.0f} s {'slow' if offset_s > 0 else 'fast'}")
            if note is not None and note.times_not_used:
                parts.append(f"{note.times_not_used} of its times were not used")
            if note is not None and note.two_sources_ms is not None:
                parts.append("two devices seemed to send for it")
            if note is not None and note.qos_0_ms is not None:
                parts.append("sends at QoS 0; set it to QoS 1")
            if probe.measures.is_temperature:
                parts += _about_checks(
                    probe, checks_of(now.evaluator.entries, probe.id), now.now_ms, shop.display
                )
            click.echo(f"{probe.id}: {'; '.join(parts)}")


def reading_words(measures: Measures, value: float, scale: Scale) -> str:
    """Return a reading as people say it: a temperature in the shop's scale, a contact by its state.

    Args:
        measures: What the probe measures.
        value: °C, percent of humidity, or 1 of a contact that is open or wet and 0 otherwise.
        scale: The scale that people read.
    """
    from rimewatch.report.wording import temperature

    if measures.is_temperature:
        return temperature(value, scale)
    match measures:
        case Measures.DOOR:
            return "open" if value >= 0.5 else "closed"
        case Measures.WATER:
            return "wet" if value >= 0.5 else "dry"
        case _:
            return f"{value:g} %"


def _about_checks(
    probe: Probe, checks: list[CalibrationCheck], now_ms: int, scale: Scale
) -> list[str]:
    from rimewatch.report.wording import correction

    set_by = [check.offset_c for check in checks if check.offset_c is not None]
    offset_c = set_by[-1] if set_by else probe.offset_c
    parts = [f"offset {correction(offset_c, scale)}{' by its check' if set_by else ''}"]
    if not checks:
        return [*parts, "never checked"]
    age_days = (now_ms - checks[-1].at_ms) / MS_PER_DAY
    due_days = probe.check_every_days - age_days
    when = f"due in {due_days:.0f} days" if due_days > 0 else f"due for {-due_days:.0f} days"
    off = f"{correction(checks[-1].found_c, scale)} off"
    return [*parts, f"checked {age_days:.0f} days ago ({off}), {when}"]


def known_probe(shop: Shop, probe: str) -> Probe:
    """Return a probe by its id.

    Raises:
        UserError: If there is none, or it measures no temperature.
    """
    why = cannot_be_checked(shop, ProbeId(probe))
    if why is not None:
        raise UserError(why)
    return shop.probe[ProbeId(probe)]


@command.command(
    "check",
    epilog="Example:  rimewatch probe check case-1-air --reference 'ice bath' --wait-s 600 "
    "--set-offset",
)
@click.argument("probe")
@click.option("--reference", default="ice bath", show_default=True, help="Checked against what.")
@click.option(
    "--wait-s",
    type=click.FloatRange(0, 7200),
    default=0.0,
    show_default=True,
    help="How long to wait until it has settled.",
)
@click.option("--set-offset", is_flag=True, help="Use the offset found, from now on.")
@config_option
@journal_option
@who_option
def check(
    probe: str,
    reference: str,
    wait_s: float,
    set_offset: bool,  # noqa: FBT001 (a flag)
    config: Path,
    journal: Path,
    who: str,
) -> None:
    """Check a probe that stands in melting ice, by its readings of the last minutes."""
    from rimewatch.report.wording import correction, temperature, temperature_difference
    from rimewatch.science.ice_point import IcePointState
    from rimewatch.service.ice_check import accuracy

    shop = load(config, sends=False)
    found = known_probe(shop, probe)
    (accept_c, source), scale = accuracy(found), shop.display
    existing(journal)
    clock = SystemClock()
    end_s = clock.monotonic_s() + wait_s
    told = False
    while True:
        seen, offset_c = _look(found, journal, shop)
        settled = seen.state in (IcePointState.ACCEPTED, IcePointState.REJECTED)
        if settled or clock.monotonic_s() >= end_s:
            break
        if not told:
            told = True
            click.echo(f"{GUIDE}\nWaiting until {probe} has settled ...", err=True)
        threading.Event().wait(LOOK_EVERY_S)
    if not settled or seen.mean_c is None or seen.offset_c is None:
        raise UserError(
            f"{probe}: {seen.state.value} ({seen.readings} in the last minutes); leave it in the "
            f"ice and ask again, or wait with --wait-s 600. {GUIDE}"
        )
    off_c = round(seen.mean_c + offset_c, 3)
    new_c = round(seen.offset_c, 3)
    good = abs(off_c) <= accept_c
    enter(
        shop,
        journal,
        CalibrationCheck(
            at_ms=clock.now_ms(),
            who=who,
            probe=found.id,
            found_c=off_c,
            reference=reference,
            offset_c=new_c if set_offset else None,
        ),
    )
    verdict = "inside" if good else "outside"
    click.echo(
        f"{probe}: {seen.readings} readings, settled; {correction(off_c, scale)} off at "
        f"{temperature(0.0, scale)}, {verdict} ±{temperature_difference(accept_c, scale)} "
        f"({source}). Recorded."
    )
    if set_offset:
        click.echo(
            f"Offset {correction(new_c, scale)} holds for its readings from now on, none before."
        )
    elif off_c:
        click.echo(
            f"To correct it from now on: offset {correction(new_c, scale)}, with --set-offset."
        )
    if not good:
        click.echo("Do not rely on it until it is corrected or replaced.")
    click.echo(
        f"A check at {temperature(0.0, scale)} says little of the same probe at "
        f"{temperature(-35.0, scale)}."
    )


def _look(probe: Probe, journal: Path, shop: Shop) -> "tuple[IcePointCheck, float]":
    """Return what the last minutes show without any offset, and the offset that holds now."""
    from rimewatch.service.ice_check import looked

    with standing(shop, journal) as now:
        return looked(probe, now.journal, now.evaluator.entries, now.now_ms)
