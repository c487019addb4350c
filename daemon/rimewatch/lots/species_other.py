"""What sushi shops buy besides finfish: shellfish, roe, squid, crustaceans, and the rest.

Pure data. The Food Code's "fish" takes in all aquatic animals for food, with mollusks,
crustaceans, sea urchin and sea cucumber, and their roe; what 3-402.11(B) does not name
is not exempt, and is listed so here.

References:
    [1] FDA Food Code 2022, 1-201.10(B), "Fish" (from memory) and "Molluscan shellfish":
        oysters, clams, mussels and scallops, except shucked scallop adductor muscle (read
        in Minnesota's text of it). Abalone, conch and cockles are not in the definition.
    [2] FDA Food Code 2022, 3-402.11(B)(1), (2), (5).
"""

from typing import Final

from rimewatch.lots.species import Group, Species


def _of(group: Group, common: str, scientific: str, *others: str, notes: str = "") -> Species:
    return Species(
        common=common,
        scientific=scientific,
        other_names=others,
        group=group,
        forms_scombrotoxin=False,
        notes=notes,
    )


_SHELL: Final = Group.MOLLUSCAN_SHELLFISH
_RINSED: Final = Group.ROE_RINSED
_SKEIN: Final = Group.ROE_IN_SKEIN
_CRUST: Final = Group.CRUSTACEAN
_CEPH: Final = Group.CEPHALOPOD

SHELLFISH: Final = (
    _of(_SHELL, "oyster", "Ostreidae", "oysters", "kaki"),
    _of(_SHELL, "Pacific oyster", "Magallana gigas", "Crassostrea gigas", "magaki"),
    _of(_SHELL, "eastern oyster", "Crassostrea virginica"),
    _of(_SHELL, "mussel", "Mytilidae", "mussels", "blue mussel", "Mytilus edulis"),
    _of(_SHELL, "clam", "Bivalvia, clams", "clams"),
    _of(_SHELL, "surf clam", "Mactromeris polynyma", "Arctic surf clam", "hokkigai"),
    _of(_SHELL, "Pacific geoduck", "Panopea generosa", "geoduck", "mirugai"),
    _of(_SHELL, "ark clam", "Anadara broughtonii", "ark shell", "blood clam", "akagai"),
    _of(_SHELL, "hard clam", "Mercenaria mercenaria", "quahog", "littleneck clam"),
    _of(_SHELL, "Manila clam", "Ruditapes philippinarum", "asari"),
    _of(
        Group.SCALLOP_ADDUCTOR,
        "scallop adductor",
        "Pectinidae, shucked adductor muscle only",
        "scallop adductor muscle",
        "scallop, adductor only",
        "shucked scallop adductor muscle",
        "scallop muscle",
        "kaibashira",
    ),
    _of(
        Group.SCALLOP_WITH_ROE,
        "scallop with roe",
        "Pectinidae, with roe",
        "scallop roe on",
        "roe-on scallop",
        "whole scallop",
        "scallop in the shell",
        notes="The definition of molluscan shellfish may take it in, which would exempt it by "
        "(B)(1): ask the licensed authority. Until then it is treated as needing destruction.",
    ),
)

ROE: Final = (
    _of(
        _RINSED,
        "fish roe removed from the skein and rinsed",
        "Pisces, rinsed eggs",
        "fish eggs removed from the skein and rinsed",
        "rinsed fish roe",
        "rinsed roe",
    ),
    _of(
        _SKEIN,
        "fish roe in the skein",
        "Pisces, eggs in the skein",
        "roe in the skein",
        "skein roe",
    ),
    _of(_RINSED, "ikura", "Oncorhynchus, rinsed eggs", "salmon roe, rinsed", "rinsed salmon roe"),
    _of(
        _SKEIN,
        "sujiko",
        "Oncorhynchus, eggs in the skein",
        "salmon roe in the skein",
        "salmon roe in skein",
        "salmon skein",
    ),
    _of(
        _RINSED,
        "tobiko",
        "Exocoetidae, rinsed eggs",
        "flying fish roe, rinsed",
        notes="Exempt as eggs removed from the skein and rinsed, as tobiko is sold.",
    ),
    _of(
        _RINSED,
        "masago",
        "Mallotus villosus, rinsed eggs",
        "capelin roe, rinsed",
        notes="Exempt as eggs removed from the skein and rinsed, as masago is sold.",
    ),
    _of(
        _SKEIN,
        "kazunoko",
        "Clupea pallasii, eggs in the skein",
        "herring roe in the skein",
    ),
    _of(
        _SKEIN,
        "tarako",
        "Gadus chalcogrammus, eggs in the skein",
        "mentaiko",
        "pollock roe in the skein",
    ),
)

CEPHALOPODS: Final = (
    _of(_CEPH, "Japanese flying squid", "Todarodes pacificus", "surume ika"),
    _of(_CEPH, "longfin inshore squid", "Doryteuthis pealeii"),
    _of(_CEPH, "spear squid", "Heterololigo bleekeri", "yari ika"),
    _of(_CEPH, "bigfin reef squid", "Sepioteuthis lessoniana", "aori ika"),
    _of(_CEPH, "firefly squid", "Watasenia scintillans", "hotaru ika"),
    _of(_CEPH, "golden cuttlefish", "Sepia esculenta", "sumi ika", "ko ika", "cuttlefish"),
    _of(_CEPH, "common octopus", "Octopus vulgaris", "Octopus sinensis", "madako"),
    _of(_CEPH, "giant Pacific octopus", "Enteroctopus dofleini", "mizudako"),
)

CRUSTACEANS: Final = (
    _of(_CRUST, "northern shrimp", "Pandalus borealis", "amaebi", "sweet shrimp"),
    _of(_CRUST, "spot prawn", "Pandalus platyceros", "spot shrimp"),
    _of(_CRUST, "kuruma prawn", "Penaeus japonicus", "Marsupenaeus japonicus", "kuruma ebi"),
    _of(_CRUST, "giant tiger prawn", "Penaeus monodon", "black tiger shrimp"),
    _of(_CRUST, "whiteleg shrimp", "Penaeus vannamei", "Litopenaeus vannamei"),
    _of(_CRUST, "snow crab", "Chionoecetes opilio", "zuwaigani"),
    _of(_CRUST, "red king crab", "Paralithodes camtschaticus", "king crab", "tarabagani"),
    _of(_CRUST, "Dungeness crab", "Metacarcinus magister", "Cancer magister"),
    _of(_CRUST, "American lobster", "Homarus americanus", "lobster"),
)

OTHERS: Final = (
    _of(
        Group.OTHER,
        "sea urchin",
        "Echinoidea",
        "uni",
        "sea urchin roe",
        notes="What is eaten is the gonads, not eggs removed from a skein, so (B)(5) is not "
        "applied to it. The section names no exemption: ask the licensed authority.",
    ),
    _of(Group.OTHER, "sea cucumber", "Holothuroidea", "namako"),
    _of(Group.OTHER, "abalone", "Haliotidae", "awabi"),
    _of(Group.OTHER, "conch", "Strombidae"),
    _of(Group.OTHER, "whelk", "Buccinidae", "tsubugai"),
    _of(Group.OTHER, "Japanese cockle", "Fulvia mutica", "torigai", "cockle"),
)

NOT_FINFISH: Final = (*SHELLFISH, *ROE, *CEPHALOPODS, *CRUSTACEANS, *OTHERS)
