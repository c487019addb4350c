"""The documentation: made from the code where it can be, and every link leads somewhere."""

import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")
PICTURE = re.compile(r'<img src="([^"]+)"')
NAMED_FILE = re.compile(r"`((?:docs|config|benchmarks|\.ci|daemon|simulators|tests)/[\w./-]+)`")


def places_named_in(page: Path) -> Iterator[Path]:
    """Yield the files and folders of this project that a page leads to or names."""
    text = page.read_text(encoding="utf-8")
    for target in LINK.findall(text) + PICTURE.findall(text):
        if "://" not in target:
            yield page.parent / target
    for name in NAMED_FILE.findall(text):
        yield ROOT / name


@cache
def names_of_tests() -> frozenset[str]:
    """Return the names of every test of this project."""
    files = (path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("test_*.py"))
    return frozenset(name for text in files for name in re.findall(r"def (test_\w+)\(", text))


@pytest.mark.parametrize("page", PAGES, ids=[str(page.relative_to(ROOT)) for page in PAGES])
def test_every_file_that_a_page_names_is_there(page: Path) -> None:
    """A reader who follows a link arrives; a decision may be named by its number alone."""
    missing = [
        str(place)
        for place in places_named_in(page)
        if not place.exists() and not list(place.parent.glob(f"{place.name}*"))
    ]

    assert not missing


@pytest.mark.parametrize("page", PAGES, ids=[str(page.relative_to(ROOT)) for page in PAGES])
def test_every_test_that_a_page_names_is_there(page: Path) -> None:
    """A promise names the test that holds it; a test that is gone would leave it without."""
    named = set(re.findall(r"`(test_\w+)`", page.read_text(encoding="utf-8")))

    assert named - names_of_tests() == set()


def test_changelog_has_a_heading_for_the_version_that_is_installed() -> None:
    """Somebody who reads ``rimewatch --version`` finds what is in it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

    headings = re.findall(
        r"^## \[(\d+\.\d+\.\d+)\] - \d{4}-\d\d-\d\d$",
        (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"),
        re.MULTILINE,
    )

    assert headings[0] == project["version"] == metadata.version("rimewatch")


def test_reference_says_what_the_code_says() -> None:
    """Configuration, commands, published limits and the HTTP interface are made from the code."""
    # A process of its own: click keeps a command's help as whoever ran it first saw it.
    done = subprocess.run(
        [sys.executable, ROOT / ".ci" / "make_reference.py", "--check"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )

    assert (done.returncode, done.stdout) == (0, ""), f"run make reference\n{done.stderr}"


def test_documentation_is_built_without_a_warning(tmp_path: Path) -> None:
    """Every page is in the contents, and every link and anchor in it leads somewhere."""
    settings = ["--config-file", str(ROOT / ".ci" / "mkdocs.yml")]
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "mkdocs",
            "build",
            "--strict",
            *settings,
            "--site-dir",
            tmp_path / "site",
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert (tmp_path / "site" / "index.html").is_file()
