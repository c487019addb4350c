"""The finfish that sushi shops buy, tuna first.

Pure data. Scientific names as in general use; Japanese trade names in Latin letters.
Which fish form scombrotoxin follows FDA Hazards and Controls Guidance, 4th ed.,
chapter 3, table 3-2 (from memory); in doubt a fish counts as forming it. The exempt
tuna are those of FDA Food Code 2022, 3-402.11(B)(3), and no others.
"""

from typing import Final

from rimewatch.lots.species import Group, Species, Toxin


def _tuna(common: str, scientific: str, *others: str, notes: str = "") -> Species:
    return Species(
        common=common,
        scientific=scientific,
        other_names=others,
        group=Group.TUNA_EXEMPT,
        forms_scombrotoxin=True,
        notes=notes,
    )


def _fish(
    common: str,
    scientific: str,
    *others: str,
    histamine: bool = False,
    group: Group = Group.FINFISH,
    notes: str = "",
    toxin: Toxin | None = None,
) -> Species:
    return Species(
        common=common,
        scientific=scientific,
        other_names=others,
        group=group,
        forms_scombrotoxin=histamine,
        notes=notes,
        toxin=toxin,
    )


def _not_exempt_tuna(common: str, scientific: str, *others: str, notes: str = "") -> Species:
    return _fish(
        common, scientific, *others, histamine=True, group=Group.TUNA_NOT_EXEMPT, notes=notes
    )


_TOXIC_BLOOD: Final = "Its blood is toxic raw: cook it."
_PUFFER: Final = (
    "It carries tetrodotoxin, which neither freezing nor cooking destroys: only fish from a "
    "supplier whom the authority allows to cut it, and never raw from this record."
)
_CIGUATERA: Final = (
    "From warm reefs large ones can carry ciguatera, which neither cold nor cooking removes."
)

TUNA: Final = (
    _tuna("albacore", "Thunnus alalunga", "albacore tuna", "longfin tuna", "tombo", "binnaga"),
    _tuna("yellowfin tuna", "Thunnus albacares", "yellowfin", "kihada", "kihada maguro"),
    _tuna("blackfin tuna", "Thunnus atlanticus", "blackfin tunny"),
    _tuna(
        "southern bluefin tuna",
        "Thunnus maccoyii",
        "southern bluefin",
        "bluefin tuna, southern",
        "minami maguro",
        "indo maguro",
    ),
    _tuna("bigeye tuna", "Thunnus obesus", "mebachi", "mebachi maguro"),
    _tuna(
        "Atlantic bluefin tuna",
        "Thunnus thynnus",
        "Atlantic bluefin",
        "northern bluefin tuna",
        "bluefin tuna, northern",
        "Thunnus thynnus thynnus",
        notes="The Food Code calls this species northern bluefin. Elsewhere that name is also "
        "given to longtail tuna, and formerly to Pacific bluefin: where in doubt record the "
        "scientific name.",
    ),
    _not_exempt_tuna(
        "Pacific bluefin tuna",
        "Thunnus orientalis",
        "Pacific bluefin",
        "Thunnus thynnus orientalis",
        notes="Once counted as a form of T. thynnus, so older papers may say northern bluefin. "
        "Fattened on whole bait fish it is farmed-other, not farmed-pellet.",
    ),
    _not_exempt_tuna("longtail tuna", "Thunnus tonggol", "tonggol", "tongol tuna", "koshinaga"),
    _not_exempt_tuna(
        "skipjack tuna", "Katsuwonus pelamis", "skipjack", "katsuo", "aku", "oceanic bonito"
    ),
    _not_exempt_tuna("kawakawa", "Euthynnus affinis", "mackerel tuna", "suma"),
    _not_exempt_tuna("little tunny", "Euthynnus alletteratus", "false albacore", "little tuna"),
    _not_exempt_tuna("black skipjack", "Euthynnus lineatus"),
    _not_exempt_tuna("frigate tuna", "Auxis thazard", "frigate mackerel", "hira soda"),
    _not_exempt_tuna("bullet tuna", "Auxis rochei", "bullet mackerel", "maru soda"),
    _not_exempt_tuna("Atlantic bonito", "Sarda sarda"),
    _not_exempt_tuna("Pacific bonito", "Sarda chiliensis", "eastern Pacific bonito"),
    _not_exempt_tuna("striped bonito", "Sarda orientalis", "hagatsuo"),
)

