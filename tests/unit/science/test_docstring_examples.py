"""The examples in the docstrings are true."""

import doctest
import importlib

import pytest

MODULES = [
    "rules.provision",
    "science.approach",
    "science.exposure",
    "science.fish_properties",
    "science.freezing_time",
    "science.guard_band",
    "science.ice_point",
    "science.rise_models",
    "science.rtd",
    "science.segments",
    "science.spoilage",
    "science.time_control",
    "science.time_to_reach",
    "science.time_until_solid",
]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_give_what_they_say(name: str) -> None:
    """Whoever copies an example gets what is printed under it."""
    result = doctest.testmod(importlib.import_module(f"rimewatch.{name}"))

    assert result.attempted > 0
    assert result.failed == 0
