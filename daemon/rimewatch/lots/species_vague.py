"""Names that are on labels and say too little: each may be more than one fish.

Pure data. Such a name never exempts a lot, even where every fish it may mean is exempt.

References:
    [1] Usage of the trade and of sushi bars: common practice, no source.
"""

from typing import Final

from rimewatch.lots.species_tuna import TUNA

_ALL_TUNA: Final = tuple(
    fish.scientific
    for fish in TUNA
    if fish.scientific.partition(" ")[0] not in {"Sarda", "Gymnosarda", "Allothunnus"}
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

_SNAPPERS: Final = (
    "Lutjanus campechanus",
    "Ocyurus chrysurus",
    "Lutjanus argentimaculatus",
    "Etelis coruscans",
    "Pristipomoides filamentosus",
)
_PUFFERS: Final = ("Tetraodontidae",)
_MARLINS: Final = ("Kajikia audax", "Makaira nigricans", "Istiompax indica")
_CHAR: Final = ("Salvelinus alpinus", "Salvelinus leucomaenis", "Salvelinus fontinalis")
_GREENLINGS: Final = ("Hexagrammos otakii", "Pleurogrammus monopterygius")

VAGUE_NAMES: Final[tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]] = (
    (
        (
            "tuna", "tunas", "maguro", "toro", "otoro", "chutoro", "akami", "tuna belly", "atún",
            "atun", "thon", "ventresca", "negitoro",
        ),
        _ALL_TUNA,
    ),
    (("Thunnus", "Thunnus sp.", "Thunnus spp."), _THUNNUS),
    (
        ("bluefin", "bluefin tuna", "atún rojo", "thon rouge", "atún de aleta azul"),
        _BLUEFIN,
    ),
    (("hon maguro", "kuro maguro"), ("Thunnus thynnus", "Thunnus orientalis")),
    (("ahi", "ahi tuna"), ("Thunnus albacares", "Thunnus obesus")),
    (("bigeye",), ("Thunnus obesus",)),  # also the bigeyes of the family Priacanthidae
    (("blackfin",), ("Thunnus atlanticus", "Doederleinia berycoides")),
    (("longfin",), ("Thunnus alalunga", "Doryteuthis pealeii")),
    (("white tuna", "shiro maguro"), ("Thunnus alalunga", "Lepidocybium flavobrunneum")),
    (
        ("butterfish", "white butterfish"),
        ("Lepidocybium flavobrunneum", "Anoplopoma fimbria", "Pampus argenteus"),
    ),
    (
        ("bonito", "bonite"),
        ("Katsuwonus pelamis", "Sarda sarda", "Sarda chiliensis", "Sarda orientalis"),
    ),
    (
        ("Euthynnus", "Euthynnus sp.", "Euthynnus spp."),
        ("Euthynnus affinis", "Euthynnus alletteratus", "Euthynnus lineatus"),
    ),
    (("salmon", "sake", "shake", "wild salmon", "salmón", "saumon", "samon"), _SALMON),
    (
        ("trout", "trucha", "truite", "masu"),
        ("Oncorhynchus mykiss", "Salmo trutta", "Salvelinus fontinalis", "Oncorhynchus masou"),
    ),
    (("char", "charr", "omble"), _CHAR),
    (("yellowtail", "jurel de cola amarilla"), ("Seriola quinqueradiata", "Seriola lalandi")),
    (("kampachi",), ("Seriola dumerili", "Seriola rivoliana")),
    (("kanpachi",), ("Seriola dumerili", "Seriola rivoliana")),
    (
        ("amberjack", "seriola", "medregal", "sériole"),
        ("Seriola quinqueradiata", "Seriola lalandi", "Seriola dumerili", "Seriola rivoliana"),
    ),
    (("jack", "trevally", "carangue"), ("Caranx ignobilis", "Caranx hippos",
    "Pseudocaranx dentex")),
    (
        ("mackerel", "saba", "maquereau", "caballa"),
        ("Scomber japonicus", "Scomber scombrus", "Scomber australasicus"),
    ),
    (
        ("Spanish mackerel", "sierra", "carite"),
        ("Scomberomorus niphonius", "Scomberomorus maculatus", "Scomberomorus sierra"),
    ),
    (("sardine", "iwashi", "sardina"), ("Sardinops sagax", "Sardina pilchardus")),
    (("herring", "arenque", "hareng"), ("Clupea pallasii", "Clupea harengus")),
    (("anchovy", "anchoa", "anchois"), ("Engraulis japonicus", "Engraulis encrasicolus")),
    (
        ("muroaji", "scad", "mackerel scads"),
        (
            "Decapterus macarellus",
            "Decapterus maruadsi",
            "Decapterus muroadsi",
            "Trachurus trachurus",
            "Selar crumenophthalmus",
        ),
    ),
    (("marlin", "kajiki", "marlín", "billfish"), (*_MARLINS, "Xiphias gladius")),
    (("kamasu", "barracuda"), ("Sphyraena pinguis", "Sphyraena barracuda")),
    (
        ("sea bream", "seabream", "bream", "dorade", "daurade"),
        ("Pagrus major", "Sparus aurata", "Evynnis tumifrons", "Pagellus bogaraveo"),
    ),
    (("tai",), ("Pagrus major", "Lutjanus campechanus", "Oreochromis niloticus")),
    (("kodai", "kasugodai", "kasugo"), ("Evynnis tumifrons", "Evynnis cardinalis", "Pagrus major")),
    (("snapper", "pargo", "vivaneau"), (*_SNAPPERS, "Pagrus auratus")),
    (
        ("sea bass", "seabass", "bass", "róbalo", "mero"),
        (
            "Dicentrarchus labrax",
            "Lateolabrax japonicus",
            "Centropristis striata",
            "Dissostichus eleginoides",
            "Epinephelus",
        ),
    ),
    (
        ("flounder", "karei", "sole", "plie", "lenguado"),
        (
            "Paralichthys olivaceus",
            "Paralichthys dentatus",
            "Pseudopleuronectes yokohamae",
            "Solea solea",
        ),
    ),
    (
        ("halibut", "fletán", "flétan"),
        ("Hippoglossus hippoglossus", "Hippoglossus stenolepis", "Reinhardtius hippoglossoides"),
    ),
    (("engawa",), ("Paralichthys olivaceus", "Reinhardtius hippoglossoides")),
    (
        ("cod", "tara", "bacalao", "morue", "codfish"),
        ("Gadus macrocephalus", "Gadus morhua"),
    ),
    (("pollock", "colin"), ("Gadus chalcogrammus", "Pollachius virens", "Merluccius")),
    (
        ("rockfish", "rock cod", "kasago"),
        ("Sebastes", "Sebastiscus marmoratus", "Morone saxatilis"),
    ),
    (("greenling",), _GREENLINGS),
    (("pomfret", "palometa"), ("Brama japonica", "Pampus argenteus",
    "Taractichthys steindachneri")),
    (("whiting", "kisu"), ("Sillago japonica", "Merluccius")),
    (
        ("eel", "anguila", "anguille", "eels"),
        (
            "Anguilla japonica",
            "Anguilla anguilla",
            "Anguilla rostrata",
            "Conger myriaster",
            "Muraenesox cinereus",
        ),
    ),
    (("conger", "congrio", "congre"), ("Conger myriaster", "Conger conger")),
    (("icefish",), ("Salangichthys microdon", "Leucopsarion petersii")),
    (("smelt", "kyuuri"), ("Hypomesus nipponensis", "Osmerus eperlanus", "Mallotus villosus")),
    (("shishamo",), ("Spirinchus lanceolatus", "Mallotus villosus")),
    (
        ("catfish", "bagre"),
        ("Ictalurus punctatus", "Pangasianodon hypophthalmus", "Silurus asotus"),
    ),
    (
        ("carp", "carpa", "carpe"),
        ("Cyprinus carpio", "Carassius auratus", "Ctenopharyngodon idella"),
    ),
    (("fugu shirako", "puffer milt"), _PUFFERS),
    (("shirako", "milt", "laitance"), ("Gadus, milt", *_PUFFERS)),
    (
        (
            "scallop",
            "scallops",
            "sea scallop",
            "bay scallop",
            "hotate",
            "hotategai",
            "vieira",
            "zamburiña",
            "saint-jacques",
            "coquille saint-jacques",
            "pétoncle",
            "Placopecten magellanicus",
            "Mizuhopecten yessoensis",
            "Patinopecten yessoensis",
            "Argopecten irradians",
            "Pecten maximus",
        ),
        _SCALLOP,
    ),
    (("kaibashira",), ("scallop adductor", "Atrina pectinata")),
    (("ostión",), ("Ostreidae", *_SCALLOP)),
    (("fish roe", "fish eggs", "roe", "huevas", "œufs de poisson"), _ROE),
    (
        ("salmon roe", "salmon eggs", "salmon caviar", "huevas de salmón", "œufs de saumon"),
        ("ikura", "sujiko"),
    ),
    (("trout roe", "trout caviar", "masuko"), _ROE),
    (
        ("caviar", "sturgeon caviar", "sturgeon roe", "kyabia"),
        ("sturgeon caviar, rinsed", "fish roe in the skein"),
    ),
    (("lumpfish roe", "lumpfish caviar"), _ROE),
    (("flying fish roe",), ("tobiko", "fish roe in the skein")),
    (("capelin roe", "smelt roe"), ("masago", "fish roe in the skein")),
    (("herring roe",), ("fish roe removed from the skein and rinsed", "kazunoko")),
    (
        ("squid", "ika", "calamar", "calmar", "calamari", "mongo ika"),
        (
            "Todarodes pacificus",
            "Doryteuthis pealeii",
            "Heterololigo bleekeri",
            "Uroteuthis edulis",
            "Sepioteuthis lessoniana",
            "Loligo vulgaris",
            "Sepia esculenta",
            "Watasenia scintillans",
        ),
    ),
    (("cuttlefish", "seiche", "sepia"), ("Sepia esculenta", "Sepia officinalis")),
    (
        ("octopus", "tako", "pulpo", "poulpe"),
        ("Octopus vulgaris", "Enteroctopus dofleini", "Amphioctopus fangsiao"),
    ),
    (
        ("shrimp", "prawn", "ebi", "camarón", "gamba", "langostino", "crevette"),
        ("Pandalus borealis", "Penaeus japonicus", "Penaeus monodon", "Penaeus vannamei"),
    ),
    (
        ("botan ebi", "botan", "botan shrimp"),
        ("Pandalus platyceros", "Pandalus borealis", "Pandalus nipponensis"),
    ),
    (("crab", "kani", "cangrejo", "crabe"), ("Chionoecetes opilio", "Paralithodes camtschaticus")),
)  # fmt: skip
"""Names, and the fish each may mean, by any of that fish's own names."""
