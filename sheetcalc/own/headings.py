"""A heading of somebody's own, taken apart: its words, its unit, and what it resembles."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache
from itertools import takewhile
from typing import NamedTuple

from sheetcalc import layouts, units

QUALIFIED = 0.69  # how well words may fit at most that have an unknown one among them
LONGEST_SHORT = 4  # letters of a word in which one letter off makes another word
ALIKE = 0.82  # words that resemble each other less are different words
LONGEST_HEADING = 100
LETTERS_FIRST = frozenset("%lg°º")  # units of one sign that may stand before the words
CALLED = {
    "gravity": "gravity",
    "strength": "strength",
    "mark": "strength",
    "volume": "volume",
    "temperature": "temperature",
    "mass": "mass",
}  # quantities by the list of their names
_IN = frozenset({"in", "en", "em", "w", "v", "i"})  # between words and unit
# Before a unit that belongs to what stands left of it.
_AT = re.compile(r"^(?:@|at|bei|à|a|ad|przy|při|pri|bij|ved|vid)\s+(?=\W?[^\W\d]{0,2}\W?$)", re.IGNORECASE)
_REFERENCE = re.compile(
    r"\s*(?:@|\bat|\bbei|à|\ba|\bpři|\bprzy|\bw|\bbij|\ben)\s*(?:15|15[.,]56|20|60)\s*°?\s*[CF]?\b", re.I
)
_NUMBER_SIGN = re.compile(r"#|\bn[º°]|\b(?:n|no|nr|num|č|br|št)\.(?=\s|$)", re.IGNORECASE)
_TEMPERATURE_SIGN = re.compile(r"\bT(?:°|º|ª|\.|(?=\s|$))")
_STOP_WORDS = frozenset(
    re.findall(
        r"\w+", "of the de du des d la le les l del della dell di do da dos el von vom der das van het"
    )
)
_BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")


class Words(NamedTuple):
    """A heading taken apart: its words with and without the unit, its units, what kind of value it is."""

    whole: str
    bare: str
    units: tuple[str, ...]
    corrected: bool
    only_units: bool


class Vocabulary(NamedTuple):
    """What each key of each sheet is called, as it is compared, our units by their spelling, the single
    words that a quantity is called, and words of languages that know none but metric units.
    """

    words: dict[str, dict[str, tuple[str, ...]]]
    units: dict[str, str]
    quantities: dict[str, frozenset[str]]
    abroad: frozenset[str]


@cache
def vocabulary() -> Vocabulary:
    """The words of the trade, from synonyms.toml."""
    found = layouts.parse(layouts.folder() / f"{layouts.SYNONYMS}.toml")
    common, spelled = found.pop("common"), found.pop("units")

    def spread(names: list[str]) -> tuple[str, ...]:
        return tuple(
            squeezed(word) for name in names for word in (common[name[1:]] if name[0] == "@" else [name])
        )

    words = {sheet: {key: spread(names) for key, names in keys.items()} for sheet, keys in found.items()}
    by_spelling = {unit_text(text): label for label, texts in spelled.items() for text in [label, *texts]}
    single = {
        quantity: frozenset(word for name in common[called] if " " not in (word := squeezed(name)))
        for quantity, called in CALLED.items()
    }
    return Vocabulary(words, by_spelling, single, frozenset(map(squeezed, common["abroad"])))


@lru_cache(maxsize=4096)
def squeezed(text: str) -> str:
    """Words as they are compared: small letters without accents, signs and double blanks."""
    text = _TEMPERATURE_SIGN.sub("temp ", _NUMBER_SIGN.sub(" ", text))
    text = text.casefold().replace("_", " ").replace("ł", "l").replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", text)
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    words = re.sub(r"[^\w%°]+", " ", plain).split()
    return " ".join([word for word in words if word not in _STOP_WORDS] or words)


def unit_text(text: str) -> str:
    """A unit as its spelling is compared: small letters without blanks and a dot behind it."""
    return re.sub(r"\s+", "", text.casefold().replace("º", "°")).rstrip(".:")


def label_for(raw: str, quantity: str) -> str:
    """Our label for a unit as a heading spells it, '' where it is none of that quantity."""
    label = vocabulary().units.get(unit_text(raw), "")
    return label if label in units.choices(quantity) else units.label_of(raw, quantity) if raw else ""


def _is_unit(raw: str) -> bool:
    """Whether a heading's word is a unit; "Vol" in a heading is short for volume."""
    if unit_text(raw) in vocabulary().units:
        return True
    if unit_text(raw) == "vol":
        return False
    return bool(raw) and any(units.label_of(raw, quantity) for quantity in units.QUANTITIES)