SALMONIDS: Final = (
    _fish("Atlantic salmon", "Salmo salar"),
    _fish("king salmon", "Oncorhynchus tshawytscha", "chinook salmon", "chinook", "masunosuke"),
    _fish("sockeye salmon", "Oncorhynchus nerka", "sockeye", "red salmon", "benizake"),
    _fish("coho salmon", "Oncorhynchus kisutch", "coho", "silver salmon", "ginzake"),
    _fish("chum salmon", "Oncorhynchus keta", "chum", "keta salmon", "dog salmon", "shirozake"),
    _fish("pink salmon", "Oncorhynchus gorbuscha", "humpback salmon", "karafuto masu"),
    _fish("cherry salmon", "Oncorhynchus masou", "masu salmon", "sakura masu", "yamame"),
    _fish("rainbow trout", "Oncorhynchus mykiss", "steelhead", "steelhead trout", "niji masu"),
    _fish("brown trout", "Salmo trutta", "sea trout"),
    _fish("Arctic char", "Salvelinus alpinus", "Arctic charr", "iwana"),
)

JACKS: Final = (
    _fish(
        "Japanese amberjack",
        "Seriola quinqueradiata",
        "hamachi",
        "buri",
        "inada",
        "Japanese yellowtail",
        histamine=True,
    ),
    _fish(
        "yellowtail amberjack",
        "Seriola lalandi",
        "hiramasa",
        "yellowtail kingfish",
        "California yellowtail",
        histamine=True,
    ),
    _fish(
        "greater amberjack",
        "Seriola dumerili",
        histamine=True,
        notes=_CIGUATERA,
        toxin=Toxin.CIGUATERA,
    ),
    _fish(
        "longfin yellowtail",
        "Seriola rivoliana",
        "almaco jack",
        "Hawaiian kampachi",
        "Hawaiian kanpachi",
        histamine=True,
        notes=_CIGUATERA,
        toxin=Toxin.CIGUATERA,
    ),
    _fish("white trevally", "Pseudocaranx dentex", "shima aji", "striped jack", histamine=True),
    _fish(
        "Japanese horse mackerel",
        "Trachurus japonicus",
        "horse mackerel",
        "Japanese jack mackerel",
        "aji",
        "ma aji",
        histamine=True,
    ),
    _fish("mahi-mahi", "Coryphaena hippurus", "dolphinfish", "dorado", "shiira", histamine=True),
    _fish("cobia", "Rachycentron canadum", "black kingfish", "sugi"),
)

BLUE_BACKED: Final = (
    _fish("chub mackerel", "Scomber japonicus", "Pacific mackerel", "ma saba", histamine=True),
    _fish(
        "Atlantic mackerel",
        "Scomber scombrus",
        "Norwegian mackerel",
        "Boston mackerel",
        histamine=True,
    ),
    _fish(
        "blue mackerel", "Scomber australasicus", "spotted mackerel", "goma saba", histamine=True
    ),
    _fish("Japanese Spanish mackerel", "Scomberomorus niphonius", "sawara", histamine=True),
    _fish("Atlantic Spanish mackerel", "Scomberomorus maculatus", histamine=True),
    _fish(
        "king mackerel",
        "Scomberomorus cavalla",
        "kingfish",
        histamine=True,
        notes=_CIGUATERA,
        toxin=Toxin.CIGUATERA,
    ),
    _fish("wahoo", "Acanthocybium solandri", "ono", histamine=True),
    _fish(
        "Pacific sardine", "Sardinops sagax", "Sardinops melanostictus", "ma iwashi", histamine=True
    ),
    _fish("European pilchard", "Sardina pilchardus", "European sardine", histamine=True),
    _fish("Pacific herring", "Clupea pallasii", "nishin", histamine=True),
    _fish("Atlantic herring", "Clupea harengus", histamine=True),
    _fish(
        "dotted gizzard shad",
        "Konosirus punctatus",
        "gizzard shad",
        "kohada",
        "konoshiro",
        "shinko",
        histamine=True,
    ),
    _fish("Japanese anchovy", "Engraulis japonicus", "katakuchi iwashi", histamine=True),
    _fish("Pacific saury", "Cololabis saira", "sanma", histamine=True),
    _fish("Japanese halfbeak", "Hyporhamphus sajori", "halfbeak", "sayori"),
    _fish(
        "swordfish",
        "Xiphias gladius",
        "mekajiki",
        "shutome",
        histamine=True,
        notes="Counted as forming scombrotoxin out of caution.",
    ),
    _fish("striped marlin", "Kajikia audax", "nairagi", "makajiki", histamine=True),
    _fish(
        "escolar",
        "Lepidocybium flavobrunneum",
        "super white tuna",
        histamine=True,
        notes="Not a tuna. Its oil purges (gempylotoxin), and freezing does not change that.",
        toxin=Toxin.GEMPYLOTOXIN,
    ),
)

