"""Fast swimmers of the open sea: jacks, mackerel, herring and their like, billfish. Pure data.

Which fish form scombrotoxin follows FDA Hazards and Controls Guidance, 4th ed., chapter 3,
table 3-2 (from memory); in doubt a fish counts as forming it. Ciguatera: chapter 6 (from memory).
"""

from functools import partial
from typing import Final

from rimewatch.lots.species import Parasite, Toxin
from rimewatch.lots.species_row import WORM, row

_fish = partial(row, parasites=WORM)
_histamine = partial(row, histamine=True, parasites=WORM)
_reef = partial(row, histamine=True, parasites=WORM, toxin=Toxin.CIGUATERA)

JACKS: Final = (
    _histamine(
        "Japanese amberjack", "Seriola quinqueradiata", "Japanese yellowtail",
        ja="hamachi, buri, inada, warasa, mojako, kan buri",
        es="seriola japonesa, pez limón japonés",
        fr="sériole du Japon", parasites=(Parasite.NEMATODE, Parasite.KUDOA),
    ),
    _histamine(
        "yellowtail amberjack", "Seriola lalandi", "yellowtail kingfish", "California yellowtail",
        "hamachi kingfish", ja="hiramasa", es="medregal rabo amarillo, palometa de Juan Fernández",
        fr="sériole chicard, limande sériole",
    ),
    _reef(
        "greater amberjack", "Seriola dumerili", ja="kanpachi, shiokko, akahana",
        es="pez limón, seriola, medregal coronado", fr="sériole couronnée, sériole",
    ),
    _reef(
        "longfin yellowtail", "Seriola rivoliana", "almaco jack", "Hawaiian kampachi",
        "Hawaiian kanpachi", "kahala", ja="hirenaga kanpachi", es="medregal limón, huayaipe",
        fr="sériole limon",
    ),
    _histamine(
        "white trevally", "Pseudocaranx dentex", "striped jack", "silver trevally",
        ja="shima aji", es="jurel dentón, jurel dentado", fr="carangue dentue",
    ),
    _reef(
        "giant trevally", "Caranx ignobilis", "ulua", "papio", ja="ronin aji",
        es="jurel gigante", fr="carangue têtue, carangue à grosse tête",
    ),
    _reef(
        "crevalle jack", "Caranx hippos", "jack crevalle", ja="mutsushi gatsuo",
        es="jurel caballo, jurel común", fr="carangue crevalle, carangue cavalle",
    ),
    _histamine(
        "Japanese horse mackerel", "Trachurus japonicus", "horse mackerel",
        "Japanese jack mackerel",
        ja="aji, ma aji, seki aji", es="jurel japonés, chicharro japonés", fr="chinchard du Japon",
    ),
    _histamine(
        "Atlantic horse mackerel", "Trachurus trachurus", "scad", ja="nishi ma aji",
        es="jurel, chicharro", fr="chinchard",
    ),
    _histamine(
        "mackerel scad", "Decapterus macarellus", "opelu", ja="kusaya moro, moro aji",
        es="macarela caballa", fr="comète maquereau",
    ),
    _histamine(
        "Japanese scad", "Decapterus maruadsi", "round scad", ja="maru aji, ao aji",
        es="macarela japonesa", fr="comète japonaise",
    ),
    _histamine(
        "amberstripe scad", "Decapterus muroadsi", ja="muro aji", es="macarela muro",
        fr="comète muroadsi",
    ),
    _histamine(
        "bigeye scad", "Selar crumenophthalmus", "akule", "goggle-eye", ja="me aji",
        es="chicharro ojón, jurel ojón", fr="sélar coulisou",
    ),
    _histamine(
        "Florida pompano", "Trachinotus carolinus", "pompano", ja="koban aji",
        es="pámpano amarillo, palometa", fr="pompaneau sole",
    ),
    _histamine(
        "mahi-mahi", "Coryphaena hippurus", "dolphinfish", "mahi", ja="shiira, mahimahi",
        es="dorado, lampuga, llampuga", fr="coryphène, dorade coryphène, mahi mahi",
    ),
    _fish(
        "cobia", "Rachycentron canadum", "black kingfish", "ling", "lemonfish", ja="sugi",
        es="cobia, bonito negro", fr="mafou, cobia",
    ),
    _histamine(
        "bluefish", "Pomatomus saltatrix", ja="amikiri", es="anjova, chova, anchova de banco",
        fr="tassergal",
    ),
    _fish(
        "gnomefish", "Scombrops boops", "Japanese bluefish", ja="mutsu, kuro mutsu",
        es="pez gnomo", fr="scombrops",
    ),
    _reef(
        "great barracuda", "Sphyraena barracuda", ja="oni kamasu, doku kamasu",
        es="barracuda, picuda", fr="barracuda, bécune",
    ),
    _fish(
        "red barracuda", "Sphyraena pinguis", "Japanese barracuda", ja="kamasu, aka kamasu",
        es="barracuda roja, espetón japonés", fr="bécune du Japon",
    ),
)  # fmt: skip

