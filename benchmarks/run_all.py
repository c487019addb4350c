"""Runs the comparisons, prints a table and writes it as JSON: ``make bench``.

Takes some minutes. Only ratios within one run mean anything: a machine's speed drifts.
"""

import argparse
from pathlib import Path

import fold
import intake
from harness import ROUNDS, show, write_json


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=ROUNDS, help="at least 5 to publish")
    parser.add_argument("--messages", type=int, default=200_000, help="queued for the intake")
    parser.add_argument("--out", type=Path, default=Path("build/benchmarks.json"))
    given = parser.parse_args()
    rows = fold.run(given.rounds)
    print(show(rows), flush=True)
    taken = intake.run(given.messages, given.rounds)
    print(show(taken))
    write_json([*rows, *taken], given.out)
    print(f"Written to {given.out}.")


if __name__ == "__main__":
    main()
