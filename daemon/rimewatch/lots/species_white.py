"""White-fleshed fish of the sea: bream, snapper, bass, flatfish, cod, rockfish and more. Pure data.

Scombrotoxin by FDA Hazards and Controls Guidance, 4th ed., chapter 3, table 3-2; ciguatera by
chapter 6; Kudoa septempunctata by the health ministry of Japan. All from memory.
"""

from functools import partial
from typing import Final

from rimewatch.lots.species import Group, Parasite, Toxin
from rimewatch.lots.species_row import WORM, row

_fish = partial(row, parasites=WORM)
_reef = partial(row, parasites=WORM, toxin=Toxin.CIGUATERA)
_KUDOA: Final = (Parasite.NEMATODE, Parasite.KUDOA)

BREAM_AND_SNAPPER: Final = (
    _fish(
        "red sea bream", "Pagrus major", "Japanese sea bream", "Japanese red seabream",
        ja="madai, ma dai, sakura dai", es="pargo japonés, besugo japonés",
        fr="dorade japonaise, daurade japonaise",
    ),
    _fish(
        "gilthead sea bream", "Sparus aurata", "gilthead", "dorade", "orata", ja="yoroppa hedai",
        es="dorada", fr="daurade royale, dorade royale",
    ),
    _fish(
        "crimson sea bream", "Evynnis tumifrons", "Dentex hypselosomus", "yellowback sea bream",
        ja="renko dai, kidai", es="sargo carmesí", fr="denté à dos jaune",
    ),
    _fish(
        "cardinal sea bream", "Evynnis cardinalis", "Evynnis japonica",
        ja="chidai, hana dai, kodai, kasugodai",
        es="pargo cardenal", fr="spare cardinal",
    ),
    _fish(
        "black sea bream", "Acanthopagrus schlegelii", "blackhead seabream", ja="kurodai, chinu",
        es="sargo negro japonés", fr="pagre tête noire",
    ),
    _fish(
        "New Zealand snapper", "Pagrus auratus", "Chrysophrys auratus", "Australasian snapper",
        ja="goushu madai", es="pargo de Nueva Zelanda", fr="dorade rose australe",
    ),
    _fish(
        "porgy", "Stenotomus chrysops", "scup", es="sargo de América del Norte", fr="spare doré",
    ),
    _fish(
        "red porgy", "Pagrus pagrus", ja="yoroppa madai", es="pargo, bocinegro",
        fr="pagre rouge, pagre",
    ),
    _fish(
        "blackspot sea bream", "Pagellus bogaraveo", es="besugo, voraz",
        fr="dorade rose, pageot rose",
    ),
    _reef(
        "northern red snapper", "Lutjanus campechanus", "American red snapper", "red snapper",
        ja="fuedai", es="huachinango, pargo rojo", fr="vivaneau campèche, vivaneau rouge",
    ),
    _reef(
        "yellowtail snapper", "Ocyurus chrysurus", es="rabirrubia, canané",
        fr="vivaneau queue jaune",
    ),
    _reef(
        "mangrove snapper", "Lutjanus argentimaculatus", "mangrove red snapper", ja="goma fuedai",
        es="pargo de manglar", fr="vivaneau des mangroves",
    ),
    _fish(
        "longtail red snapper", "Etelis coruscans", "onaga", "flame snapper", "ruby snapper",
        ja="hamadai, onaga dai", es="pargo cola larga", fr="vivaneau la flamme",
    ),
    _fish(
        "ehu", "Etelis carbunculus", "deepwater red snapper", "deep-water red snapper",
        ja="hachijo akamutsu", es="pargo rubí", fr="vivaneau rubis",
    ),
    _fish(
        "opakapaka", "Pristipomoides filamentosus", "crimson jobfish", "pink snapper",
        ja="oo hime", es="panchito rosado", fr="colas fil",
    ),
    _fish(
        "lavender jobfish", "Pristipomoides sieboldii", "kalekale", ja="hime dai",
        es="panchito lavanda", fr="colas lavande",
    ),
    _fish(
        "green jobfish", "Aprion virescens", "uku", "grey snapper", ja="ao chibiki",
        es="pargo verde", fr="vivaneau job", toxin=Toxin.CIGUATERA,
    ),
    _fish(
        "Japanese blue snapper", "Paracaesio caerulea", "blue snapper", ja="aodai, ao dai",
        es="pargo azul japonés", fr="vivaneau bleu du Japon",
    ),
    _reef(
        "emperor", "Lethrinidae", "spangled emperor", ja="fuefuki dai, hama fuefuki, taman",
        es="emperador de arrecife, capitán", fr="empereur, capitaine, bec de cane",
    ),
    _fish(
        "chicken grunt", "Parapristipoma trilineatum", "threeline grunt", "striped grunt",
        ja="isaki",
        es="burro de tres líneas", fr="grondeur à trois bandes",
    ),
    _fish(
        "horsehead tilefish", "Branchiostegus japonicus", "tilefish", "red tilefish",
        ja="amadai, aka amadai, guji", es="blanquillo japonés", fr="tile du Japon, amadaï",
    ),
    _fish(
        "golden tilefish", "Lopholatilus chamaeleonticeps", "great northern tilefish",
        es="blanquillo camello, blanquillo", fr="tile chameau",
    ),
)  # fmt: skip