MACKEREL: Final = (
    _histamine(
        "chub mackerel", "Scomber japonicus", "Pacific mackerel", "Scomber colias",
        "Atlantic chub mackerel", ja="ma saba, seki saba, hon saba",
        es="caballa, estornino, tonino",
        fr="maquereau espagnol, maquereau blanc",
    ),
    _histamine(
        "Atlantic mackerel", "Scomber scombrus", "Norwegian mackerel", "Boston mackerel",
        ja="taiseiyo saba, noruwei saba", es="caballa, verdel, sarda",
        fr="maquereau, maquereau commun",
    ),
    _histamine(
        "blue mackerel", "Scomber australasicus", "spotted mackerel", "slimy mackerel",
        ja="goma saba", es="caballa pintoja", fr="maquereau tacheté",
    ),
    _histamine(
        "Japanese Spanish mackerel", "Scomberomorus niphonius", ja="sawara, sagoshi",
        es="carite oriental", fr="thazard oriental",
    ),
    _histamine(
        "Atlantic Spanish mackerel", "Scomberomorus maculatus", es="carite atlántico, sierra",
        fr="thazard tacheté",
    ),
    _histamine(
        "Pacific sierra", "Scomberomorus sierra", "sierra mackerel",
        es="sierra del Pacífico, sierra",
        fr="thazard sierra",
    ),
    _reef(
        "king mackerel", "Scomberomorus cavalla", "kingfish",
        es="carite lucio, sierra canalera, peto",
        fr="thazard barré",
    ),
    _reef(
        "narrow-barred Spanish mackerel", "Scomberomorus commerson", "tanigue",
        ja="yokoshima sawara",
        es="carite estriado", fr="thazard rayé",
    ),
    _histamine(
        "wahoo", "Acanthocybium solandri", "ono", ja="kamasu sawara", es="peto, wahoo",
        fr="thazard-bâtard, wahoo, thazard noir",
    ),
    _histamine(
        "cutlassfish", "Trichiurus lepturus", "largehead hairtail", "hairtail", "ribbonfish",
        "Trichiurus japonicus", ja="tachiuo, tachi uo", es="pez sable, sable",
        fr="sabre, poisson-sabre",
    ),
    _histamine(
        "snoek", "Thyrsites atun", "barracouta", ja="oki sawara", es="sierra común, atún sierra",
        fr="escolier", notes="A snake mackerel; its oil is not known to purge.",
    ),
)  # fmt: skip

