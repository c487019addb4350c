"""A small valid configuration that each test bends in one place."""

from collections.abc import Callable, Mapping

import pytest

from rimewatch.config import ConfigError, Problem, load_shop

Lines = Mapping[str, str | None]
Configuration = Callable[..., str]
Refused = Callable[..., tuple[Problem, ...]]

BASE: Mapping[str, Mapping[str, str]] = {
    "shop": {"name": '"Saltmarsh Row Fish"', "timezone": '"America/Chicago"'},
    "broker": {"url": '"mqtt://127.0.0.1:1883"'},
    "unit": {"id": '"case-1"', "name": '"Front display case"', "kind": '"display-case"'},
    "probe": {
        "id": '"case-1-air"',
        "unit": '"case-1"',
        "measures": '"air"',
        "topic": '"shop/case-1/air"',
    },
    "contact": {
        "id": '"first"',
        "name": '"On-call phone"',
        "urls": '["json://127.0.0.1:9000/"]',
    },
    "night": {"from": '"21:00"', "to": '"06:00"'},
    "escalation": {"after_s": "0", "contacts": '["first"]'},
    "watch": {"heartbeat_url": '"https://beat.example.com/"'},
}
ARRAYS = {"unit", "probe", "contact", "escalation"}


def table(name: str, changes: Lines | None = None) -> str:
    """Return one table as TOML; a change to None leaves the key out."""
    lines = {**BASE[name], **(changes or {})}
    head = f"[[{name}]]" if name in ARRAYS else f"[{name}]"
    return "\n".join([head, *(f"{key} = {value}" for key, value in lines.items() if value), ""])


@pytest.fixture(scope="session")
def one() -> Callable[..., str]:
    """Return a function that writes one table of the base, changed."""
    return table


@pytest.fixture(scope="session")
def configuration() -> Configuration:
    """Return a function that writes the base, changed table by table, and a rest behind it."""

    def write(rest: str = "", **changes: Lines) -> str:
        assert set(changes) <= set(BASE), "a test changes a table that is not there"
        return "\n".join([*(table(name, changes.get(name)) for name in BASE), rest])

    return write


@pytest.fixture(scope="session")
def refused() -> Refused:
    """Return a function that gives the problems a text is refused for."""

    def problems(text: str, environ: Mapping[str, str] | None = None) -> tuple[Problem, ...]:
        with pytest.raises(ConfigError) as caught:
            load_shop(text, environ)
        assert str(caught.value) == "\n".join(problem.text for problem in caught.value.problems)
        return caught.value.problems

    return problems
