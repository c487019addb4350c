"""The exact step of a linear system: the matrix exponential, by scaling and squaring.

Only additions and multiplications in a fixed order, so the same input gives the
same bits on any machine; that is why it is written out here and not taken from a
numerical library. The tests check it against one.
Pure: no I/O, no clock, no chance.

References:
    [1] Golub, G. H. and Van Loan, C. F. (2013). Matrix Computations, 4th ed., section
        9.3.1 (from memory): the exponential by scaling and squaring.
"""

from collections.abc import Sequence
from typing import Final

Row = tuple[float, ...]
Matrix = tuple[Row, ...]

_TERMS: Final = 14
"""Taylor terms. With the scaled norm at most 1/4 the first term left out is below 1e-20."""


def _product(left: Sequence[Sequence[float]], right: Sequence[Sequence[float]]) -> Matrix:
    columns = tuple(zip(*right, strict=True))
    rows = []
    for row in left:
        values = []
        for column in columns:
            total = 0.0
            for a, b in zip(row, column, strict=True):
                total += a * b
            values.append(total)
        rows.append(tuple(values))
    return tuple(rows)


def exponential(matrix: Sequence[Sequence[float]]) -> Matrix:
    """Return the exponential of a square matrix.

    >>> exponential(((0.0, 1.0), (0.0, 0.0)))
    ((1.0, 1.0), (0.0, 1.0))
    """
    size = len(matrix)
    norm = max(sum(abs(value) for value in row) for row in matrix)
    squarings = 0
    while norm > 0.25:
        norm /= 2.0
        squarings += 1
    factor = 0.5**squarings
    scaled = tuple(tuple(value * factor for value in row) for row in matrix)
    identity = tuple(tuple(float(i == j) for j in range(size)) for i in range(size))
    total = identity
    term = identity
    for n in range(1, _TERMS + 1):
        term = tuple(tuple(v / n for v in row) for row in _product(term, scaled))
        total = tuple(
            tuple(a + b for a, b in zip(x, y, strict=True))
            for x, y in zip(total, term, strict=True)
        )
    for _ in range(squarings):
        total = _product(total, total)
    return total
