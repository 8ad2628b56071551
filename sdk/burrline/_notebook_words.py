"""Words of notebooks' headings, in English, German, French, Spanish, Italian, Dutch."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from burrline._notebook_amounts import UNITS
from burrline._notebook_cells import plain

# Words that headings begin with.
_DATES = """date datum day tag jour fecha dia data giorno dag week woche semaine semana settimana
month monat mois mes maand"""
_AMOUNTS = """coffee kaffee cafe caffe koffie amount menge quantit cantidad hoeveelheid ground
gemahlen moulu molido macinato gemalen beans bohnen grains granos chicchi bonen weight gewicht
poids peso use verbrauch consum conso verbruik mass masse"""
_METERS = """meter counter zahler compteur contador contatore teller reading stand\u00a0 cumul kumul
running so\u00a0far bisher since"""
_PER_DAY = "per daily today taglich heute quotidien diari giornalier dagelijks"
_TOTALS = """total sum summe gesamt somme suma somma totaal totale all\u00a0 average mean mittel
schnitt moyenne media promedio gemiddeld balance subtotal zwischensumme ubertrag carried σ"""
_GRINDERS = "grinder machine muhle moulin molino molinillo macinino macinacaffe molen maler"
_NOTES = """note notiz remark comment bemerk anmerk kommentar remarque nota observ opmerk notit
what"""
_OTHERS = """shot cup dose bezug bezuge drink time uhr zeit heure hora ora tijd temp price preis
prix precio prezzo prijs setting einstell mahlgrad reglage who wer qui name sign initial bag min
sec sek n° no nr # °c eur € $ £ rpm"""
_WEEKS = "week weeks woche wochen semaine semaines semana settimana"
_ENDINGS = "end bis until fin hasta tot"
WEEKS, ENDINGS = frozenset(_WEEKS.split(" ")), tuple(_ENDINGS.split(" "))
DATES, AMOUNTS, METERS, PER_DAY, TOTALS, GRINDERS, NOTES, OTHERS = (
    tuple(one.replace("\u00a0", " ") for one in words.replace("\n", " ").split(" "))
    for words in (_DATES, _AMOUNTS, _METERS, _PER_DAY, _TOTALS, _GRINDERS, _NOTES, _OTHERS)
)

# What is no coffee ground, though kilograms may stand under it: whole words, or beginnings of six
# letters and more.
_STORED = """stock inventory remaining remainder bestand vorrat lager restbestand reste restant
existencia existencias rimanenza rimanenze scorta scorte voorraad delivered delivery received bought
purchased ordered lieferung geliefert bestellt einkauf livraison achat recibido entrega compra
consegna acquisto geleverd inkoop"""
_NOT_GROUND = """target planned soll objectif objetivo obiettivo doel goal waste
wasted loss abfall verlust perte perdida merma scarto verlies price preis prix precio prezzo prijs
cost kosten cout coste costo"""
_STORES = """stocks bestande vorrate deliveries deliver purchases purchase orders lieferungen
einkaufe livraisons achats entregas compras consegne acquisti"""
NOT_GROUND = [*_STORED.split(), *_NOT_GROUND.split()]
STORED = frozenset((*_STORED.split(), *_STORES.split()))
"""In a title these words say that what stands below lay in store, came or was ordered."""
_OTHER_DATES = """roast roasted roasting rostung rostdatum gerostet torrefaction tueste tostado
tostatura gebrand best before expiry expires mhd haltbar peremption caducidad scadenza order ordered
ship shipped lieferdatum bestelldatum bestellung kaufdatum"""
OTHER_DATES = STORED | frozenset(_OTHER_DATES.split())
"""In the heading of dates these words say that they are not of the days of grinding."""
_COUNTS = """shots cups doses drinks servings count number bezuge tassen anzahl tasses nombre tazas
tazze dosi numero koppen aantal"""
COUNTS = frozenset(_COUNTS.split())
_EACH = "bag bags sack box pack shot cup dose drink serving bezug tasse portion taza tazza kop zak"
EACH = frozenset(_EACH.split())
_PIECES = """bag bags box boxes pack packs packet packets pouch pouches sack sacks tute tuten beutel
sachet sachets paquet paquets bolsa bolsas sacco sacchi sacchetto sacchetti zak zakken packung
packungen paket pakete karton kartons"""
PIECES = frozenset(_PIECES.split())
_COUNTED = re.compile(
    rf"(?:\b(?:of|zu|de|da|di|van|x)|[x\u00d7@*(]) ?\d+(?:[.,]\d+)? ?(?:{'|'.join(UNITS)})\b"
    rf"|\b(?:{'|'.join(UNITS)}) ?(?:x|\u00d7|\*) ?\d"
)
_DAYS = "day days tag tage jour jours dia dias giorno giorni dag dagen date datum"
DAY_WORDS = frozenset(_DAYS.split(" "))
FROM_WORDS = frozenset(
    {"from", "von", "vom", "de", "du", "desde", "da", "dal", "van", "begin", "start"}
)
TO_WORDS = frozenset({"to", "till", "until", "bis", "au", "a", "hasta", "al", "tot", "end", "ende"})
MONTH_WORDS = frozenset({"month", "monat", "mois", "mes", "mese", "maand"})
YEAR_WORDS = frozenset({"year", "jahr", "annee", "ano", "anno", "jaar"})
WEEK_NUMBERS = WEEKS | {"kw", "cw", "wk", "isoweek", "iso"}


