"""The exact step against a numerical library's matrix exponential."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.linalg import expm

from rimewatch_sim.linear import exponential

_SQUARE = st.integers(min_value=1, max_value=6).flatmap(
    lambda n: arrays(np.float64, (n, n), elements=st.floats(min_value=-5.0, max_value=5.0))
)


@settings(max_examples=60, deadline=None)
@given(_SQUARE)
def test_exponential_of_any_matrix_agrees_with_scipy(matrix: np.ndarray) -> None:
    """The plant's steps rest on it, so it must be right for every matrix."""
    ours = np.array(exponential(matrix.tolist()))
    theirs = expm(matrix)

    assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9 * max(1.0, np.abs(theirs).max()))


def test_exponential_of_nothing_is_the_identity() -> None:
    """No time passed: nothing changes."""
    assert exponential(((0.0, 0.0), (0.0, 0.0))) == ((1.0, 0.0), (0.0, 1.0))