BASS_AND_GROUPER: Final = (
    _fish(
        "European sea bass", "Dicentrarchus labrax", "branzino", "bronzini", "loup de mer",
        ja="yoroppa suzuki", es="lubina, róbalo", fr="bar, loup, bar commun",
    ),
    _fish(
        "Japanese sea bass", "Lateolabrax japonicus", "Japanese seaperch",
        ja="suzuki, seigo, fukko", es="lubina japonesa", fr="bar du Japon",
    ),
    _fish(
        "black sea bass", "Centropristis striata", es="serrano estriado, lubina negra",
        fr="fanfre noir",
    ),
    _fish(
        "striped bass", "Morone saxatilis", "rockfish", ja="shima suzuki", es="lubina rayada",
        fr="bar rayé, bar d’Amérique",
    ),
    _fish(
        "Chilean sea bass", "Dissostichus eleginoides", "Patagonian toothfish",
        "Dissostichus mawsoni", "Antarctic toothfish", ja="mero, mazeran ainame",
        es="merluza negra, bacalao de profundidad, róbalo de fondo", fr="légine, légine australe",
    ),
    _fish(
        "white sea bass", "Atractoscion nobilis", es="corvina blanca, cabaicucho",
        fr="acoupa blanc",
    ),
    _fish(
        "meagre", "Argyrosomus regius", "corvina", "shade-fish", ja="oonibe",
        es="corvina", fr="maigre",
    ),
    _fish(
        "red drum", "Sciaenops ocellatus", "redfish", es="corvinón ocelado, corvina roja",
        fr="tambour rouge, ombrine ocellée",
    ),
    _fish(
        "barramundi", "Lates calcarifer", "Asian sea bass", ja="bara mundi, akame",
        es="barramundi, perca gigante", fr="barramundi, perche barramundi",
    ),
    _fish(
        "Nile perch", "Lates niloticus", ja="nairu paachi", es="perca del Nilo", fr="perche du Nil",
        parasites=(Parasite.FLUKE,),
    ),
    _reef(
        "grouper", "Epinephelus", "Mycteroperca", "longtooth grouper", "Epinephelus bruneus",
        "gag", "black grouper", ja="kue, hata, ma hata, akahata, moroko",
        es="mero, cherna, garropa", fr="mérou",
    ),
    _reef(
        "coral trout", "Plectropomus leopardus", "leopard coral grouper", ja="suji ara, akajin",
        es="mero coralino", fr="vieille saint-silac, mérou loche",
    ),
    _fish(
        "saw-edged perch", "Niphon spinosus", ja="ara", es="cherna japonesa", fr="perche niphon",
    ),
    _fish(
        "wreckfish", "Polyprion americanus", "hapuka", "Polyprion oxygeneios", "stone bass",
        es="cherna, mero de Juan Fernández", fr="cernier, mérou des Basques",
    ),
    _fish(
        "striped jewfish", "Stereolepis doederleini", ja="oo kuchi ishinagi, ishinagi",
        toxin=Toxin.LIVER,
    ),
    _fish(
        "blackthroat seaperch", "Doederleinia berycoides", "rosy seabass", "blackthroat",
        ja="nodoguro, akamutsu, aka mutsu", es="perca de garganta negra", fr="perche à gorge noire",
    ),
    _fish(
        "splendid alfonsino", "Beryx splendens", "golden eye snapper", "alfonsino",
        "Beryx decadactylus", ja="kinmedai, kinme dai",
        es="besugo americano, alfonsiño, palometa roja",
        fr="béryx, béryx long",
    ),
    _fish(
        "parrot bass", "Oplegnathus fasciatus", "barred knifejaw", "striped beakfish",
        ja="ishi dai, ishidai, shimadai", es="perca loro", fr="perche perroquet",
        toxin=Toxin.CIGUATERA,
    ),
    _fish(
        "rock porgy", "Oplegnathus punctatus", "spotted knifejaw", ja="ishigaki dai",
        es="perca loro moteada", fr="perche perroquet tachetée", toxin=Toxin.CIGUATERA,
    ),
    _fish(
        "parrotfish", "Scaridae", "knobsnout parrotfish", "Scarus ovifrons",
        ja="aobudai, budai, irabucha",
        es="pez loro, vieja", fr="poisson-perroquet", toxin=Toxin.PALYTOXIN,
    ),
    _fish(
        "largescale blackfish", "Girella punctata", "opaleye", ja="mejina, gure, kuchibuto",
        es="chopa japonesa", fr="girelle noire du Japon",
    ),
    _fish(
        "striped mullet", "Mugil cephalus", "grey mullet", "mullet", ja="bora, inada bora",
        es="mújol, lisa, pardete", fr="mulet, mulet cabot",
        parasites=(Parasite.NEMATODE, Parasite.FLUKE),
        notes="In river mouths it takes up intestinal flukes as fish of fresh water does.",
    ),
    _fish(
        "red mullet", "Mullus surmuletus", "Mullus barbatus", "rouget", "goatfish", ja="himeji",
        es="salmonete", fr="rouget, rouget barbet",
    ),
    _fish(
        "John Dory", "Zeus faber", "Saint-Pierre", ja="matodai, mato dai",
        es="pez de San Pedro, gallo de San Pedro",
        fr="saint-pierre",
    ),
)  # fmt: skip

