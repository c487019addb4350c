"""Which fish a name means, or that it does not say.

A name is found in full, by its scientific name with the genus shortened, or as
"Common (Scientific)"; capitals, accents, spaces, hyphens, points and commas do not
matter. Anything else in a name, a question mark above all, makes it another name.
A name that may be two fish is never settled by guessing.

Pure: no I/O. Says nothing about what a lot needs; ``needs`` does.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from rimewatch.lots.species import Group, Species
from rimewatch.lots.species_other import NOT_FINFISH
from rimewatch.lots.species_salmon import FRESH_WATER, SALMON
from rimewatch.lots.species_silver import SILVER
from rimewatch.lots.species_tuna import TUNA
from rimewatch.lots.species_vague import VAGUE_NAMES
from rimewatch.lots.species_white import WHITE

__all__ = [
    "CATALOGUE",
    "SPECIES",
    "Ambiguous",
    "Catalogue",
    "Group",
    "Species",
    "catalogue_with",
    "find",
    "key_of",
    "nearest_names",
    "perhaps_toxic",
]

_BUILT_IN: Final = (*TUNA, *SALMON, *FRESH_WATER, *SILVER, *WHITE, *NOT_FINFISH)
_NO_MATTER: Final = re.compile(r"[\s\-‐‑–_'’.,]+")
_WORD: Final = re.compile(r"[^\W\d_]+")
_WORDS_MOST: Final = 4
"""The most words of a name that are looked at together."""
_BINOMIAL: Final = re.compile(r"([A-Z])[a-z]+ ([a-z-]+)")
_NAME_AND_NAME: Final = re.compile(r"([^()]+)\(([^()]+)\)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ambiguous:
    """A name that may be any of several species, or says too little to be one."""

    choices: tuple[Species, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """Species and every key that leads to them. Built by ``catalogue_with``."""

    species: tuple[Species, ...]
    index: Mapping[str, Species | Ambiguous]

    def find(self, name: str) -> Species | Ambiguous | None:
        """Return what a name means; None: no fish here has it."""
        whole = self.index.get(key_of(name))
        if whole is not None:
            return whole
        both = _NAME_AND_NAME.fullmatch(name)
        if both is None:
            return None
        outer, inner = (self.index.get(key_of(part)) for part in both.groups())
        if outer is None or inner is None:
            return None
        either, agreed = _choices(outer), [s for s in _choices(inner) if s in _choices(outer)]
        if len(agreed) == 1:
            return agreed[0]
        return Ambiguous(choices=tuple(agreed) or _once((*either, *_choices(inner))))


def key_of(name: str) -> str:
    """Return a name without what does not matter: capitals, accents, spaces, hyphens, points.

    >>> key_of("T. Albacares"), key_of("mahi-mahi")
    ('talbacares', 'mahimahi')
    """
    plain = unicodedata.normalize("NFKD", name.casefold())
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    return _NO_MATTER.sub("", letters.casefold())


def catalogue_with(extra: Iterable[Species] = ()) -> Catalogue:
    """Return the catalogue together with a shop's own species.

    A name that two fish share settles nothing, whether both are in the catalogue or one is the
    shop's: a catalogue that grows refuses no shop that was right before. A shop's own species
    that is in the catalogue already adds its names to it, and its caution.

    Raises:
        ValueError: If a shop's name is another's of its own, that of an exempt tuna, or one of
            the names that say too little: "tuna" cannot be made to mean one fish.
    """
    own = {one.scientific: one for one in extra}
    species = [_joined(one, own.get(one.scientific)) for one in _BUILT_IN]
    index: dict[str, Species | Ambiguous] = {}
    for item in species:
        for name in item.names:
            _share(index, key_of(name), (item,))
    for names, meant in VAGUE_NAMES:
        choices = _once(choice for one in meant for choice in _choices(index[key_of(one)]))
        for name in names:
            _share(index, key_of(name), choices)
            vague = index[key_of(name)]
            index[key_of(name)] = Ambiguous(choices=_choices(vague))
    known = {one.scientific: one for one in species}
    claimed: dict[str, Species] = {}
    for one in extra:
        item = known.get(one.scientific, one)
        if one.scientific not in known:
            species.append(one)
        for key, name in {key_of(name): name for name in one.names}.items():
            _claim(index, claimed, key, name, item)
    _add_short_forms(index, species)
    return Catalogue(species=tuple(species), index=MappingProxyType(index))


def find(name: str, extra: Sequence[Species] = ()) -> Species | Ambiguous | None:
    """Return what a name means, among the catalogue's species and a shop's own.

    Args:
        name: As written at receipt.
        extra: The shop's own species.

    Returns:
        The species; ``Ambiguous`` if the name may be several; None if nobody has it.

    Raises:
        ValueError: If a name in ``extra`` is taken already.

    >>> find("T. albacares").common
    'yellowfin tuna'
    >>> find("maguro").choices[0].common
    'albacore'
    """
    return (_catalogue(tuple(extra)) if extra else CATALOGUE).find(name)


@lru_cache(maxsize=256)
def perhaps_toxic(name: str) -> tuple[Species, ...]:
    """Return the fish never to be served raw that an unknown name may mean by any word of it.

    "Fresh fugu" and "Takifugu sp." are no names here; a word or the genus tells enough to hold
    the fish back.

    >>> [fish.common for fish in perhaps_toxic("wild torafugu fillet")]
    ['tiger puffer']
    """
    words = _WORD.findall(unicodedata.normalize("NFKC", name))
    runs = {
        key_of("".join(words[begin:end]))
        for begin in range(len(words))
        for end in range(begin + 1, min(begin + _WORDS_MOST, len(words)) + 1)
    }
    return tuple(
        fish
        for fish in SPECIES
        if fish.toxin is not None
        and fish.toxin.never_raw
        and (
            runs & {key_of(known) for known in fish.names}
            or key_of(fish.scientific.partition(" ")[0]) in runs
        )
    )


@lru_cache(maxsize=256)
def nearest_names(name: str, most: int = 2) -> tuple[str, ...]:
    """Return the catalogue's names that are written most like a name that it does not have.

    >>> nearest_names("yelowfin tuna")[0]
    'yellowfin tuna'
    """
    spelled = {key_of(known): known for species in SPECIES for known in species.names}
    return tuple(spelled[key] for key in get_close_matches(key_of(name), spelled, n=most))


@lru_cache(maxsize=8)
def _catalogue(extra: tuple[Species, ...]) -> Catalogue:
    """Return the catalogue with a shop's own species, built once: a shop asks for each lot."""
    return catalogue_with(extra)