HERRINGS: Final = (
    _histamine(
        "Pacific sardine", "Sardinops sagax", "Sardinops melanostictus", "Japanese pilchard",
        ja="ma iwashi", es="sardina del Pacífico, sardina Monterrey",
        fr="sardine du Pacifique, pilchard",
    ),
    _histamine(
        "European pilchard", "Sardina pilchardus", "European sardine", ja="yoroppa ma iwashi",
        es="sardina, sardina europea", fr="sardine",
    ),
    _histamine(
        "round herring", "Etrumeus micropus", "Etrumeus sadina", "Etrumeus teres",
        "red-eye round herring", ja="urume iwashi", es="sardina japonesa, arenque redondo",
        fr="shadine",
    ),
    _histamine(
        "silver-stripe round herring", "Spratelloides gracilis", ja="kibinago",
        es="sardineta de banda plateada", fr="hareng-gracile",
    ),
    _histamine(
        "Pacific herring", "Clupea pallasii", ja="nishin, kado iwashi", es="arenque del Pacífico",
        fr="hareng du Pacifique",
    ),
    _histamine(
        "Atlantic herring", "Clupea harengus", ja="taiseiyo nishin",
        es="arenque, arenque atlántico, arenque del Atlántico", fr="hareng, hareng atlantique",
    ),
    _histamine(
        "sprat", "Sprattus sprattus", "European sprat", "brisling", es="espadín", fr="sprat",
    ),
    _histamine(
        "American shad", "Alosa sapidissima", "shad", es="sábalo americano",
        fr="alose savoureuse, alose",
    ),
    _histamine(
        "dotted gizzard shad", "Konosirus punctatus", "gizzard shad",
        ja="kohada, konoshiro, shinko, nakazumi", es="sábalo molleja japonés, machuelo japonés",
        fr="alose à gésier tachetée",
    ),
    _histamine(
        "Japanese sardinella", "Sardinella zunasi", ja="sappa, mamakari", es="sardinela japonesa",
        fr="sardinelle japonaise",
    ),
    _histamine(
        "Japanese anchovy", "Engraulis japonicus", ja="katakuchi iwashi, shirasu, seguro iwashi",
        es="anchoa japonesa, boquerón japonés", fr="anchois japonais",
        notes="Shirasu are its young, and those of sardines.",
    ),
    _histamine(
        "European anchovy", "Engraulis encrasicolus", "anchovy", ja="yoroppa katakuchi iwashi",
        es="boquerón, anchoa, bocarte", fr="anchois",
    ),
    _histamine(
        "milkfish", "Chanos chanos", "bangus", "awa", ja="sabahii", es="chano, sabalote",
        fr="chanos",
    ),
    _histamine(
        "Pacific saury", "Cololabis saira", "mackerel pike", ja="sanma", es="paparda del Pacífico",
        fr="balaou du Japon, samma",
    ),
    _fish(
        "Japanese halfbeak", "Hyporhamphus sajori", "halfbeak", ja="sayori, kannuki",
        es="agujeta japonesa", fr="demi-bec du Japon",
    ),
    _fish(
        "garfish", "Belone belone", "needlefish", ja="datsu", es="aguja", fr="orphie",
    ),
    _histamine(
        "flying fish", "Exocoetidae", "flyingfish", "Cypselurus agoo", "Hirundichthys affinis",
        ja="tobiuo, tobi uo, ago, hama tobiuo", es="pez volador", fr="exocet, poisson volant",
    ),
)  # fmt: skip

BILLFISH: Final = (
    _histamine(
        "swordfish", "Xiphias gladius", "shutome", "broadbill", ja="mekajiki, me kajiki",
        es="pez espada, emperador, albacora", fr="espadon",
        notes="Counted as forming scombrotoxin out of caution.",
    ),
    _histamine(
        "striped marlin", "Kajikia audax", "Tetrapturus audax", "nairagi", ja="makajiki, ma kajiki",
        es="marlín rayado", fr="marlin rayé",
    ),
    _histamine(
        "blue marlin", "Makaira nigricans", "Makaira mazara", "kajiki", "Pacific blue marlin",
        ja="kuro kajiki, kurokawa kajiki", es="marlín azul, aguja azul",
        fr="makaire bleu, marlin bleu",
    ),
    _histamine(
        "black marlin", "Istiompax indica", "Makaira indica", ja="shiro kajiki, shirokawa kajiki",
        es="marlín negro, aguja negra", fr="makaire noir, marlin noir",
    ),
    _histamine(
        "sailfish", "Istiophorus platypterus", ja="basho kajiki", es="pez vela", fr="voilier",
    ),
    _histamine(
        "shortbill spearfish", "Tetrapturus angustirostris", "spearfish", "hebi", ja="furai kajiki",
        es="marlín trompa corta", fr="makaire à rostre court",
    ),
    _fish(
        "opah", "Lampris guttatus", "moonfish", "Lampris incognitus", "Lampris megalopsis",
        ja="mandai, akamanbo, aka manbo", es="opah, luna real",
        fr="saumon des dieux, poisson-lune royal",
        notes="Sold as opah and as moonfish. Some of the trade counts it as forming scombrotoxin; "
        "tables do not.",
    ),
    _fish(
        "Atlantic moonfish", "Selene setapinnis", "moonfish", es="jorobado lamparosa, pez luna",
        fr="musso atlantique", toxin=Toxin.CIGUATERA,
    ),
    _fish(
        "ocean sunfish", "Mola mola", "sunfish", ja="manbo, manbou", es="pez luna",
        fr="poisson-lune, môle",
    ),
    _fish(
        "sickle pomfret", "Taractichthys steindachneri", "monchong", "bigscale pomfret",
        ja="hire jiro manzai uo", es="tristón segador", fr="castagnole fauchoir",
    ),
    _fish(
        "Pacific pomfret", "Brama japonica", "pomfret", "ray’s bream", "Brama brama",
        ja="shima gatsuo, echiopia", es="japuta, palometa negra, palometa",
        fr="castagnole, grande castagnole",
    ),
    _fish(
        "silver pomfret", "Pampus argenteus", "pomfret", "white pomfret", "Pampus punctatissimus",
        ja="managatsuo, mana gatsuo", es="palometón platero, pampo",
        fr="aileron argenté, pomfret argenté",
    ),
)  # fmt: skip

