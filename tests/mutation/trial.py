"""One mistake on trial: a process of its own, with the mistake in it, runs the tests."""

import ast
import importlib.abc
import importlib.machinery
import importlib.util
import os
import resource
import sys
from collections.abc import Sequence
from types import CodeType, ModuleType
from typing import Final

import hypothesis
import pytest

MEMORY_BYTES: Final = 4 << 30
"""A mistake that fills the memory is found by that."""
OPTIONS: Final = (
    *("-x", "-q", "--tb=no", "-n", "0", "-p", "no:cacheprovider"),
    *("--randomly-seed=1", "--randomly-dont-reorganize"),
    *("-W", "ignore::pytest.PytestAssertRewriteWarning"),  # hypothesis is there already
)


class OneMistake(importlib.abc.MetaPathFinder):
    """Gives one module as it would be with the mistake; all others are found as usual."""

    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        self._name = name
        self._loader = _Loader(name, path, tree)

    def find_spec(  # the import system's shape
        self,
        fullname: str,
        path: Sequence[str] | None,  # noqa: ARG002
        target: ModuleType | None = None,  # noqa: ARG002
    ) -> importlib.machinery.ModuleSpec | None:
        """Answer for the one module."""
        if fullname != self._name:
            return None
        return importlib.util.spec_from_file_location(fullname, loader=self._loader)


class _Loader(importlib.machinery.SourceFileLoader):
    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self._tree = tree

    def get_code(self, fullname: str) -> CodeType:  # noqa: ARG002 (likewise)
        return compile(self._tree, self.path, "exec")


class Quick:
    """A part of pytest: the same examples for all mistakes, and none made smaller."""

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        """Set it before the tests are read, after their conftest."""
        hypothesis.settings.register_profile(
            "mutation",
            derandomize=True,
            deadline=None,
            phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
            suppress_health_check=list(hypothesis.HealthCheck),
        )
        hypothesis.settings.load_profile("mutation")


def run(mistake: OneMistake | None, rounds: Sequence[Sequence[str]], *, at_most_s: int) -> int:
    """Start a process that runs rounds of tests with the mistake until one fails; give its id.

    Most mistakes are found in the first round, and the modules of the others need not be read.

    It ends with 0 where no test failed, and by a signal after so many seconds of processor time:
    the machine's other work makes no mistake look like an endless loop.
    """
    process = os.fork()
    if process:
        return process
    code = 70
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        resource.setrlimit(resource.RLIMIT_CPU, (at_most_s, at_most_s + 1))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        if mistake is not None:
            sys.meta_path.insert(0, mistake)
        code = 0
        for tests in rounds:
            code = code or pytest.main([*OPTIONS, *tests], plugins=[Quick()])
    finally:
        os._exit(code)
