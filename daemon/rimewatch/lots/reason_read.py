"""What people's words say became of the fish: discarded, or used cooked. Pure.

A withdrawal has no field for it, and in a corrective action it may be left open. In the reason of a
withdrawal words that plainly say so count against the lot, whatever was proven; in a corrective
action, which may speak of the ice as well, they leave a doubt. A word that is denied, or that is a
name, says nothing: else a sound lot that was sold would be told as thrown away. English alone; the
words are common practice, no source.
"""

import re
from typing import Final

from rimewatch.vocabulary import Disposition

_CLAUSES: Final = re.compile(r"[.,;:!?()\n]|\s[-–—/]\s|\bbut\b", re.IGNORECASE)

_DISCARDED: Final = re.compile(
    r"\b(?:discard\w*|thrown|threw|throw(?:ing)? (?:\w+ )?(?:away|out)"
    r"|toss(?:ed)?\b(?!\s+(?:in|with)\b)|dumped|binned|in(?:to)? the bin\b|trash(?:ed)?\b|garbage"
    r"|rubbish|compost(?:ed)?\b|wasted?\b|condemn\w*"
    r"|destroyed(?!\s+(?:all\s+|any\s+|the\s+)*parasit)|disposed|disposal|spoil\w*|rotten"
    r"|(?:went|gone|smell(?:s|ed|t)?) (?:off|bad)\b|wr(?:itten|ote) (?:\w+ )?off\b)",
    re.IGNORECASE,
)

_COOKED: Final = re.compile(
    r"\b(?:cook(?:s|ed|ing)?|(?:deep-)?fried|grilled|baked|boiled|steamed|poached|soup|stew|chowder)\b",
    re.IGNORECASE,
)

_DENIED: Final = re.compile(
    r"(?:\b(?:not|never|nothing|none|no|zero|without|before|instead of|rather than)|n['’]t)"
    r"(?:\W+(?:a|any|at|all|be|been|being|can|could|fish|for|get|got|had|has|have|is|it|of|they"
    r"|to|used|was|were|yet))*\W+$",
    re.IGNORECASE,
)
"""What stands before a word that is denied: a denial, and nothing of weight in between."""

_PARASITES: Final = re.compile(r"\bparasites?(?:\W+(?:all|are|been|have|were))*\W+$", re.IGNORECASE)
"""What is destroyed after this is no fish."""


def dispositions_in(reason: str) -> tuple[Disposition, ...]:
    """Return what a reason says became of the fish; empty: it says nothing of the kind.

    >>> dispositions_in("smelled off, went in the bin"), dispositions_in("sold, nothing discarded")
    ((<Disposition.DISCARDED: 'discarded'>,), ())
    """
    clauses = _CLAUSES.split(reason)
    found: list[Disposition] = []
    if any(_says(_DISCARDED, clause) for clause in clauses):
        found.append(Disposition.DISCARDED)
    if any(_says(_COOKED, clause, may_be_name=True) for clause in clauses):
        found.append(Disposition.USED_COOKED)
    return tuple(found)


def _says(words: re.Pattern[str], clause: str, *, may_be_name: bool = False) -> bool:
    for said in words.finditer(clause):
        before = clause[: said.start()]
        word = said.group()
        if may_be_name and before.strip() and word.istitle():
            continue  # a street, a house or a person
        if word.lower() == "destroyed" and _PARASITES.search(before):
            continue
        if not _DENIED.search(before):
            return True
    return False
