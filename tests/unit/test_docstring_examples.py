"""The examples in the docstrings are true, wherever they stand."""

import doctest
import importlib.util
import pkgutil
from pathlib import Path
from types import ModuleType

import pytest

import rimewatch
import rimewatch_sim

PACKAGES = (rimewatch, rimewatch_sim)


def modules_with_examples() -> list[str]:
    """Return every module of ours whose text holds an example."""
    found = []
    for package in PACKAGES:
        for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            spec = importlib.util.find_spec(info.name)
            assert spec is not None
            if spec.origin and ">>> " in Path(spec.origin).read_text(encoding="utf-8"):
                found.append(info.name)
    return found


@pytest.mark.parametrize("name", modules_with_examples())
def test_docstring_examples_give_what_they_say(name: str) -> None:
    """Whoever copies an example gets what is printed under it."""
    module: ModuleType = importlib.import_module(name)

    result = doctest.testmod(module)

    assert result.attempted > 0
    assert result.failed == 0
