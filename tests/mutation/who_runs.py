"""Which tests run a line of the core, and how long each takes: measured, by coverage.py."""

import json
import os
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import coverage

ROOT: Final = Path(__file__).parents[2]
PACKAGES: Final = ("science", "rules", "alarms", "lots")
MEASURED: Final = ROOT / "build" / "mutation"
SOURCE_ROOTS: Final = ("daemon", "simulators", "tests")
LONGEST_FOLDER_S: Final = 60.0
"""No package's own unit tests take longer than that."""
TESTS: Final = (
    *(f"tests/unit/{package}" for package in PACKAGES),
    "tests/unit/evaluation",
    "tests/unit/replay",
    "tests/property",
)


def measure(into: Path = MEASURED) -> None:
    """Run the tests once, noting the lines of the core that each of them runs.

    Raises:
        subprocess.CalledProcessError: If a test fails. What fails without a mistake can show none.
    """
    into.mkdir(parents=True, exist_ok=True)
    sources = ",".join(f"rimewatch.{package}" for package in PACKAGES)
    arguments = ["--branch", f"--source={sources}", f"--data-file={into / 'coverage'}"]
    pytest = ["-m", "pytest", "-q", "-n", "0", "-p", "mutation.contexts", *TESTS]
    subprocess.run(
        [sys.executable, "-m", "coverage", "run", *arguments, *pytest],
        check=True,
        cwd=ROOT,
        env={
            **os.environ,
            "CI": "1",
            "PYTHONPATH": os.pathsep.join(
                str(ROOT / part) for part in ("daemon", "simulators", "tests")
            ),
            "RIMEWATCH_TEST_TIMES": str(into / "times.json"),
        },
    )


@dataclass(slots=True)
class WhoRuns:
    """What was measured, to be asked."""

    folder: Path = MEASURED
    took_s: dict[str, float] = field(init=False)
    _by_line: dict[str, dict[int, list[str]]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.took_s = json.loads((self.folder / "times.json").read_text(encoding="utf-8"))
        data = coverage.CoverageData(str(self.folder / "coverage"))
        data.read()
        for name in data.measured_files():
            self._by_line[name] = data.contexts_by_lineno(name)

    def tests_of(self, path: Path, lines: Iterable[int], *, runs_at_import: bool) -> list[str]:
        """Give the tests that run one of the lines, its package's own first, the quickest first.

        What runs at import shows in whoever uses the module: these are the tests that run any line
        of it, or all of the package's own where it is a table only.
        """
        by_line = self._by_line.get(str(path), {})
        lines = tuple(lines)
        at_import = runs_at_import or any("" in by_line.get(line, []) for line in lines)
        asked = by_line if at_import else lines
        tests = {test for line in asked for test in by_line.get(line, []) if test}
        own = f"tests/unit/{path.parent.name}/"
        if at_import:
            tests |= {test for test in self.took_s if test.startswith(own)}
        return sorted(tests, key=lambda test: (not test.startswith(own), self.took_s[test], test))


@dataclass(frozen=True, slots=True)
class OwnTests:
    """All of a package's own unit tests, whatever lines they run: for a second look at a few."""

    package: str
    took_s: dict[str, float] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "took_s", {self._folder: LONGEST_FOLDER_S})

    @property
    def _folder(self) -> str:
        return f"tests/unit/{self.package}"

    def tests_of(
        self,
        path: Path,  # noqa: ARG002 (the shape of WhoRuns)
        lines: Iterable[int],  # noqa: ARG002
        *,
        runs_at_import: bool,  # noqa: ARG002
    ) -> list[str]:
        """Give the folder."""
        return [self._folder]
