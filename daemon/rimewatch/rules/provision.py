"""What a published limit is: a number with its unit, its wording and where it stands.

Pure values. Knows no particular limit and decides nothing.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

Confidence = Literal["read", "from memory"]
"""``read``: the number was read in a copy of the text, often a state's mirror of it.
``from memory``: it was not; check it against the text before an inspector does."""

FOOD_CODE: Final = "FDA Food Code"
FOOD_CODE_EDITION: Final = "2022"
HAZARDS: Final = "FDA Fish and Fishery Products Hazards and Controls Guidance"
HAZARDS_EDITION: Final = "4th ed. (2011, revised 2019-2022)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Provision:
    """One published limit.

    ``value`` is a number in ``unit``, or a list of names where the text lists names
    (``unit`` is then ``"names"``). ``used_by`` names the rules and subjects that
    stand on it.
    """

    id: str
    value: float | tuple[str, ...]
    unit: str
    text: str
    document: str
    edition: str
    section: str
    used_by: tuple[str, ...]
    confidence: Confidence

    @property
    def citation(self) -> str:
        """The source in one line, for a record or a page.

        >>> from rimewatch.rules.provisions import PROVISIONS
        >>> PROVISIONS["cold-holding"].citation
        'FDA Food Code 2022, 3-501.16(A)(2)'
        """
        return f"{self.document} {self.edition}, {self.section}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A document that limits are taken from: what its rows have in common."""

    document: str
    edition: str
    confidence: Confidence = "read"
    """How sure we are of a row that does not say otherwise."""
    within: str = ""
    """The part of the document that every section lies in."""

    def row(
        self,
        ident: str,
        value: float | tuple[str, ...],
        unit: str,
        section: str,
        text: str,
        *used_by: str,
        confidence: Confidence | None = None,
    ) -> Provision:
        """Return one of its limits."""
        return Provision(
            id=ident,
            value=value,
            unit=unit,
            text=text,
            document=self.document,
            edition=self.edition,
            section=f"{self.within}{section}",
            used_by=used_by,
            confidence=self.confidence if confidence is None else confidence,
        )


def registry(*groups: Iterable[Provision]) -> Mapping[str, Provision]:
    """Join groups of provisions into one read-only mapping by id, in order.

    Raises:
        ValueError: If two provisions have one id.
    """
    found: dict[str, Provision] = {}
    for group in groups:
        for provision in group:
            if provision.id in found:
                raise ValueError(
                    f"provision id {provision.id!r} is there twice; give each limit its own id"
                )
            found[provision.id] = provision
    return MappingProxyType(found)