FLATFISH: Final = (
    _fish(
        "olive flounder", "Paralichthys olivaceus", "bastard halibut", "Japanese flounder",
        ja="hirame, engawa", es="falso halibut, lenguado japonés", fr="cardeau hirame, hirame",
        parasites=_KUDOA,
    ),
    _fish(
        "summer flounder", "Paralichthys dentatus", "fluke", ja="natsu birame",
        es="falso halibut del Canadá", fr="cardeau d’été",
    ),
    _fish(
        "California halibut", "Paralichthys californicus", ja="kariforunia hirame",
        es="lenguado de California", fr="cardeau de Californie",
    ),
    _fish(
        "winter flounder", "Pseudopleuronectes americanus", "blackback", es="solla roja",
        fr="limande-plie rouge",
    ),
    _fish(
        "marbled flounder", "Pseudopleuronectes yokohamae", "marbled sole",
        ja="makogarei, mako garei",
        es="platija japonesa", fr="plie japonaise",
    ),
    _fish(
        "stone flounder", "Platichthys bicoloratus", "Kareius bicoloratus",
        ja="ishigarei, ishi garei",
        es="platija de piedra", fr="plie de pierre",
    ),
    _fish(
        "spotted halibut", "Verasper variegatus", "spotted flounder", ja="hoshigarei, hoshi garei",
        es="platija moteada", fr="plie tachetée",
    ),
    _fish(
        "barfin flounder", "Verasper moseri", ja="matsukawa, matsukawa garei",
        es="platija de barras",
        fr="plie à barres",
    ),
    _fish(
        "plaice", "Pleuronectes platessa", "European plaice", ja="tsuno garei", es="solla",
        fr="plie, carrelet",
    ),
    _fish(
        "yellowfin sole", "Limanda aspera", ja="koganegarei, rosuke garei", es="limanda japonesa",
        fr="limande à nageoires jaunes",
    ),
    _fish(
        "Dover sole", "Solea solea", "common sole", "sole", ja="doba soru",
        es="lenguado, lenguado común", fr="sole, sole commune",
    ),
    _fish(
        "lemon sole", "Microstomus kitt", es="mendo limón", fr="limande-sole",
    ),
    _fish(
        "Atlantic halibut", "Hippoglossus hippoglossus", ja="taiseiyo ohyo",
        es="fletán, halibut, fletán blanco", fr="flétan, flétan de l’Atlantique",
    ),
    _fish(
        "Pacific halibut", "Hippoglossus stenolepis", ja="ohyo, ohyou",
        es="fletán del Pacífico, halibut",
        fr="flétan du Pacifique",
    ),
    _fish(
        "Greenland halibut", "Reinhardtius hippoglossoides", "Greenland turbot",
        ja="karasu garei, engawa", es="fletán negro, halibut negro",
        fr="flétan noir, flétan du Groenland",
    ),
    _fish(
        "turbot", "Scophthalmus maximus", "Psetta maxima", ja="taabotto, ishi birame",
        es="rodaballo", fr="turbot",
    ),
    _fish(
        "brill", "Scophthalmus rhombus", es="rémol", fr="barbue",
    ),
)  # fmt: skip