@cache
def split(text: str) -> Words:
    """Take a heading apart into words and what may be its unit."""
    corrected = bool(_REFERENCE.search(text))
    plain = _REFERENCE.sub(" ", text).replace("_", " ")
    raw: list[str] = []
    for inside in _BRACKETS.findall(plain):
        parts = [part.strip() for part in [inside, *_parts(inside)]]
        raw += [part for part in parts if _is_unit(part)]
    rest = _AT.sub("", " ".join(_BRACKETS.sub(" ", plain).split()))
    parts = [rest] if _is_unit(rest) else _parts(rest)
    only_units = bool(parts) and not raw and all(map(_is_unit, parts))
    tokens = rest.split()
    if only_units:
        raw += [part for part in dict.fromkeys([rest, *parts]) if _is_unit(part)]
    for count in (3, 2, 1):
        last = " ".join(tokens[-count:]).lstrip(",;-–") if len(tokens) > count else ""
        if last and not raw and _is_unit(last) and last not in "°º":
            raw.append(last)
            tokens = tokens[:-count]
            tokens = tokens[:-1] if len(tokens) > 1 and tokens[-1].casefold() in _IN else tokens
    for count in (2, 1):
        first = " ".join(tokens[:count]) if len(tokens) > count else ""
        if first and not raw and _is_unit(first) and (len(first) > 1 or first.casefold() in LETTERS_FIRST):
            raw.append(first)
            tokens = tokens[count:]
    if not raw and len(parts) == 2 and _is_unit(parts[1]):
        tokens, raw = parts[:1], parts[1:]
    bare = " ".join(tokens)
    return Words(squeezed(plain), squeezed(bare), tuple(dict.fromkeys(raw)), corrected, only_units)


def _parts(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"[/;,|]", text) if part.strip()]


@cache
def unsaid(words: str, quantity: str) -> str:
    """Words without those that a unit of the quantity says anyway: "out" of "strength out"."""
    said = vocabulary().quantities.get(quantity, frozenset())
    return " ".join(word for word in words.split() if word not in said)


@cache
def unsaid_of(synonyms: tuple[str, ...], quantity: str) -> frozenset[str]:
    """What is left of what a key is called, where a unit says the quantity."""
    return frozenset(rest for words in synonyms if (rest := unsaid(words, quantity)))


def is_short_for(words: str, others: frozenset[str]) -> bool:
    """Whether words are others, or their beginnings: "coll" is short for "collected"."""
    if words in others:
        return True
    typed = words.split()
    return any(
        len(typed) == len(theirs := other.split())
        and all(
            one == whole or (len(one) >= LONGEST_SHORT and whole.startswith(one))
            for one, whole in zip(typed, theirs, strict=True)
        )
        for other in _by_initial(others).get(words[0], ())
    )


@cache
def resemblance(words: str, synonyms: tuple[str, ...]) -> tuple[float, str]:
    """How well words fit what a key is called, from 0 to 1, and the synonym that fits best."""
    from rapidfuzz import fuzz

    if words in synonyms:
        return 1.0, words
    known = _words_in(synonyms)
    best = (0.0, "")
    typed = words.split()
    by_initial = _by_initial(synonyms)
    for synonym in dict.fromkeys(
        s for initial in {word[0] for word in typed} for s in by_initial.get(initial, ())
    ):
        theirs = synonym.split()
        mine = [_spelled_out(word, theirs) for word in typed]
        longer = " ".join(mine)
        score = fuzz.token_sort_ratio(longer, synonym) / 100
        score = score * 0.97 if score >= ALIKE and _misspelled(mine, theirs) else 0.0
        if set(theirs) <= set(mine) and len(synonym) > 2:
            part = 0.6 + 0.35 * len(synonym) / len(longer)
            # A word that none of them has may make it another matter: the temperature of the air.
            score = max(score, part if set(mine) - set(theirs) <= known else min(part, QUALIFIED))
        best = max(best, (score, synonym))
    return best


@cache
def _by_initial(names: Iterable[str]) -> dict[str, list[str]]:
    """Names by the letters that their words begin with."""
    found: dict[str, list[str]] = {}
    for name in names:
        for initial in {word[0] for word in name.split()}:
            found.setdefault(initial, []).append(name)
    return found


@cache
def _words_in(synonyms: tuple[str, ...]) -> frozenset[str]:
    return frozenset(word for synonym in synonyms for word in synonym.split())


def _misspelled(mine: Sequence[str], theirs: Sequence[str]) -> bool:
    """Whether words are others with one or two letters off, each for itself, rather than other words."""
    odd, others = sorted(set(mine) - set(theirs)), sorted(set(theirs) - set(mine))
    return len(odd) == len(others) and all(map(_alike, odd, others))


def _alike(word: str, other: str) -> bool:
    """In short words any letter makes another word, and in compounds the first part does: Luft-temperatur."""
    from rapidfuzz import fuzz

    same = takewhile(lambda pair: pair[0] == pair[1], zip(reversed(word), reversed(other), strict=False))
    ending = len(list(same))
    if ending > LONGEST_SHORT:
        word, other = word[:-ending], other[:-ending]
    return (
        word[:1] == other[:1]
        and min(len(word), len(other)) > LONGEST_SHORT
        and fuzz.ratio(word, other) / 100 >= ALIKE
    )


def _spelled_out(word: str, others: Sequence[str]) -> str:
    """An abbreviation as one of the other words, where it is the beginning of one."""
    return next((other for other in others if len(word) > 2 and other.startswith(word)), word)
