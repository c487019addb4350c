"""Writes THIRD-PARTY.md: whose work a shop installs with rimewatch, and under which licence.

Read from ``lock/shop.cdx.json``, which ``make lock`` writes.
"""

import json
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[1]
HEAD: Final = """# Other people's work

rimewatch itself is under the Apache License 2.0 (`LICENSE`). It is installed with these packages,
each under a licence of its own, whose text lies with the package (`pip show --files NAME`). None
of them is part of rimewatch's own wheel; the container image holds them. Written by `make lock`.

| Package | Version | Licence |
|---|---|---|
"""

CLASSIFIER: Final = "License :: OSI Approved :: "


def licences(component: dict[str, Any]) -> str:
    """Return a component's licences in words, the SPDX expression where it has one."""
    found = component.get("licenses", [])
    said = [one["expression"] for one in found if "expression" in one]
    if not said:
        named = [one["license"] for one in found if "license" in one]
        said = [one["id"] for one in named if "id" in one]
        said = said or [one["name"].partition("\n")[0].removeprefix(CLASSIFIER) for one in named]
    return ", ".join(dict.fromkeys(said)) or "see the package"


def main() -> None:
    """Write the notice."""
    bill = json.loads((ROOT / "lock/shop.cdx.json").read_text(encoding="utf-8"))
    rows = [
        f"| {one['name']} | {one['version']} | {licences(one)} |"
        for one in sorted(bill["components"], key=lambda one: one["name"].lower())
    ]
    (ROOT / "THIRD-PARTY.md").write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