def _joined(known: Species, own: Species | None) -> Species:
    """Return a fish of the catalogue with what a shop says of it, where that is more cautious."""
    if own is None:
        return known
    return replace(
        known,
        group=own.group if known.is_exempt and not own.is_exempt else known.group,
        forms_scombrotoxin=known.forms_scombrotoxin or own.forms_scombrotoxin,
    )


def _share(index: dict[str, Species | Ambiguous], key: str, fish: tuple[Species, ...]) -> None:
    """Give a key to fish beside those that have it already."""
    have = index.get(key)
    every = _once((*(() if have is None else _choices(have)), *fish))
    index[key] = every[0] if len(every) == 1 else Ambiguous(choices=every)


def _claim(
    index: dict[str, Species | Ambiguous],
    claimed: dict[str, Species],
    key: str,
    name: str,
    owner: Species,
) -> None:
    """Give a key to a shop's own fish; refuse what would make a name say more than it does."""
    there = index.get(key)
    others = tuple(one for one in (() if there is None else _choices(there)) if one != owner)
    if others and (
        claimed.get(key, owner) != owner
        or key in _VAGUE_KEYS
        or any(one.group is Group.TUNA_EXEMPT for one in others)
    ):
        raise ValueError(
            f"species name {name!r} is taken already "
            f"({', '.join(one.scientific for one in others)}); give the species a name that is "
            "its own"
        )
    claimed[key] = owner
    _share(index, key, (owner,))


def _add_short_forms(index: dict[str, Species | Ambiguous], species: Iterable[Species]) -> None:
    """Add "T. albacares" for Thunnus albacares; a short form of two species settles nothing."""
    for item in species:
        binomial = _BINOMIAL.fullmatch(item.scientific)
        if binomial is None:
            continue
        key = key_of("".join(binomial.groups()))
        taken = index.get(key)
        if taken is None:
            index[key] = item
        elif taken != item:
            _share(index, key, (item,))


def _choices(found: Species | Ambiguous) -> tuple[Species, ...]:
    return found.choices if isinstance(found, Ambiguous) else (found,)


def _once(species: Iterable[Species]) -> tuple[Species, ...]:
    return tuple(dict.fromkeys(species))


_VAGUE_KEYS: Final = frozenset(key_of(name) for names, _ in VAGUE_NAMES for name in names)
CATALOGUE: Final = catalogue_with()
SPECIES: Final = CATALOGUE.species
