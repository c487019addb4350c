"""Salmon, trout, char, and fish of fresh water. Pure data.

Parasites: salmon that was in the sea carries anisakid nematodes, and salmon and trout that was in
fresh water the tapeworms of the genus Dibothriocephalus; fish of fresh water carries flukes
(Clonorchis, Opisthorchis, Metagonimus) and, some of it, Gnathostoma. From memory: FDA Hazards and
Controls Guidance, 4th ed., chapter 5; FAO Fisheries Technical Paper 444.
"""

from typing import Final

from rimewatch.lots.species import Toxin
from rimewatch.lots.species_row import (
    FRESH,
    FRESH_AND_GNATHOSTOMA,
    FRESH_AND_TAPE,
    WORM,
    WORM_AND_TAPE,
    row,
)

SALMON: Final = (
    row(
        "Atlantic salmon", "Salmo salar", ja="taiseiyo sake, atorantikku samon",
        es="salmón atlántico, salmón del Atlántico, salmón noruego, salmón escocés",
        fr="saumon atlantique, saumon de l’Atlantique", parasites=WORM,
    ),
    row(
        "king salmon", "Oncorhynchus tshawytscha", "chinook salmon", "chinook", "spring salmon",
        ja="masunosuke, kingu samon", es="salmón real, salmón chinook",
        fr="saumon royal, saumon chinook, saumon quinnat", parasites=WORM_AND_TAPE,
    ),
    row(
        "sockeye salmon", "Oncorhynchus nerka", "sockeye", "red salmon", ja="benizake",
        es="salmón rojo, salmón sockeye", fr="saumon rouge, saumon sockeye",
        parasites=WORM_AND_TAPE,
    ),
    row(
        "kokanee", "Oncorhynchus nerka, land-locked", ja="himemasu",
        es="salmón kokanee", fr="saumon kokani", parasites=FRESH_AND_TAPE,
    ),
    row(
        "coho salmon", "Oncorhynchus kisutch", "coho", "silver salmon", ja="ginzake",
        es="salmón plateado, salmón coho", fr="saumon argenté, saumon coho",
        parasites=WORM_AND_TAPE,
    ),
    row(
        "chum salmon", "Oncorhynchus keta", "chum", "keta salmon", "dog salmon",
        ja="shirozake, akizake, tokishirazu, tokizake, keiji", es="salmón keta, salmón chum",
        fr="saumon keta, saumon chum", parasites=WORM_AND_TAPE,
    ),
    row(
        "pink salmon", "Oncorhynchus gorbuscha", "humpback salmon", ja="karafuto masu, aomasu",
        es="salmón rosado", fr="saumon rose", parasites=WORM_AND_TAPE,
    ),
    row(
        "cherry salmon", "Oncorhynchus masou", "masu salmon", ja="sakura masu, hon masu",
        es="salmón japonés, salmón masu", fr="saumon japonais, saumon masou",
        parasites=WORM_AND_TAPE,
    ),
    row(
        "yamame", "Oncorhynchus masou, river form", "yamame trout", ja="yamame",
        es="trucha yamame", fr="truite yamamé", parasites=FRESH_AND_TAPE,
    ),
    row(
        "amago", "Oncorhynchus ishikawae", "red-spotted masu trout", ja="amago, satsuki masu",
        es="trucha amago", fr="truite amago", parasites=FRESH_AND_TAPE,
    ),
    row(
        "rainbow trout", "Oncorhynchus mykiss", "steelhead", "steelhead trout", "salmon trout",
        "ocean trout", ja="niji masu, toraoto samon", es="trucha arcoíris, trucha asalmonada",
        fr="truite arc-en-ciel, truite saumonée", parasites=WORM_AND_TAPE,
    ),
    row(
        "brown trout", "Salmo trutta", "sea trout", ja="buraun torauto",
        es="trucha común, trucha marina, reo", fr="truite fario, truite de mer, truite commune",
        parasites=WORM_AND_TAPE,
    ),
    row(
        "Arctic char", "Salvelinus alpinus", "Arctic charr", ja="hokkyoku iwana",
        es="trucha alpina, salvelino ártico", fr="omble chevalier", parasites=WORM_AND_TAPE,
    ),
    row(
        "whitespotted char", "Salvelinus leucomaenis", "white-spotted char", ja="iwana, amemasu",
        es="salvelino japonés", fr="omble à taches blanches", parasites=FRESH_AND_TAPE,
    ),
    row(
        "brook trout", "Salvelinus fontinalis", "brook char", ja="kawamasu",
        es="trucha de arroyo, salvelino", fr="omble de fontaine, saumon de fontaine",
        parasites=FRESH_AND_TAPE,
    ),
    row(
        "Dolly Varden", "Salvelinus malma", ja="oshorokoma", es="trucha Dolly Varden",
        fr="omble Dolly Varden", parasites=WORM_AND_TAPE,
    ),
    row(
        "lake trout", "Salvelinus namaycush", ja="reku torauto", es="trucha de lago",
        fr="touladi, truite grise", parasites=FRESH_AND_TAPE,
    ),
    row(
        "huchen", "Hucho perryi", "Sakhalin taimen", ja="itou, ito", es="salmón de Sajalín",
        fr="huchon de Sakhaline", parasites=FRESH_AND_TAPE,
    ),
)  # fmt: skip