POISONOUS: Final = (
    row(
        "escolar", "Lepidocybium flavobrunneum", "super white tuna", "walu", ja="abura sokomutsu",
        es="escolar negro, escolar, atún blanco", fr="escolier noir, thon blanc",
        histamine=True, toxin=Toxin.GEMPYLOTOXIN,
        notes="Not a tuna. Its oil purges (gempylotoxin), and freezing does not change that.",
    ),
    row(
        "oilfish", "Ruvettus pretiosus", "castor oil fish", ja="bara mutsu, baramutsu",
        es="escolar clavo, pez aceite", fr="rouvet", histamine=True, toxin=Toxin.GEMPYLOTOXIN,
    ),
    row(
        "tiger puffer", "Takifugu rubripes", "tiger pufferfish", ja="torafugu, tora fugu",
        es="fugu tigre", fr="fugu tigre", toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "purple puffer", "Takifugu porphyreus", ja="ma fugu, nameta fugu", toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "panther puffer", "Takifugu pardalis", ja="higan fugu", toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "fine-patterned puffer", "Takifugu flavipterus", "Takifugu poecilonotus",
        ja="komon fugu", toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "vermiculated puffer", "Takifugu snyderi", ja="shosai fugu, shousai fugu",
        toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "lagocephalus puffer", "Lagocephalus spadiceus", "half-smooth golden pufferfish",
        "Lagocephalus wheeleri", ja="saba fugu, shiro saba fugu, kuro saba fugu",
        es="tamboril, conejo", fr="compère", toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "northern puffer", "Sphoeroides maculatus", "sea squab", es="tamboril norteño",
        fr="sphéroïde du nord", toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "pufferfish", "Tetraodontidae", "puffer", "puffer fish", "blowfish", "globefish",
        "swellfish",
        ja="fugu, フグ, ふぐ, 河豚, tecchiri, tessa", es="pez globo, fugu",
        fr="poisson-globe, fugu, tétrodon",
        toxin=Toxin.TETRODOTOXIN,
    ),
    row(
        "porcupinefish", "Diodontidae", "porcupine fish", ja="harisenbon", es="pez erizo",
        fr="poisson porc-épic", toxin=Toxin.TETRODOTOXIN,
        notes="A kin of the pufferfish, and counted as one here.",
    ),
    row(
        "blue-ringed octopus", "Hapalochlaena", ja="hyomon dako",
        es="pulpo de anillos azules", fr="pieuvre à anneaux bleus", toxin=Toxin.TETRODOTOXIN,
        notes="Deadly (tetrodotoxin), and never food: it has come in with other octopus.",
    ),
)  # fmt: skip

SILVER: Final = (*JACKS, *MACKEREL, *HERRINGS, *BILLFISH, *POISONOUS)
