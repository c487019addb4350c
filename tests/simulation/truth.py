"""Weeks of a shop whose fish has a true temperature: was everybody told what was so?

The oracle is the plant (:mod:`simulation.plant`), not the service. The service is whole
(:mod:`simulation.shop_week`): it sees only what the probes send, through its own broker session,
writer and journal, is killed and reloaded, and posts its letters to a real server. What
:mod:`simulation.promises` finds broken is a broken promise.

One seed decides a week. ``python -m simulation.truth --weeks 20 --first 100`` plays more,
``--night all`` the nights that were written by hand.
"""

import argparse
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

import click

from simulation.nights import NIGHTS
from simulation.promises import judged
from simulation.shop_week import Post, WeekRun
from simulation.week import Week, week
from simulation.world import HOUR


def played(planned: Week, post: Post) -> WeekRun:
    """Play a week."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        run = WeekRun(planned, Path(folder), post)
        run.play()
    return run


def main() -> int:
    """Play some weeks and say what came of them; 1 if a promise was broken."""
    parser = argparse.ArgumentParser(description="Weeks against the true temperature of the fish.")
    parser.add_argument("--weeks", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--night", choices=["all", *NIGHTS], help="these that were written")
    parser.add_argument("--story", action="store_true", help="tell what happened")
    parser.add_argument("--minutes", type=float, help="begin no further week after so long")
    chosen = parser.parse_args()
    broken: Counter[str] = Counter()
    completed: Counter[str] = Counter()
    late_s: list[float] = []
    hours = warm = true_holds = 0
    began_s = time.monotonic()
    seeds: dict[str, Callable[[], Week]] = {
        f"seed {seed}": partial(week, seed)
        for seed in range(chosen.first, chosen.first + chosen.weeks)
    }
    if chosen.night is not None:
        seeds = NIGHTS if chosen.night == "all" else {chosen.night: NIGHTS[chosen.night]}
    for count, (name, make) in enumerate(seeds.items(), start=1):
        if chosen.minutes is not None and time.monotonic() - began_s > 60 * chosen.minutes:
            break
        post = Post()
        run = played(make(), post)
        post.close()
        if chosen.story:
            click.echo("\n".join(run.world.history))
        found = judged(run)
        hours += len(run.week.courses) * (run.week.ends_ms // HOUR)
        warm += found.warm_times
        true_holds += found.holds
        late_s += found.latencies_s
        completed.update(found.completed)
        for line in found.broken:
            broken[line.partition(":")[0]] += 1
            click.echo(f"{name}: {line}")
        if count % 10 == 0:
            spent_s = time.monotonic() - began_s
            click.echo(f"{count} weeks, {hours / 168:.0f} unit-weeks, {spent_s:.0f} s", err=True)
    click.echo(f"{hours / 168:.0f} unit-weeks, {warm} times too warm, broken: {dict(broken)}")
    click.echo(f"holds complete: {dict(completed)}; {true_holds} undisturbed ones looked at")
    if len(late_s) > 1:
        cuts = statistics.quantiles(late_s, n=100, method="inclusive")
        before = sum(one < 0 for one in late_s)
        click.echo(
            f"from truth to told, {len(late_s)} times, {before} of them before it was so: "
            f"p50 {cuts[49]:.0f} s, p99 {cuts[98]:.0f} s"
        )
    return bool(broken)


if __name__ == "__main__":
    sys.exit(main())
