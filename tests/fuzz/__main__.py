"""Fuzzes the edges by coverage, one after the other.

    PYTHONPATH=daemon:simulators:tests python -m fuzz --seconds 600
    PYTHONPATH=daemon:simulators:tests python -m fuzz --target entries --seconds 3600
    PYTHONPATH=daemon:simulators:tests python -m fuzz --target entries --keep

Each target begins with its seeds and with ``corpus/``, which is small and kept with the code. What
reaches new lines goes to ``build/fuzz``; ``--keep`` takes from there into ``corpus/`` what reaches
further than what is there. What breaks a target is left in ``build/fuzz/found``; a test of its own
is to hold it. Exits with 1 if anything was found.
"""

import argparse
import hashlib
import subprocess
import sys
from pathlib import Path
from typing import Final

import atheris

HERE: Final = Path(__file__).parent
BUILD: Final = HERE.parents[1] / "build/fuzz"
LONGEST_INPUT: Final = 4096
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
        _fuzz(asked.target, asked.seconds, keep=asked.keep)
        return 0
    targets = [asked.target] if asked.target else _targets()
    broken = [one for one in targets if _fuzz_apart(one, asked.seconds, keep=asked.keep)]
    print(f"found in: {', '.join(broken)}" if broken else "nothing was found")
    return 1 if broken else 0


def _targets() -> list[str]:
    from fuzz.targets import TARGETS

    return list(TARGETS)


def _fuzz_apart(target: str, seconds: int, *, keep: bool) -> int:
    """Fuzz in a process of its own: the fuzzer ends its process when it is done."""
    command = [sys.executable, "-m", "fuzz", "--here", "--target", target]
    command += ["--seconds", str(seconds), *(["--keep"] if keep else [])]
    print(f"--- {target}", flush=True)
    return subprocess.run(command, check=False).returncode


def _fuzz(target: str, seconds: int, *, keep: bool) -> None:
    with atheris.instrument_imports(include=["rimewatch", "cbor2", "jmespath"]):
        from fuzz.seeds import seeds
        from fuzz.targets import TARGETS, words

    grown, kept, found = BUILD / target, HERE / "corpus" / target, BUILD / "found"
    for folder in (grown, kept, found):
        folder.mkdir(parents=True, exist_ok=True)
    for seed in seeds()[target]:
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
        "-verbosity=1",
    ]
    folders = [str(kept), str(grown)] if keep else [str(grown), str(kept)]
    if keep:
        options.append("-merge=1")
    atheris.Setup([sys.argv[0], *options, *folders], TARGETS[target])
    atheris.Fuzz()


if __name__ == "__main__":
    sys.exit(main())