COD_AND_OTHERS: Final = (
    _fish(
        "Pacific cod", "Gadus macrocephalus", ja="madara, ma dara", es="bacalao del Pacífico",
        fr="morue du Pacifique, cabillaud du Pacifique",
    ),
    _fish(
        "Atlantic cod", "Gadus morhua", "skrei", ja="taiseiyo madara", es="bacalao",
        fr="cabillaud, morue, skrei",
    ),
    _fish(
        "Alaska pollock", "Gadus chalcogrammus", "walleye pollock", "Theragra chalcogramma",
        ja="sukeso dara, suketo dara", es="abadejo de Alaska, colín de Alaska",
        fr="colin d’Alaska, lieu de l’Alaska",
    ),
    _fish("haddock", "Melanogrammus aeglefinus", ja="monko dara", es="eglefino", fr="églefin"),
    _fish(
        "pollack", "Pollachius pollachius", es="abadejo", fr="lieu jaune",
    ),
    _fish(
        "saithe", "Pollachius virens", "coley", "Atlantic pollock", "pollock",
        es="carbonero, fogonero",
        fr="lieu noir",
    ),
    _fish(
        "hake", "Merluccius", "European hake", "Merluccius merluccius", "Pacific whiting",
        ja="meruruusa, heiku", es="merluza, pescadilla", fr="merlu, colin",
    ),
    _fish(
        "blue grenadier", "Macruronus novaezelandiae", "hoki", ja="hoki",
        es="merluza de cola, hoki", fr="hoki, grenadier bleu",
    ),
    _fish(
        "monkfish", "Lophius litulon", "yellow goosefish", "monkfish liver", "Lophius piscatorius",
        "Lophius americanus", "anglerfish", "goosefish", ja="anko, ankou, ankimo, kian ko",
        es="rape",
        fr="lotte, baudroie", parasites=WORM,
    ),
    _fish(
        "sablefish", "Anoplopoma fimbria", "black cod", ja="gindara, gin dara", es="bacalao negro",
        fr="morue charbonnière, charbonnière",
    ),
    _fish(
        "skilfish", "Erilepis zonifer", ja="abura bozu, aburabozu", es="pez skil",
        fr="charbonnière géante",
        notes="Its fat is much, but not that of escolar, with which it shares a name in the trade.",
    ),
    _fish(
        "atka mackerel", "Pleurogrammus monopterygius", "Atka fish", "okhotsk atka mackerel",
        "Pleurogrammus azonus", "atka", ja="hokke, kitano hokke, shima hokke", es="lorcha de Atka",
        fr="maquereau d’Atka",
        notes="A greenling in spite of its name: no mackerel, and not known to form scombrotoxin.",
    ),
    _fish(
        "fat greenling", "Hexagrammos otakii", "greenling", ja="ainame, aburame",
        es="lorcha japonesa",
        fr="terpuga",
    ),
    _fish(
        "lingcod", "Ophiodon elongatus", ja="kin mutsu", es="bacalao largo, lorcha larga",
        fr="morue-lingue",
    ),
    _fish(
        "rockfish", "Sebastes", "rock cod", "Pacific ocean perch", "black rockfish",
        "Sebastes inermis",
        ja="mebaru, soi, kuro soi, aka uo, menuke", es="rocote, gallineta", fr="sébaste",
    ),
    _fish(
        "thornyhead", "Sebastolobus macrochir", "idiot fish", "kinki rockfish",
        ja="kinki, kichiji, menme",
        es="rocote espinoso", fr="sébastolobe",
    ),
    _fish(
        "scorpionfish", "Sebastiscus marmoratus", "marbled rockfish", "Scorpaenidae",
        ja="kasago, gashira",
        es="cabracho, escórpora", fr="rascasse",
    ),
    _fish(
        "devil stinger", "Inimicus japonicus", "stonefish", ja="okoze, oni okoze",
        es="pez piedra japonés",
        fr="poisson-pierre du Japon",
    ),
    _fish(
        "gurnard", "Chelidonichthys spinosus", "sea robin", "red gurnard",
        "Chelidonichthys lucerna",
        ja="hobo, houbou, kanagashira", es="rubio, bejel", fr="grondin",
    ),
    _fish(
        "bartail flathead", "Platycephalus indicus", "flathead", ja="kochi, ma gochi",
        es="cabeza plana",
        fr="platycéphale indien",
    ),
    _fish(
        "northern whiting", "Sillago japonica", "Japanese whiting", "sillago",
        ja="kisu, shirogisu, shiro gisu",
        es="silago japonés", fr="pêche-madame japonais",
    ),
    _fish(
        "threadsail filefish", "Stephanolepis cirrhifer", "filefish", ja="kawahagi",
        es="cachúa", fr="poisson-lime, bourse",
    ),
    _fish(
        "black scraper", "Thamnaconus modestus", "leatherfish", ja="umazura hagi, umazura",
        es="cachúa negra", fr="bourse noire",
    ),
    _fish(
        "sandfish", "Arctoscopus japonicus", "sailfin sandfish", ja="hatahata",
        es="pez arena japonés",
        fr="toto voilier",
    ),
    _fish(
        "daggertooth pike conger", "Muraenesox cinereus", "pike conger", "pike eel",
        "daggertooth eel", "conger pike", ja="hamo", es="morenocio dentón, congrio dentón",
        fr="murénésoce-dague", toxin=Toxin.BLOOD,
    ),
    _fish(
        "whitespotted conger", "Conger myriaster", "sea eel",
        ja="anago, ma anago, nore sore, noresore",
        es="congrio japonés", fr="congre du Japon", toxin=Toxin.BLOOD,
    ),
    _fish(
        "European conger", "Conger conger", "conger eel", es="congrio", fr="congre",
        toxin=Toxin.BLOOD,
    ),
    _fish(
        "moray eel", "Muraenidae", "moray", ja="utsubo", es="morena", fr="murène",
        toxin=Toxin.BLOOD,
        notes="Its blood is toxic raw, and from warm reefs it can carry ciguatera.",
    ),
    _fish("capelin", "Mallotus villosus", ja="karafuto shishamo", es="capelán", fr="capelan"),
    _fish(
        "skate", "Rajidae", "ray", ja="ei, kasube", es="raya", fr="raie",
    ),
    _fish(
        "shark", "Selachii", "dogfish", "mako shark", ja="same, fuka, wani",
        es="tiburón, cazón, marrajo",
        fr="requin, roussette, saumonette",
    ),
    row(
        "cod milt", "Gadus, milt", "milt", "soft roe", ja="shirako, tachi, madachi, kumoko",
        es="lechas de bacalao, lechas", fr="laitance, laitance de cabillaud",
        group=Group.OTHER, parasites=WORM,
        notes="Milt is not eggs, so (B)(5) does not exempt it. Of pufferfish it is served in Japan "
        "too: “fugu shirako” is another food, and never raw from this record.",
    ),
)  # fmt: skip

WHITE: Final = (*BREAM_AND_SNAPPER, *BASS_AND_GROUPER, *FLATFISH, *COD_AND_OTHERS)
