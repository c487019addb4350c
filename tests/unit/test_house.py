"""The house itself: a file is about one thing, named for it, and a decision has a number."""

from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLACES = ("daemon", "simulators", "tests", "benchmarks", ".ci")
MODULES = [path for place in PLACES for path in (ROOT / place).rglob("*.py")]
SAY_NOTHING = {"common", "helper", "helpers", "misc", "shared", "util", "utils"}


def test_no_module_has_a_name_that_says_nothing() -> None:
    """A name tells what is inside, or things gather there."""
    assert len(MODULES) > 300
    assert [path for path in MODULES if path.stem in SAY_NOTHING] == []


def test_each_module_of_tests_has_a_name_of_its_own() -> None:
    """They are imported by it alone: of two of one name, one would not be run."""
    names = Counter(path.name for path in (ROOT / "tests").rglob("test_*.py"))

    assert [name for name, times in names.items() if times > 1] == []


def test_each_decision_has_a_number_of_its_own() -> None:
    """Pages and code name a decision by its number alone."""
    pages = sorted((ROOT / "docs" / "decisions").glob("*.md"))
    numbers = Counter(page.name[:4] for page in pages)
    titles = {page.name[:4]: page.read_text(encoding="utf-8").partition("\n")[0] for page in pages}

    assert [number for number, times in numbers.items() if times > 1] == []
    assert [n for n, title in titles.items() if not title.startswith(f"# {n}: ")] == []
