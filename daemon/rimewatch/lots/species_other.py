"""What sushi shops buy besides finfish: shellfish, roe, squid, crustaceans, and the rest.

Pure data. The Food Code's "fish" takes in all aquatic animals for food, with mollusks,
crustaceans, sea urchin and sea cucumber, and their roe; what 3-402.11(B) does not name
is not exempt, and is listed so here.

References:
    [1] FDA Food Code 2022, 1-201.10(B), "Fish" (from memory) and "Molluscan shellfish":
        oysters, clams, mussels and scallops, except shucked scallop adductor muscle (read
        in Minnesota's text of it). Abalone, conch, pen shells and cockles are not in the
        definition.
    [2] FDA Food Code 2022, 3-402.11(B)(1), (2), (5).
    [3] Tetramine of whelks, lung flukes of freshwater crabs, Spiruroid larvae of firefly squid:
        the health ministry of Japan (from memory).
"""

from functools import partial
from typing import Final

from rimewatch.lots.species import Group, Parasite, Toxin
from rimewatch.lots.species_row import WORM, row

_shell = partial(row, group=Group.MOLLUSCAN_SHELLFISH)
_rinsed = partial(row, group=Group.ROE_RINSED)
_skein = partial(row, group=Group.ROE_IN_SKEIN, parasites=WORM)
_crust = partial(row, group=Group.CRUSTACEAN)
_ceph = partial(row, group=Group.CEPHALOPOD, parasites=WORM)
_other = partial(row, group=Group.OTHER)

SHELLFISH: Final = (
    _shell("oyster", "Ostreidae", "oysters", ja="kaki", es="ostra", fr="huître"),
    _shell(
        "Pacific oyster", "Magallana gigas", "Crassostrea gigas", ja="magaki, ma gaki",
        es="ostra japonesa, ostión japonés", fr="huître creuse, huître japonaise",
    ),
    _shell(
        "eastern oyster", "Crassostrea virginica", "Atlantic oyster", "bluepoint",
        es="ostión americano", fr="huître américaine",
    ),
    _shell(
        "European flat oyster", "Ostrea edulis", "flat oyster", "belon", es="ostra plana",
        fr="huître plate, belon",
    ),
    _shell(
        "rock oyster", "Crassostrea nippona", ja="iwagaki, iwa gaki", es="ostra de roca japonesa",
        fr="huître de roche du Japon",
    ),
    _shell(
        "mussel", "Mytilidae", "mussels", "blue mussel", "Mytilus edulis",
        "Mytilus galloprovincialis",
        ja="muru gai, igai", es="mejillón", fr="moule",
    ),
    _shell("clam", "Bivalvia, clams", "clams", ja="nimaigai", es="almeja", fr="palourde"),
    _shell(
        "surf clam", "Mactromeris polynyma", "Arctic surf clam", ja="hokkigai, hokki gai",
        es="almeja blanca del Ártico", fr="mactre de Stimpson",
    ),
    _shell(
        "Sakhalin surf clam", "Pseudocardium sachalinense", ja="ubagai, uba gai",
        es="almeja de Sajalín", fr="mactre de Sakhaline",
    ),
    _shell(
        "hen clam", "Mactra chinensis", "Chinese mactra", ja="aoyagi, bakagai, kobashira",
        es="almeja china", fr="mactre chinoise",
    ),
    _shell(
        "Pacific geoduck", "Panopea generosa", "geoduck", ja="mirugai, shiro miru, namigai",
        es="almeja de sifón, panopea", fr="panope du Pacifique",
    ),
    _shell(
        "keen’s gaper", "Tresus keenae", "horse clam", "gaper clam",
        ja="hon mirugai, miru kui, hon miru",
        es="almeja gaper japonesa", fr="lutraire du Pacifique",
    ),
    _shell(
        "ark clam", "Anadara broughtonii", "ark shell", "blood clam", "Scapharca broughtonii",
        ja="akagai, aka gai", es="arca japonesa", fr="arche du Japon",
    ),
    _shell(
        "hard clam", "Mercenaria mercenaria", "quahog", "littleneck clam", "cherrystone",
        es="almeja mercenaria", fr="palourde américaine",
    ),
    _shell(
        "Asian hard clam", "Meretrix lusoria", "Meretrix lamarckii", ja="hamaguri",
        es="almeja hamaguri", fr="cythérée du Japon",
    ),
    _shell(
        "Manila clam", "Ruditapes philippinarum", ja="asari", es="almeja japonesa",
        fr="palourde japonaise",
    ),
    _shell(
        "razor clam", "Solen strictus", "jackknife clam", "Siliqua patula", "Ensis",
        ja="mategai, mate gai",
        es="navaja, longueirón", fr="couteau",
    ),
    _shell(
        "softshell clam", "Mya arenaria", "steamer clam", ja="oono gai", es="almeja de can",
        fr="mye",
    ),
    _shell(
        "freshwater clam", "Corbicula", "basket clam", ja="shijimi", es="almeja asiática",
        fr="corbicule",
        notes="Raw it has carried hepatitis A and flukes.",
    ),
    row(
        "scallop adductor", "Pectinidae, shucked adductor muscle only", "scallop adductor muscle",
        "scallop, adductor only", "shucked scallop adductor muscle", "scallop muscle",
        es="callo de vieira, músculo de vieira", fr="noix de saint-jacques",
        group=Group.SCALLOP_ADDUCTOR,
    ),
    row(
        "scallop with roe", "Pectinidae, with roe", "scallop roe on", "roe-on scallop",
        "whole scallop", "scallop in the shell", es="vieira con coral",
        fr="saint-jacques avec corail",
        group=Group.SCALLOP_WITH_ROE,
        notes="The definition of molluscan shellfish may take it in, which would exempt it by "
        "(B)(1): ask the licensed authority. Until then it is treated as needing destruction.",
    ),
)  # fmt: skip