TOXIC: Final = (
    _fish(
        "oilfish",
        "Ruvettus pretiosus",
        histamine=True,
        notes="Its oil purges (gempylotoxin), and freezing does not change that.",
        toxin=Toxin.GEMPYLOTOXIN,
    ),
    _fish(
        "tiger puffer",
        "Takifugu rubripes",
        "torafugu",
        "tora fugu",
        "tiger pufferfish",
        notes=_PUFFER,
        toxin=Toxin.TETRODOTOXIN,
    ),
    _fish(
        "pufferfish",
        "Tetraodontidae",
        "puffer",
        "puffer fish",
        "blowfish",
        "fugu",
        notes=_PUFFER,
        toxin=Toxin.TETRODOTOXIN,
    ),
)

WHITE_FISH: Final = (
    _fish("red sea bream", "Pagrus major", "madai", "Japanese sea bream"),
    _fish("gilthead sea bream", "Sparus aurata", "gilthead", "dorade", "orata"),
    _fish("crimson sea bream", "Evynnis tumifrons", "kodai", "kasugodai"),
    _fish("northern red snapper", "Lutjanus campechanus", "American red snapper"),
    _fish("European sea bass", "Dicentrarchus labrax", "branzino", "loup de mer"),
    _fish("Japanese sea bass", "Lateolabrax japonicus", "suzuki"),
    _fish("black sea bass", "Centropristis striata"),
    _fish("striped bass", "Morone saxatilis"),
    _fish("Chilean sea bass", "Dissostichus eleginoides", "Patagonian toothfish", "mero"),
    _fish("olive flounder", "Paralichthys olivaceus", "hirame", "bastard halibut"),
    _fish("summer flounder", "Paralichthys dentatus", "fluke"),
    _fish("marbled flounder", "Pseudopleuronectes yokohamae", "makogarei", "marbled sole"),
    _fish("Atlantic halibut", "Hippoglossus hippoglossus"),
    _fish("Pacific halibut", "Hippoglossus stenolepis", "ohyo"),
    _fish("Greenland halibut", "Reinhardtius hippoglossoides", "Greenland turbot", "karasu garei"),
    _fish("turbot", "Scophthalmus maximus"),
    _fish("splendid alfonsino", "Beryx splendens", "kinmedai", "golden eye snapper"),
    _fish(
        "blackthroat seaperch", "Doederleinia berycoides", "nodoguro", "akamutsu", "rosy seabass"
    ),
    _fish("threadsail filefish", "Stephanolepis cirrhifer", "kawahagi", "filefish"),
    _fish("sablefish", "Anoplopoma fimbria", "black cod", "gindara"),
    _fish("Pacific cod", "Gadus macrocephalus", "madara"),
    _fish("Atlantic cod", "Gadus morhua"),
    _fish(
        "Alaska pollock",
        "Gadus chalcogrammus",
        "walleye pollock",
        "Theragra chalcogramma",
        "sukeso dara",
    ),
    _fish("monkfish", "Lophius litulon", "anko", "ankimo", "yellow goosefish", "monkfish liver"),
    _fish("barramundi", "Lates calcarifer", "Asian sea bass"),
    _fish("Nile tilapia", "Oreochromis niloticus", "tilapia", "izumidai"),
    _fish("Japanese eel", "Anguilla japonica", "unagi", notes=_TOXIC_BLOOD, toxin=Toxin.BLOOD),
    _fish("European eel", "Anguilla anguilla", notes=_TOXIC_BLOOD, toxin=Toxin.BLOOD),
    _fish("American eel", "Anguilla rostrata", notes=_TOXIC_BLOOD, toxin=Toxin.BLOOD),
    _fish(
        "whitespotted conger",
        "Conger myriaster",
        "anago",
        "sea eel",
        notes=_TOXIC_BLOOD,
        toxin=Toxin.BLOOD,
    ),
    _fish("capelin", "Mallotus villosus"),
)

FINFISH: Final = (*TUNA, *SALMONIDS, *JACKS, *BLUE_BACKED, *TOXIC, *WHITE_FISH)
