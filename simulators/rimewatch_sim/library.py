"""The shipped scenarios, and those in files of one's own."""

from pathlib import Path
from typing import Final

from rimewatch_sim.scenario import Scenario, ScenarioError, parse_scenario

SCENARIOS: Final = Path(__file__).parent / "scenarios"


def names() -> list[str]:
    """Return the names of the shipped scenarios."""
    return sorted(file.stem for file in SCENARIOS.glob("*.toml"))


def load_scenario(name_or_file: str) -> Scenario:
    """Return a shipped scenario by its name, or one from a TOML file.

    Raises:
        ScenarioError: If there is none, or it is wrong.
    """
    if name_or_file in names():
        path = SCENARIOS / f"{name_or_file}.toml"
    elif name_or_file.endswith(".toml"):
        path = Path(name_or_file)
    else:
        known = ", ".join(names())
        raise ScenarioError(
            f'there is no scenario "{name_or_file}"; expected a .toml file or one of: {known}'
        )
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ScenarioError(f"{name_or_file}: cannot be read: {reason}") from None
    except UnicodeDecodeError:
        raise ScenarioError(f"{name_or_file}: is not UTF-8 text") from None
    return parse_scenario(text, source=path.name)