ROE: Final = (
    _rinsed(
        "fish roe removed from the skein and rinsed", "Pisces, rinsed eggs",
        "fish eggs removed from the skein and rinsed", "rinsed fish roe", "rinsed roe",
        es="huevas lavadas", fr="œufs de poisson rincés",
    ),
    _skein(
        "fish roe in the skein", "Pisces, eggs in the skein", "roe in the skein", "skein roe",
        es="huevas en su saco", fr="œufs de poisson en rogue",
    ),
    _rinsed(
        "ikura", "Oncorhynchus, rinsed eggs", "salmon roe, rinsed", "rinsed salmon roe",
        fr="œufs de saumon rincés", es="huevas de salmón lavadas",
    ),
    _skein(
        "sujiko", "Oncorhynchus, eggs in the skein", "salmon roe in the skein",
        "salmon roe in skein", "salmon skein",
    ),
    _rinsed(
        "tobiko", "Exocoetidae, rinsed eggs", "flying fish roe, rinsed",
        notes="Exempt as eggs removed from the skein and rinsed, as tobiko is sold.",
    ),
    _rinsed(
        "masago", "Mallotus villosus, rinsed eggs", "capelin roe, rinsed",
        notes="Exempt as eggs removed from the skein and rinsed, as masago is sold.",
    ),
    _rinsed(
        "sturgeon caviar, rinsed", "Acipenseridae, rinsed eggs", "sturgeon roe, rinsed",
        notes="Exempt as eggs removed from the skein and rinsed, where its paper says so.",
    ),
    _skein(
        "kazunoko", "Clupea pallasii, eggs in the skein", "herring roe in the skein",
        ja="komochi kombu",
    ),
    _skein(
        "tarako", "Gadus chalcogrammus, eggs in the skein", "pollock roe in the skein",
        ja="mentaiko, karashi mentaiko, momijiko",
    ),
    _skein(
        "karasumi", "Mugil cephalus, eggs in the skein", "bottarga", "mullet roe",
        es="hueva de mújol, botarga", fr="boutargue, poutargue",
    ),
)  # fmt: skip

CEPHALOPODS: Final = (
    _ceph(
        "Japanese flying squid", "Todarodes pacificus", ja="surume ika, surumeika, maika",
        es="pota japonesa", fr="toutenon japonais",
    ),
    _ceph(
        "longfin inshore squid", "Doryteuthis pealeii", "Loligo pealeii", es="calamar",
        fr="calmar totam, calmar",
    ),
    _ceph(
        "European squid", "Loligo vulgaris", es="calamar, calamar europeo", fr="calmar, encornet",
    ),
    _ceph(
        "spear squid", "Heterololigo bleekeri", ja="yari ika, yariika", es="calamar lanza",
        fr="calmar lancette",
    ),
    _ceph(
        "swordtip squid", "Uroteuthis edulis", "Loligo edulis", ja="kensaki ika, shiro ika",
        es="calamar espada", fr="calmar épée",
    ),
    _ceph(
        "bigfin reef squid", "Sepioteuthis lessoniana", ja="aori ika, aoriika",
        es="calamar manopla",
        fr="calmar tonnelet",
    ),
    _ceph(
        "neon flying squid", "Ommastrephes bartramii", ja="aka ika, murasaki ika",
        es="pota saltadora",
        fr="encornet volant",
    ),
    _ceph(
        "diamond squid", "Thysanoteuthis rhombus", ja="sode ika", es="calamar diamante",
        fr="chipiloua commun",
    ),
    _ceph(
        "firefly squid", "Watasenia scintillans", "sparkling enope squid",
        ja="hotaru ika, hotaruika",
        es="calamar luciérnaga", fr="calmar luciole",
        notes="Whole it carries Spiruroid larvae, for which Japan asks for −30 °C for four days, "
        "or that it is gutted.",
    ),
    _ceph(
        "golden cuttlefish", "Sepia esculenta", "cuttlefish", ja="sumi ika, kouika",
        es="jibia dorada", fr="seiche dorée",
    ),
    _ceph(
        "common cuttlefish", "Sepia officinalis", "cuttlefish", ja="yoroppa koika",
        es="sepia, jibia, choco",
        fr="seiche",
    ),
    _ceph(
        "common octopus", "Octopus vulgaris", "Octopus sinensis", ja="madako, ma dako",
        es="pulpo, pulpo común", fr="poulpe, pieuvre",
    ),
    _ceph(
        "giant Pacific octopus", "Enteroctopus dofleini", ja="mizudako, mizu dako",
        es="pulpo gigante del Pacífico", fr="poulpe géant du Pacifique",
    ),
    _ceph(
        "webfoot octopus", "Amphioctopus fangsiao", "Octopus ocellatus", "baby octopus",
        ja="iidako, ii dako",
        es="pulpito", fr="petit poulpe",
    ),
)  # fmt: skip

