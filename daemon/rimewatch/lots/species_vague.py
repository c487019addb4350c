"""Names that are on labels and say too little: each may be more than one fish.

Pure data. Such a name never exempts a lot, even where every fish it may mean is exempt.

References:
    [1] Usage of the trade and of sushi bars: common practice, no source.
"""

from typing import Final

from rimewatch.lots.species_finfish import TUNA

_ALL_TUNA: Final = tuple(
    fish.scientific for fish in TUNA if not fish.scientific.startswith("Sarda")
)
_THUNNUS: Final = tuple(name for name in _ALL_TUNA if name.startswith("Thunnus"))
_BLUEFIN: Final = ("Thunnus thynnus", "Thunnus orientalis", "Thunnus maccoyii")
_SALMON: Final = (
    "Salmo salar",
    "Oncorhynchus tshawytscha",
    "Oncorhynchus nerka",
    "Oncorhynchus kisutch",
    "Oncorhynchus keta",
    "Oncorhynchus gorbuscha",
    "Oncorhynchus masou",
)
_SCALLOP: Final = ("scallop adductor", "scallop with roe")
_ROE: Final = ("fish roe removed from the skein and rinsed", "fish roe in the skein")

VAGUE_NAMES: Final[tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]] = (
    (("tuna", "tunas", "maguro", "toro", "otoro", "chutoro", "akami", "tuna belly"), _ALL_TUNA),
    (("Thunnus", "Thunnus sp.", "Thunnus spp."), _THUNNUS),
    (("bluefin", "bluefin tuna"), _BLUEFIN),
    (("hon maguro", "kuro maguro"), ("Thunnus thynnus", "Thunnus orientalis")),
    (("ahi", "ahi tuna"), ("Thunnus albacares", "Thunnus obesus")),
    (("bigeye",), ("Thunnus obesus",)),  # also the bigeyes of the family Priacanthidae
    (("blackfin",), ("Thunnus atlanticus", "Doederleinia berycoides")),
    (("longfin",), ("Thunnus alalunga", "Doryteuthis pealeii")),
    (("white tuna", "shiro maguro"), ("Thunnus alalunga", "Lepidocybium flavobrunneum")),
    (("butterfish",), ("Lepidocybium flavobrunneum", "Anoplopoma fimbria")),
    (
        ("bonito",),
        ("Katsuwonus pelamis", "Sarda sarda", "Sarda chiliensis", "Sarda orientalis"),
    ),
    (
        ("Euthynnus", "Euthynnus sp.", "Euthynnus spp."),
        ("Euthynnus affinis", "Euthynnus alletteratus", "Euthynnus lineatus"),
    ),
    (("salmon", "sake", "shake", "wild salmon"), _SALMON),
    (("trout",), ("Oncorhynchus mykiss", "Salmo trutta")),
    (("yellowtail",), ("Seriola quinqueradiata", "Seriola lalandi")),
    (("kampachi", "kanpachi"), ("Seriola dumerili", "Seriola rivoliana")),
    (
        ("amberjack",),
        ("Seriola quinqueradiata", "Seriola lalandi", "Seriola dumerili", "Seriola rivoliana"),
    ),
    (
        ("mackerel", "saba"),
        ("Scomber japonicus", "Scomber scombrus", "Scomber australasicus"),
    ),
    (("Spanish mackerel",), ("Scomberomorus niphonius", "Scomberomorus maculatus")),
    (("sardine", "iwashi"), ("Sardinops sagax", "Sardina pilchardus")),
    (("herring",), ("Clupea pallasii", "Clupea harengus")),
    (("sea bream",), ("Pagrus major", "Sparus aurata", "Evynnis tumifrons")),
    (("tai",), ("Pagrus major", "Lutjanus campechanus", "Oreochromis niloticus")),
    (
        ("sea bass",),
        (
            "Dicentrarchus labrax",
            "Lateolabrax japonicus",
            "Centropristis striata",
            "Dissostichus eleginoides",
        ),
    ),
    (
        ("flounder", "karei"),
        ("Paralichthys olivaceus", "Paralichthys dentatus", "Pseudopleuronectes yokohamae"),
    ),
    (
        ("halibut",),
        ("Hippoglossus hippoglossus", "Hippoglossus stenolepis", "Reinhardtius hippoglossoides"),
    ),
    (("engawa",), ("Paralichthys olivaceus", "Reinhardtius hippoglossoides")),
    (("cod", "tara"), ("Gadus macrocephalus", "Gadus morhua")),
    (("eel",), ("Anguilla japonica", "Anguilla anguilla", "Anguilla rostrata", "Conger myriaster")),
    (
        (
            "scallop",
            "scallops",
            "sea scallop",
            "bay scallop",
            "hotate",
            "hotategai",
            "Placopecten magellanicus",
            "Mizuhopecten yessoensis",
            "Patinopecten yessoensis",
            "Argopecten irradians",
            "Pecten maximus",
        ),
        _SCALLOP,
    ),
    (("fish roe", "fish eggs", "roe"), _ROE),
    (("salmon roe", "salmon eggs", "salmon caviar"), ("ikura", "sujiko")),
    (("flying fish roe",), ("tobiko", "fish roe in the skein")),
    (("capelin roe", "smelt roe"), ("masago", "fish roe in the skein")),
    (("herring roe",), ("fish roe removed from the skein and rinsed", "kazunoko")),
    (
        ("squid", "ika"),
        (
            "Todarodes pacificus",
            "Doryteuthis pealeii",
            "Heterololigo bleekeri",
            "Sepioteuthis lessoniana",
            "Watasenia scintillans",
        ),
    ),
    (("octopus", "tako"), ("Octopus vulgaris", "Enteroctopus dofleini")),
    (("shrimp", "prawn", "ebi"), ("Pandalus borealis", "Penaeus japonicus", "Penaeus monodon")),
    (("botan ebi",), ("Pandalus platyceros", "Pandalus borealis")),
    (("crab", "kani"), ("Chionoecetes opilio", "Paralithodes camtschaticus")),
)
"""Names, and the fish each may mean, by any of that fish's own names."""
