"""Fuzzes the edges by coverage, one after the other.

    PYTHONPATH=daemon:simulators:tests python -m fuzz --seconds 600
    PYTHONPATH=daemon:simulators:tests python -m fuzz --target entries --seconds 3600
    PYTHONPATH=daemon:simulators:tests python -m fuzz --target entries --keep

Each target begins with its seeds and with ``corpus/``, which is small and kept with the code. What
reaches new lines goes to ``build/fuzz``; ``--keep`` takes what reached further last from there into
``corpus/``. What breaks a target is left in ``build/fuzz/found``; a test of its own is to hold it.
Exits with 1 if anything was found.
"""

import argparse
import hashlib
import subprocess
import sys
from pathlib import Path
from typing import Final

import atheris

BUILD: Final = Path(__file__).parents[2] / "build/fuzz"
LONGEST_INPUT: Final = 4096
LONGEST_KEPT: Final = 600
MOST_KEPT: Final = 30
SLOW_S: Final = 20
MOST_MEMORY_MB: Final = 1500


def main() -> int:
    """Fuzz what is asked for; return 1 if anything was found."""
    parser = argparse.ArgumentParser(prog="fuzz", description=__doc__.partition("\n")[0])
    parser.add_argument("--target", help="one of them; without it each in turn")
    parser.add_argument("--seconds", type=int, default=600, help="for each target")
    parser.add_argument(
        "--keep", action="store_true", help="take what reaches further into corpus/"
    )
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.here:
        _fuzz(asked.target, asked.seconds)
        return 0
    targets = [asked.target] if asked.target else _targets()
    if asked.keep:
        for one in targets:
            _keep(one)
        return 0
    broken = [one for one in targets if _fuzz_apart(one, asked.seconds)]
    print(f"found in: {', '.join(broken)}" if broken else "nothing was found")
    return 1 if broken else 0


def _targets() -> list[str]:
    from fuzz.targets import TARGETS

    return list(TARGETS)


def _keep(target: str) -> None:
    """Take what reached further last, and is short."""
    from fuzz.seeds import keep, seeds

    known = seeds()[target]
    files = sorted((BUILD / target).iterdir(), key=lambda path: path.stat().st_mtime)
    found = [path.read_bytes() for path in files if path.stat().st_size <= LONGEST_KEPT]
    keep(target, [one for one in found if one not in known][-MOST_KEPT:])


def _fuzz_apart(target: str, seconds: int) -> int:
    """Fuzz in a process of its own: the fuzzer ends its process when it is done."""
    command = [sys.executable, "-m", "fuzz", "--here", "--target", target]
    print(f"--- {target}", flush=True)
    return subprocess.run([*command, "--seconds", str(seconds)], check=False).returncode


def _fuzz(target: str, seconds: int) -> None:
    with atheris.instrument_imports(include=["rimewatch", "cbor2", "jmespath"]):
        from fuzz.seeds import corpus, seeds
        from fuzz.targets import TARGETS, words

    grown, found = BUILD / target, BUILD / "found"
    for folder in (grown, found):
        folder.mkdir(parents=True, exist_ok=True)
    for seed in (*seeds()[target], *corpus(target)):
        (grown / hashlib.sha1(seed, usedforsecurity=False).hexdigest()).write_bytes(seed)
    dictionary = BUILD / "words.txt"
    dictionary.write_text("".join(f'"{word.decode()}"\n' for word in words()))
    options = [
        f"-max_total_time={seconds}",
        f"-max_len={LONGEST_INPUT}",
        f"-timeout={SLOW_S}",
        f"-rss_limit_mb={MOST_MEMORY_MB}",
        f"-artifact_prefix={found}/{target}-",
        f"-dict={dictionary}",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], *options, str(grown)], TARGETS[target])
    atheris.Fuzz()


if __name__ == "__main__":
    sys.exit(main())