_LUNG: Final = (Parasite.LUNG_FLUKE,)
CRUSTACEANS: Final = (
    _crust(
        "northern shrimp", "Pandalus borealis", "sweet shrimp", "Pandalus eous",
        ja="amaebi, ama ebi, hokkoku akaebi",
        es="camarón nórdico, camarón boreal", fr="crevette nordique",
    ),
    _crust(
        "spot prawn", "Pandalus platyceros", "spot shrimp", es="camarón manchado",
        fr="crevette tachetée",
    ),
    _crust(
        "humpback shrimp", "Pandalus hypsinotus", "coonstripe shrimp", ja="toyama ebi, tora ebi",
        es="camarón malacho", fr="crevette à front rayé",
    ),
    _crust(
        "botan shrimp", "Pandalus nipponensis", ja="hon botan ebi", es="camarón botan",
        fr="crevette botan",
    ),
    _crust(
        "Argentine red shrimp", "Pleoticus muelleri", ja="aka ebi, akaebi",
        es="langostino argentino, gamba roja argentina",
        fr="gambas d’Argentine, salicoque rouge d’Argentine",
    ),
    _crust(
        "scarlet shrimp", "Aristaeopsis edwardsiana", "carabinero", es="carabinero",
        fr="gambon écarlate",
    ),
    _crust(
        "red shrimp", "Aristeus antennatus", es="gamba roja", fr="crevette rouge",
    ),
    _crust(
        "kuruma prawn", "Penaeus japonicus", "Marsupenaeus japonicus",
        ja="kuruma ebi, saimaki ebi, odori ebi",
        es="langostino japonés, langostino kuruma", fr="crevette kuruma, crevette japonaise",
    ),
    _crust(
        "giant tiger prawn", "Penaeus monodon", "black tiger shrimp", ja="ushi ebi, burakku taiga",
        es="langostino jumbo, langostino tigre", fr="crevette géante tigrée",
    ),
    _crust(
        "whiteleg shrimp", "Penaeus vannamei", "Litopenaeus vannamei", "white shrimp",
        ja="banamei ebi",
        es="camarón blanco, langostino vannamei", fr="crevette à pattes blanches",
    ),
    _crust(
        "sakura shrimp", "Lucensosergia lucens", "Sergia lucens", ja="sakura ebi",
        es="camarón cereza",
        fr="crevette sakura",
    ),
    _crust(
        "white glass shrimp", "Pasiphaea japonica", ja="shiro ebi", es="camarón de cristal",
        fr="sivade japonaise",
    ),
    _crust(
        "mantis shrimp", "Oratosquilla oratoria", "Squilla mantis", ja="shako", es="galera",
        fr="squille, mante de mer",
    ),
    _crust(
        "langoustine", "Nephrops norvegicus", "Norway lobster", "scampi", "Metanephrops japonicus",
        ja="tenaga ebi, akaza ebi", es="cigala", fr="langoustine",
    ),
    _crust(
        "spiny lobster", "Panulirus japonicus", "rock lobster", "Panulirus argus",
        "Palinurus elephas",
        ja="ise ebi", es="langosta", fr="langouste",
    ),
    _crust(
        "American lobster", "Homarus americanus", "lobster", "Homarus gammarus", "European lobster",
        ja="omaaru ebi, robusuta", es="bogavante", fr="homard",
    ),
    _crust(
        "snow crab", "Chionoecetes opilio", ja="zuwaigani, zuwai gani, matsuba gani, echizen gani",
        es="cangrejo de las nieves", fr="crabe des neiges",
    ),
    _crust(
        "red king crab", "Paralithodes camtschaticus", "king crab", ja="tarabagani, taraba gani",
        es="cangrejo real", fr="crabe royal",
    ),
    _crust(
        "horsehair crab", "Erimacrus isenbeckii", "hair crab", ja="kegani, ke gani",
        es="cangrejo peludo",
        fr="crabe à poils",
    ),
    _crust(
        "Japanese blue crab", "Portunus trituberculatus", "gazami crab", "swimming crab",
        ja="gazami, watari gani",
        es="jaiba gazami", fr="crabe gazami",
    ),
    _crust(
        "blue crab", "Callinectes sapidus", "soft-shell crab", es="jaiba azul, cangrejo azul",
        fr="crabe bleu",
    ),
    _crust(
        "Dungeness crab", "Metacarcinus magister", "Cancer magister", es="buey del Pacífico",
        fr="dormeur du Pacifique",
    ),
    _crust(
        "brown crab", "Cancer pagurus", "edible crab", es="buey de mar", fr="tourteau",
    ),
    _crust(
        "mitten crab", "Eriocheir japonica", "Eriocheir sinensis", "Chinese mitten crab",
        ja="mokuzugani, mokuzu gani, shanhai gani", es="cangrejo chino", fr="crabe chinois",
        parasites=_LUNG,
    ),
    _crust(
        "Japanese freshwater crab", "Geothelphusa dehaani", ja="sawagani, sawa gani",
        es="cangrejo de río japonés",
        fr="crabe d’eau douce du Japon", parasites=_LUNG,
    ),
    _crust(
        "crayfish", "Astacidea, freshwater", "crawfish", "Procambarus clarkii", ja="zarigani",
        es="cangrejo de río", fr="écrevisse", parasites=_LUNG,
    ),
)  # fmt: skip

