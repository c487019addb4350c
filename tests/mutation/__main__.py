"""Puts mistakes into the pure core, one at a time, and counts those that no test notices.

    PYTHONPATH=daemon:simulators:tests python -m mutation --package rules --sample 200 --seed 1

Each mistake is tried with the tests that run its lines, the package's own and the quickest first,
as many as fit into ``--test-seconds``: one that needs a longer test counts as not noticed.

    PYTHONPATH=daemon:simulators:tests python -m mutation --package rules --survivors --own-tests

Those that survived are tried again with all of the package's own unit tests, and those written
since. Those whose code is gone are left out.
"""

import argparse
import json
import os
import random
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

import pytest
from scipy.stats import binomtest

import mutation.who_runs
from mutation import trial
from mutation.mistakes import Mistake, mistakes_in
from mutation.who_runs import MEASURED, PACKAGES, ROOT, OwnTests, WhoRuns

SOURCE: Final = ROOT / "daemon"
MOST_TESTS: Final = 800
MOVED_LINES: Final = 40


class Outcome(StrEnum):
    """What came of a mistake."""

    NOTICED = "noticed"
    ENDLESS = "ran for ever"
    SURVIVED = "survived"
    NOT_RUN = "run by no test"


@dataclass(frozen=True, slots=True)
class Trial:
    """A mistake and what came of it."""

    mistake: Mistake
    outcome: Outcome


def try_all(
    mistakes: Sequence[Mistake], who_runs: WhoRuns | OwnTests, *, jobs: int, test_seconds: float
) -> Iterator[Trial]:
    """Try each mistake in a process of its own, so many at a time; give them as they end."""
    waiting = list(reversed(mistakes))
    running: dict[int, tuple[Mistake, list[str]]] = {}
    while waiting or running:
        while waiting and len(running) < jobs:
            mistake = waiting.pop()
            tests, takes_s = _within(mistake, who_runs, test_seconds)
            if not tests:
                yield Trial(mistake, Outcome.NOT_RUN)
                continue
            path = SOURCE / mistake.path
            module = ".".join(Path(mistake.path).with_suffix("").parts)
            wrong = mistake.made_in(path.read_text(encoding="utf-8"))
            put = trial.OneMistake(module, str(path), wrong)
            at_most_s = int(20 + 5 * takes_s)
            running[trial.run(put, _rounds(tests), at_most_s=at_most_s)] = mistake, tests
        if running:
            process, status = os.wait()
            mistake, tests = running.pop(process)
            yield Trial(mistake, _outcome(status, tests))


def _within(
    mistake: Mistake, who_runs: WhoRuns | OwnTests, seconds: float
) -> tuple[list[str], float]:
    tests: list[str] = []
    takes_s = 0.0
    for test in who_runs.tests_of(
        SOURCE / mistake.path, mistake.lines, runs_at_import=mistake.runs_at_import
    ):
        if tests and (takes_s + who_runs.took_s[test] > seconds or len(tests) == MOST_TESTS):
            break
        tests.append(test)
        takes_s += who_runs.took_s[test]
    return tests, takes_s


def _rounds(tests: Sequence[str]) -> list[list[str]]:
    """Put the first test's folder, which is the package's own if any of its tests is, first."""
    folder = Path(tests[0].partition("::")[0]).parent
    own = [test for test in tests if Path(test.partition("::")[0]).parent == folder]
    rest = [test for test in tests if test not in set(own)]
    return [each for each in (own, rest) if each]


def _outcome(status: int, tests: Sequence[str]) -> Outcome:
    if os.WIFSIGNALED(status):
        ended_by = os.WTERMSIG(status)
        return Outcome.ENDLESS if ended_by in {signal.SIGXCPU, signal.SIGKILL} else Outcome.NOTICED
    code = os.WEXITSTATUS(status)
    if code not in {0, pytest.ExitCode.TESTS_FAILED, pytest.ExitCode.INTERRUPTED}:
        # The module could not even be loaded, or there are no such tests: what if all is right?
        _, status = os.waitpid(trial.run(None, _rounds(tests), at_most_s=600), 0)
        if status:
            sys.exit("the tests have changed since they were measured: measure again")
    return Outcome.NOTICED if code else Outcome.SURVIVED