def words_of(heading: str) -> list[str]:
    return re.findall(r"[^\W\d_]+", plain(heading))


def counts_pieces(heading: str) -> bool:
    """Whether what stands below has to be multiplied first.

    >>> [counts_pieces(one) for one in ("bags (250 g)", "5 lb bags", "x100 g", "bar 1 kg", "bags")]
    [True, True, True, False, False]
    """
    is_of_pieces = bool(PIECES & {*words_of(heading)})
    text = plain(heading)
    return bool(_COUNTED.search(text) or (is_of_pieces and re.search(r"\d ?[a-z]", text)))


def is_no_amount(heading: str) -> bool:
    """Whether a heading says that what stands below was not ground, or is a price or a rate.

    >>> [is_no_amount(one) for one in ("stock kg", "EUR/kg", "g/shot", "kg per bag")]
    [True, True, True, True]
    >>> [is_no_amount(one) for one in ("kg/day", "coffee (kg)", "Restaurant kg", "kg per day")]
    [False, False, False, False]
    """
    words = words_of(heading)
    if any(
        word in NOT_GROUND or any(len(one) >= 6 and word.startswith(one) for one in NOT_GROUND)
        for word in words
    ):
        return True
    text = plain(heading)
    if counts_pieces(heading):
        return True
    if re.search(r"[$\u20ac\u00a3]|\b(?:eur|usd|gbp|chf)\b", text):
        return True
    rate = re.search(r"(?:/|\b(?:per|pro|je|par|por|al)\b) ?([a-z]+)", text)
    return rate is not None and (rate[1] in UNITS or rate[1] in EACH)


@lru_cache(maxsize=100_000)
def is_total_alone(cell: str) -> bool:
    """Whether a cell says nothing but that it is a total, of a week or a month.

    >>> [is_total_alone(one) for one in ("Total:", "Sum of week 10", "Allerheiligen", "all day")]
    [True, True, False, False]
    """
    words = words_of(cell)
    totals = [
        word for word in words if word.rstrip("s") in TOTALS or word in TOTALS or word == "all"
    ]
    rest = {*words} - {*totals} - WEEK_NUMBERS - MONTH_WORDS - {*UNITS} - {"of", "the", "for", "w"}
    return bool(totals) and totals != ["all"] and not rest


def begins_with_total(cell: str) -> bool:
    return f"{plain(cell).strip(' :.=')} ".startswith(TOTALS)


def is_about(heading: str, words: Sequence[str]) -> bool:
    """Whether a word of the heading begins like one of these."""
    said = re.sub(r"[(\[{/_.:-]", " ", f" {plain(heading)} ")
    return any(f" {word}" in said for word in words)