OTHERS: Final = (
    _other(
        "sea urchin", "Echinoidea", "sea urchin roe", ja="uni, bafun uni, murasaki uni",
        es="erizo de mar",
        fr="oursin",
        notes="What is eaten is the gonads, not eggs removed from a skein, so (B)(5) is not "
        "applied to it. The section names no exemption: ask the licensed authority.",
    ),
    _other(
        "sea cucumber", "Holothuroidea", ja="namako, konowata, kuchiko", es="pepino de mar",
        fr="concombre de mar",
    ),
    _other("sea squirt", "Halocynthia roretzi", "sea pineapple", ja="hoya", es="piure japonés",
    fr="violet du Japon"),
    _other("jellyfish", "Rhizostomeae", ja="kurage", es="medusa", fr="méduse"),
    _other("abalone", "Haliotidae", ja="awabi, tokobushi", es="abulón, oreja de mar", fr="ormeau"),
    _other("conch", "Strombidae", "queen conch", es="caracol rosado, concha reina", fr="lambi"),
    _other(
        "whelk", "Buccinidae", "Neptunea", "Buccinum",
        ja="tsubugai, tsubu gai, tsubu, baigai, bai gai, ezo bora",
        es="bocina", fr="bulot, buccin", toxin=Toxin.TETRAMINE,
    ),
    _other(
        "turban shell", "Turbo cornutus", "Turbo sazae", "horned turban", ja="sazae",
        es="turbante japonés",
        fr="turbo cornu",
    ),
    _other(
        "pen shell", "Atrina pectinata", "Atrina japonica", "razor shell",
        ja="tairagi, taira gai, tairagai",
        es="nácar, callo de hacha", fr="jambonneau",
        notes="Its adductor muscle is no scallop’s, and the definition does not name it.",
    ),
    _other("Japanese cockle", "Fulvia mutica", "cockle", ja="torigai, tori gai",
    es="berberecho japonés", fr="coque du Japon"),
    _other("common cockle", "Cerastoderma edule", "cockle", es="berberecho", fr="coque"),
    _other(
        "goose barnacle", "Pollicipes pollicipes", "Capitulum mitella", ja="kamenote",
        es="percebe", fr="pouce-pied",
    ),
    _other("frog", "Ranidae", "frog legs", ja="shokuyo gaeru", es="rana, ancas de rana",
    fr="grenouille, cuisses de grenouille", parasites=(Parasite.FLUKE, Parasite.GNATHOSTOMA)),
)  # fmt: skip

NOT_FINFISH: Final = (*SHELLFISH, *ROE, *CEPHALOPODS, *CRUSTACEANS, *OTHERS)