FRESH_WATER: Final = (
    row(
        "sweetfish", "Plecoglossus altivelis", "ayu sweetfish", ja="ayu, ai, koayu",
        es="ayu, pez dulce", fr="ayu", parasites=FRESH,
    ),
    row(
        "common carp", "Cyprinus carpio", "carp", ja="koi, magoi", es="carpa, carpa común",
        fr="carpe, carpe commune", parasites=FRESH,
    ),
    row(
        "crucian carp", "Carassius auratus", "Carassius carassius", "Carassius cuvieri",
        ja="funa, gengoro buna, nigoro buna", es="carpín, carpa dorada", fr="carassin",
        parasites=FRESH,
    ),
    row(
        "grass carp", "Ctenopharyngodon idella", "white amur", ja="sougyo, sogyo",
        es="carpa herbívora, amur", fr="carpe herbivore, amour blanc", parasites=FRESH,
    ),
    row(
        "silver carp", "Hypophthalmichthys molitrix", ja="hakuren", es="carpa plateada",
        fr="carpe argentée", parasites=FRESH,
    ),
    row(
        "Japanese icefish", "Salangichthys microdon", "icefish", "noodlefish",
        ja="shirauo", es="pez hielo japonés", fr="poisson-nouille", parasites=FRESH,
    ),
    row(
        "ice goby", "Leucopsarion petersii", ja="shiro uo, shirouo", es="gobio de hielo",
        fr="gobie de glace", parasites=FRESH,
    ),
    row(
        "Japanese smelt", "Hypomesus nipponensis", "wakasagi smelt", "pond smelt", ja="wakasagi",
        es="eperlano japonés", fr="éperlan japonais", parasites=FRESH_AND_TAPE,
    ),
    row(
        "European smelt", "Osmerus eperlanus", ja="kyuri uo", es="eperlano", fr="éperlan",
        parasites=FRESH_AND_TAPE,
    ),
    row(
        "shishamo", "Spirinchus lanceolatus", "shishamo smelt", ja="hon shishamo",
        es="capellán japonés", fr="éperlan shishamo", parasites=WORM,
    ),
    row(
        "loach", "Misgurnus anguillicaudatus", "weather loach", "dojo loach", ja="dojou, dojo",
        es="misgurno, locha", fr="loche", parasites=FRESH_AND_GNATHOSTOMA,
    ),
    row(
        "Amur catfish", "Silurus asotus", "Japanese catfish", ja="namazu", es="siluro japonés",
        fr="silure de l’Amour", parasites=FRESH_AND_GNATHOSTOMA,
    ),
    row(
        "channel catfish", "Ictalurus punctatus", "catfish", ja="amerika namazu",
        es="bagre de canal", fr="barbue de rivière, poisson-chat", parasites=FRESH,
    ),
    row(
        "striped catfish", "Pangasianodon hypophthalmus", "basa", "swai", "pangasius", "tra",
        ja="basa, pangashiusu", es="panga, pangasio", fr="panga", parasites=FRESH,
    ),
    row(
        "northern snakehead", "Channa argus", "snakehead", ja="kamuruchi, raigyo",
        es="cabeza de serpiente", fr="poisson à tête de serpent", parasites=FRESH_AND_GNATHOSTOMA,
    ),
    row(
        "Asian swamp eel", "Monopterus albus", "swamp eel", "rice eel", ja="taunagi",
        es="anguila de arroz, anguila de pantano", fr="anguille des rizières",
        parasites=FRESH_AND_GNATHOSTOMA,
    ),
    row(
        "Nile tilapia", "Oreochromis niloticus", "tilapia", ja="izumidai, chikadai, tirapia",
        es="tilapia, mojarra tilapia", fr="tilapia, tilapia du Nil", parasites=FRESH,
    ),
    row(
        "northern pike", "Esox lucius", "pike", ja="kawa kamasu", es="lucio", fr="brochet",
        parasites=FRESH_AND_TAPE,
    ),
    row(
        "European perch", "Perca fluviatilis", "yellow perch", "Perca flavescens",
        ja="yoroppian paachi", es="perca de río", fr="perche", parasites=FRESH_AND_TAPE,
    ),
    row(
        "zander", "Sander lucioperca", "pikeperch", "pike perch", "walleye", "Sander vitreus",
        ja="zandaa", es="lucioperca", fr="sandre", parasites=FRESH_AND_TAPE,
    ),
    row(
        "burbot", "Lota lota", ja="kawa mentai", es="lota", fr="lotte de rivière",
        parasites=FRESH_AND_TAPE,
    ),
    row(
        "lake whitefish", "Coregonus clupeaformis", "whitefish", ja="shiro masu",
        es="corégono", fr="corégone", parasites=FRESH_AND_TAPE,
    ),
    row(
        "sturgeon", "Acipenseridae", "white sturgeon", "Acipenser transmontanus", ja="chozame",
        es="esturión", fr="esturgeon", parasites=FRESH,
    ),
    row(
        "Japanese eel", "Anguilla japonica", ja="unagi, nihon unagi", es="anguila japonesa",
        fr="anguille japonaise, anguille du Japon", parasites=FRESH_AND_GNATHOSTOMA,
        toxin=Toxin.BLOOD,
    ),
    row(
        "European eel", "Anguilla anguilla", ja="yoroppa unagi", es="anguila europea, angula",
        fr="anguille européenne, anguille d’Europe, civelle", parasites=FRESH, toxin=Toxin.BLOOD,
    ),
    row(
        "American eel", "Anguilla rostrata", ja="amerika unagi", es="anguila americana",
        fr="anguille d’Amérique", parasites=FRESH, toxin=Toxin.BLOOD,
    ),
)  # fmt: skip
