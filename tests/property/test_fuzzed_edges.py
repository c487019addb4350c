"""What fuzzing begins with and what it kept, once more: no edge breaks on any of it."""

import pytest

from fuzz import targets
from fuzz.seeds import corpus, seeds


@pytest.mark.parametrize("name", targets.TARGETS)
def test_edge_holds_on_all_that_is_known(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A target raises where what must hold does not."""
    monkeypatch.setattr(targets.people, "_HASHER", targets.people._HASHER)  # put back afterwards
    monkeypatch.setattr(targets.enter, "TAKEN_IN_WITHIN_S", targets.enter.TAKEN_IN_WITHIN_S)
    known = [*seeds()[name], *corpus(name)]

    for data in known:
        targets.TARGETS[name](data)

    assert known
