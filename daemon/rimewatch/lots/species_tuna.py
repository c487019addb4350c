"""Tuna and bonitos. Pure data.

The exempt tuna are those of FDA Food Code 2022, 3-402.11(B)(3), and no others. All of them form
scombrotoxin: FDA Hazards and Controls Guidance, 4th ed., chapter 3, table 3-2 (from memory).
"""

from functools import partial
from typing import Final

from rimewatch.lots.species import Group
from rimewatch.lots.species_row import WORM, row

_exempt = partial(row, group=Group.TUNA_EXEMPT, histamine=True)
_other = partial(row, group=Group.TUNA_NOT_EXEMPT, histamine=True, parasites=WORM)

TUNA: Final = (
    _exempt(
        "albacore", "Thunnus alalunga", "albacore tuna", "longfin tuna", "tombo",
        ja="binnaga, bincho, bin-naga maguro, bincho maguro",
        es="bonito del norte, atún blanco, albacora", fr="germon, thon blanc, thon germon",
    ),
    _exempt(
        "yellowfin tuna", "Thunnus albacares", "yellowfin", ja="kihada, kihada maguro, kiwada",
        es="rabil, atún de aleta amarilla, atún aleta amarilla, albacora",
        fr="albacore tropical, thon jaune, thon à nageoires jaunes",
    ),
    _exempt(
        "blackfin tuna", "Thunnus atlanticus", "blackfin tunny", ja="taiseiyo maguro",
        es="atún de aleta negra", fr="thon à nageoires noires",
    ),
    _exempt(
        "southern bluefin tuna", "Thunnus maccoyii", "southern bluefin", "bluefin tuna, southern",
        ja="minami maguro, indo maguro", es="atún rojo del sur, atún del sur",
        fr="thon rouge du sud",
    ),
    _exempt(
        "bigeye tuna", "Thunnus obesus", ja="mebachi, mebachi maguro", es="patudo, atún patudo",
        fr="thon obèse, patudo",
    ),
    _exempt(
        "Atlantic bluefin tuna", "Thunnus thynnus", "Atlantic bluefin", "northern bluefin tuna",
        "bluefin tuna, northern", "Thunnus thynnus thynnus", ja="taiseiyo kuro maguro",
        es="atún rojo del Atlántico, cimarrón", fr="thon rouge de l’Atlantique",
        notes="The Food Code calls this species northern bluefin. Elsewhere that name is also "
        "given to longtail tuna, and formerly to Pacific bluefin: where in doubt record the "
        "scientific name.",
    ),
    _other(
        "Pacific bluefin tuna", "Thunnus orientalis", "Pacific bluefin",
        "Thunnus thynnus orientalis", ja="taiheiyo kuro maguro, meji, meji maguro, yokowa",
        es="atún rojo del Pacífico, cimarrón", fr="thon rouge du Pacifique",
        notes="Once counted as a form of T. thynnus, so older papers may say northern bluefin. "
        "Fattened on whole bait fish it is farmed-other, not farmed-pellet.",
    ),
    _other(
        "longtail tuna", "Thunnus tonggol", "tonggol", "tongol tuna", ja="koshinaga",
        es="atún tongol", fr="thon mignon",
    ),
    _other(
        "skipjack tuna", "Katsuwonus pelamis", "skipjack", "aku", "oceanic bonito",
        ja="katsuo, hatsu gatsuo, modori gatsuo, hon gatsuo",
        es="listado, bonito listado, barrilete",
        fr="listao, bonite à ventre rayé",
    ),
    _other(
        "kawakawa", "Euthynnus affinis", "mackerel tuna", ja="suma, suma gatsuo",
        es="bacoreta oriental", fr="thonine orientale",
    ),
    _other(
        "little tunny", "Euthynnus alletteratus", "false albacore", "little tuna",
        ja="taiseiyo yaito", es="bacoreta", fr="thonine, thonine commune",
    ),
    _other(
        "black skipjack", "Euthynnus lineatus", es="barrilete negro", fr="thonine noire",
    ),
    _other(
        "frigate tuna", "Auxis thazard", "frigate mackerel", ja="hira soda, soda gatsuo",
        es="melva", fr="auxide",
    ),
    _other(
        "bullet tuna", "Auxis rochei", "bullet mackerel", ja="maru soda, soda gatsuo",
        es="melvera, melva", fr="bonitou",
    ),
    _other(
        "Atlantic bonito", "Sarda sarda", ja="hagatsuo", es="bonito atlántico, bonito",
        fr="bonite à dos rayé, pélamide, bonite",
    ),
    _other(
        "Pacific bonito", "Sarda chiliensis", "eastern Pacific bonito", ja="hagatsuo",
        es="bonito del Pacífico, bonito", fr="bonite du Pacifique, bonite",
    ),
    _other(
        "striped bonito", "Sarda orientalis", ja="hagatsuo, kitsune gatsuo",
        es="bonito mono, bonito", fr="bonite orientale, bonite",
    ),
    _other(
        "dogtooth tuna", "Gymnosarda unicolor", ja="iso maguro", es="casarte ojón, tazón",
        fr="bonite à gros yeux",
    ),
    _other(
        "slender tuna", "Allothunnus fallai", ja="hoso gatsuo", es="atún lanzón",
        fr="thon élégant",
    ),
)  # fmt: skip
