"""What is locked is what pyproject.toml asks for, by hashes alone."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
EXTRAS = {"shop": "mirror", "demo": "demo", "dev": "dev"}


def locked(name: str) -> dict[str, str]:
    """Return the version of each package in a lock."""
    text = (ROOT / "lock" / f"{name}.txt").read_text(encoding="utf-8")
    return dict(re.findall(r"^([a-z0-9.-]+)==([^ ;\\]+)", text, re.MULTILINE))


def asked(extra: str) -> list[Requirement]:
    """Return the direct dependencies with an extra, those of extras within it included."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    found, waiting = list(map(Requirement, project["dependencies"])), [extra]
    while waiting:
        for requirement in map(Requirement, extras[waiting.pop()]):
            if requirement.name == project["name"]:
                waiting.extend(requirement.extras)
            else:
                found.append(requirement)
    return found


@pytest.mark.parametrize("name", EXTRAS)
def test_lock_has_each_dependency_at_a_version_that_is_allowed(name: str) -> None:
    """Where pyproject.toml changed and make lock was forgotten, it says so."""
    versions = locked(name)
    wrong = [
        str(requirement)
        for requirement in asked(EXTRAS[name])
        if (version := versions.get(canonicalize_name(requirement.name))) is None
        or version not in requirement.specifier
    ]

    assert wrong == []


@pytest.mark.parametrize("name", EXTRAS)
def test_lock_names_hashes_and_no_address(name: str) -> None:
    """A package is what its hash says, wherever it comes from."""
    text = (ROOT / "lock" / f"{name}.txt").read_text(encoding="utf-8")

    assert "://" not in text
    assert "--index" not in text
    assert "--find-links" not in text
    for entry in re.split(r"\n(?=\S)", text.strip()):
        assert re.fullmatch(r"[^\n]+==[^\n]+ \\\n(    --hash=sha256:[0-9a-f]{64}( \\)?\n?)+", entry)


def test_bill_of_materials_and_notice_name_what_a_shop_installs() -> None:
    """They go into each wheel; where the lock changed and they were forgotten, it says so."""
    bill = json.loads((ROOT / "lock" / "shop.cdx.json").read_text(encoding="utf-8"))
    listed = {canonicalize_name(one["name"]): one["version"] for one in bill["components"]}
    notice = (ROOT / "THIRD-PARTY.md").read_text(encoding="utf-8")
    noticed = dict(re.findall(r"^\| ([\w.-]+) \| ([^ |]+) \| [^|]+ \|$", notice, re.MULTILINE))
    del noticed["Package"]  # the table's head

    assert bill["bomFormat"] == "CycloneDX"
    text = (ROOT / "lock" / "shop.txt").read_text(encoding="utf-8")
    assert [pair for pair in listed.items() if f"{pair[0]}=={pair[1]} " not in text] == []
    assert {canonicalize_name(asked_for.name) for asked_for in asked("mirror")} <= set(listed)
    assert {canonicalize_name(name): version for name, version in noticed.items()} == listed


def test_image_is_built_from_every_file_that_the_wheel_names() -> None:
    """What is missing there ends its build."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project, wheel = told["project"], told["tool"]["hatch"]["build"]["targets"]["wheel"]
    wanted = [project["readme"], *project["license-files"], *wheel["sbom-files"]]
    wanted += [*wheel["packages"], *wheel["force-include"]]
    lines = (ROOT / "daemon" / "Dockerfile").read_text(encoding="utf-8").splitlines()
    copied = [source for line in lines if line.startswith("COPY ") for source in line.split()[1:-1]]

    missing = [
        name
        for name in wanted
        if not any(name == source or name.startswith(f"{source}/") for source in copied)
    ]
    assert missing == []