def mistakes_of(package: str) -> list[Mistake]:
    """Make all mistakes in a package of the core."""
    return [
        mistake
        for path in sorted((SOURCE / "rimewatch" / package).glob("*.py"))
        for mistake in mistakes_in(path.read_text(encoding="utf-8"), str(path.relative_to(SOURCE)))
    ]


def found_again(names: Iterable[str], mistakes: Sequence[Mistake]) -> list[Mistake]:
    """Return the mistakes of some names, also where the code before them has moved a little."""
    found: list[Mistake] = []
    for name in names:
        path, line, _ = name.split(":", 2)
        alike = {
            abs(each.lines[0] - int(line)): each
            for each in reversed(mistakes)
            if each not in found and each.name == f"{path}:{each.lines[0]}:{name.split(':', 2)[2]}"
        }
        if alike and min(alike) <= MOVED_LINES:
            found.append(alike[min(alike)])
    return found


def main() -> None:
    """Try a sample of a package's mistakes and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__, prog="mutation")
    parser.add_argument("--package", choices=PACKAGES, required=True)
    parser.add_argument("--module", help="only this module of the package")
    parser.add_argument("--sample", type=int, default=200, help="how many mistakes; 0 for all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--test-seconds", type=float, default=10.0)
    parser.add_argument(
        "--measured", action="store_true", help="take the measured lines as they are"
    )
    parser.add_argument(
        "--survivors", action="store_true", help="only those that survived last time"
    )
    parser.add_argument(
        "--own-tests", action="store_true", help="run all unit tests of the package, measure none"
    )
    asked = parser.parse_args()
    os.chdir(ROOT)
    if not (asked.measured or asked.own_tests):
        mutation.who_runs.measure()
    _load_what_tests_need()

    every = mistakes_of(asked.package)
    chosen = [each for each in every if asked.module in {None, Path(each.path).stem}]
    kept = MEASURED / f"survivors-{asked.package}.json"
    if asked.survivors:
        chosen = found_again(json.loads(kept.read_text(encoding="utf-8")), chosen)
    elif asked.sample and asked.sample < len(chosen):
        chosen = random.Random(asked.seed).sample(chosen, asked.sample)

    since = time.monotonic()
    survived = []
    count: Counter[Outcome] = Counter()
    who_runs = OwnTests(asked.package) if asked.own_tests else WhoRuns()
    for each in try_all(chosen, who_runs, jobs=asked.jobs, test_seconds=asked.test_seconds):
        count[each.outcome] += 1
        if each.outcome in {Outcome.SURVIVED, Outcome.NOT_RUN}:
            survived.append(each.mistake.name)
            print(f"{each.outcome}: {each.mistake.name}", flush=True)
    if not asked.module:
        kept.write_text(json.dumps(sorted(survived), indent=1), encoding="utf-8")
    noticed = count[Outcome.NOTICED] + count[Outcome.ENDLESS]
    if not chosen:
        return
    interval = binomtest(noticed, len(chosen)).proportion_ci(method="wilson")
    print(
        f"{asked.package}: {len(chosen)} of {len(every)} mistakes tried, {noticed} noticed"
        f" ({count[Outcome.ENDLESS]} as endless), {count[Outcome.SURVIVED]} survived,"
        f" {count[Outcome.NOT_RUN]} run by no test: {noticed / len(chosen):.1%}"
        f" (95 %: {interval.low:.1%} to {interval.high:.1%}); {time.monotonic() - since:.0f} s"
    )


def _load_what_tests_need() -> None:
    """Load the libraries once for all trials, and nothing of ours."""
    import apprise  # noqa: F401
    import fpdf  # noqa: F401
    import google.protobuf.descriptor  # noqa: F401
    import hypothesis.strategies  # noqa: F401
    import jinja2  # noqa: F401
    import numpy as np  # noqa: F401
    import paho.mqtt.client  # noqa: F401
    import pydantic  # noqa: F401

    assert not [name for name in sys.modules if name.partition(".")[0] == "rimewatch"]


if __name__ == "__main__":
    main()
