"""Lots: which one a line speaks of, and which lines go on with what another line gave.

A person brings a lot to 45 % vol, filters it and brings it to 40: three lines, one spirit. Counted three
times it would be more than the still ever gave.
"""

import re
from collections.abc import Mapping, Set
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array
from sheetcalc.stages import groups
from sheetcalc.stages.slips import Mask, Texts

RINSED = 3.0  # % vol; so much water does rinsing out a filter add at most (common practice)
MOST_WORDS = 20  # of a part's name that are looked at
# "Hearts of last year", "tails from another batch", "old hearts", "bought heads", whatever else it is called.
# A previous run or another jar is of this batch.
_OF_ANOTHER = re.compile(
    r"\b(?:(?:last|previous|earlier|former|another|other|old(?:er)?)(?: \w+)? (?:years?|batch(?:es)?|season)"
    r"|old(?:er)?|bought|purchased)\b"
)
MOST_NAMES = 200  # that a misspelled one is held against
_SAY_NOTHING = {"run", "lot", "jar", "no", "nr", "the"}
MOST_BLENDINGS = 8  # blends of blends; nobody goes on longer
SAME_VOLUME = 0.03  # share: two measures of one volume, each good to about 2 % (common practice)


def names(lots: Any, like: ArrayLike) -> Texts:
    """Names of lots or runs, one for each value of `like`, as they are compared: case and spaces alike."""
    texts = np.broadcast_to(np.asarray(lots, dtype=object), np.shape(np.atleast_1d(like)))
    return np.array([groups.plain(text) for text in texts], dtype=object)


def told_of(*columns: tuple[Any, ArrayLike]) -> dict[str, list[float]]:
    """All that columns tell of each lot, by its name.

    columns: each the lots of a sheet and numbers on the same lines; blanks tell nothing.
    """
    told: dict[str, list[float]] = {}
    for lot, values in columns:
        for name, value in zip(names(lot, lot), np.atleast_1d(values), strict=False):
            if name and np.isfinite(value):
                told.setdefault(name, []).append(float(value))
    return told


def goes_on(
    volume: ArrayLike,
    strength: ArrayLike,
    given_volume: ArrayLike,
    given_strength: ArrayLike,
    filtered_volume: ArrayLike,
    filtered_strength: ArrayLike,
    margin: float,
    lot: Any = "",
) -> Mask:
    """Which lots start from what another line of the same sheet, or the filter, gave.

    volume, strength: L and % vol that a lot starts from; given_: what it becomes (alike in shape);
    filtered_: what came out of the filter; margin: % vol by which two readings of one spirit may differ.
    lot: its names. A lot goes on where its strength is that of spirit given elsewhere and there is enough of
    it left; one of the same name may have been filtered and rinsed in between, without a line for that.
    """
    start, level, amount, becomes = _lines(volume, strength, given_volume, given_strength)
    filtered_amount, filtered_level = _lines(filtered_volume, filtered_strength)
    # A line that brings nothing down gives nothing new.
    becomes = np.where(becomes < level - margin, becomes, np.nan)
    left = np.nan_to_num(np.concatenate([amount, filtered_amount]))
    at = np.concatenate([becomes, filtered_level])
    mask = np.zeros(len(level), dtype=bool)
    named = np.concatenate([names(lot, level), np.full(len(filtered_amount), "", dtype=object)])
    by_strength = np.argsort(at)
    firsts = np.searchsorted(at[by_strength], level - margin - 1e-9)
    lasts = np.searchsorted(at[by_strength], level + max(margin, RINSED) + 1e-9, side="right")
    for i in np.argsort(-level, kind="stable"):
        near = np.sort(by_strength[firsts[i] : lasts[i]])
        if len(near) == 0:
            continue
        again = (named[near] == named[i]) & (named[near] != "") & (near != i)
        like = np.abs(at[near] - level[i]) <= margin
        own = again & (like | ((at[near] > level[i]) & (at[near] <= level[i] + RINSED)))
        # It comes from its own line, if there is enough of that; or else from whatever is alike.
        for source in (near[own], near[like | own]):
            there = left[source].sum()
            if 0 < start[i] <= there * (1 + SAME_VOLUME):
                mask[i] = True
                left[source] *= max(1 - start[i] / there, 0.0)
                break
    return mask


def volume_of(lot: str, lots: Texts, volumes: ArrayLike, goes_on: Mask) -> float:
    """Volume (L) of a lot by the lines that bear its name: the later steps of a chain, else all; NaN if none.

    lots: as `names` gives them; volumes, goes_on: alike in shape.
    """
    (amounts,) = _lines(volumes)
    known = (lots == lot) & np.isfinite(amounts)
    last = known & goes_on
    return float(amounts[last if last.any() else known].sum()) if known.any() else np.nan


def filtered(
    lots: Texts, volume_in: ArrayLike, known: dict[str, float], volume_out: ArrayLike
) -> list[tuple[str, Mask, bool]]:
    """For each lot through the filter: its name, its lines, and whether they are passes of the same spirit.

    lots: as `names` gives them, alike in shape with the volumes; known: volume (L) of lots before the
    filter. Lines that together hold more than there was of the lot are passes one after the other; else
    they are portions.
    """
    into, out = _lines(volume_in, volume_out)
    found = []
    for lot in dict.fromkeys(lots):
        mask = (lots == lot) & np.isfinite(into) & np.isfinite(out)
        if mask.any():
            most = known.get(lot, np.nan) * (1 + SAME_VOLUME)
            found.append((str(lot), mask, bool(lot and into[mask].sum() > most)))
    return found


def misspelled(names: Any, *known: Any) -> Texts:
    """For each name that is none of the known ones, the one it may be a misspelling of, as typed there.

    '' where there is none, or more than one. names, known: texts over records.

    That is one slip in a word of at least four letters, or a word such as "run" more or less. Numbers are
    never taken for each other.
    """
    typed = [text for texts in known for text in np.atleast_1d(texts) if groups.plain(text)]
    spelled = {groups.plain(text): str(text).strip() for text in typed}
    others = [(in_words(name).split(), shown) for name, shown in spelled.items()]
    found: dict[str, str] = dict.fromkeys(spelled, "") | {"": ""}
    wanted = [groups.plain(text) for text in np.atleast_1d(names)]
    for name in wanted:
        if name not in found:
            words = in_words(name).split()
            near = [shown for other, shown in others[:MOST_NAMES] if _alike(words, other)]
            found[name] = near[0] if len(near) == 1 else ""
    return np.array([found[name] for name in wanted], dtype=object)


def may_be(near: Texts) -> Texts:
    """What each misspelled name may be, in words; '' for ''."""
    return np.array([f"It may be '{name}'." if name else "" for name in near], dtype=object)


def _alike(mine: list[str], theirs: list[str]) -> bool:
    if [w for w in mine if w not in _SAY_NOTHING] == [w for w in theirs if w not in _SAY_NOTHING]:
        return True
    differ = [(a, b) for a, b in zip(mine, theirs, strict=False) if a != b]
    return len(mine) == len(theirs) and len(differ) == 1 and _one_slip(*differ[0])


def _one_slip(a: str, b: str) -> bool:
    """Whether one letter is more, less, another or exchanged with its neighbour, in words of four letters."""
    if min(len(a), len(b)) < 4 or abs(len(a) - len(b)) > 1 or re.search(r"\d", a + b):
        return False
    start = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    rest, other = a[start:], b[start:]
    exchanged = rest[:2] == other[:2][::-1] and rest[2:] == other[2:]
    return exchanged or rest[1:] == other[1:] or rest[1:] == other or rest == other[1:]


def named_after(text: str, others: Set[str]) -> bool:
    """Whether a text holds one of the names, word for word: "hearts of B-26, jar 2" is named after B-26.

    Not one that says in plain words that it is of another batch. others: names as `in_words` gives them.
    Those without a letter are no words: a number may count anything.
    """
    words = in_words(text).split()[:MOST_WORDS]
    if _OF_ANOTHER.search(" ".join(words)):
        return False
    parts = {" ".join(words[i:j]) for i in range(len(words)) for j in range(i + 1, len(words) + 1)}
    return any(part in others and re.search(r"[^\W\d]{2}|[^\W\d].*\d", part) for part in parts)


def in_words(text: str) -> str:
    """A text without what stands between its words, in small letters."""
    return " ".join(re.findall(r"\w+", text.casefold()))


def shares(lots: Texts, parts: Texts, alcohol: Array, by_part: Array) -> dict[str, float]:
    """Share (0 to 1) of each blend's alcohol that is of one kind, by its parts.

    lots, parts: as `names` gives them; alcohol: L in each part, NaN where unknown; by_part: the share of each
    part that is no blend itself. A part that is another blend has the share of that.
    """
    held = np.nan_to_num(alcohol)
    blends, of_blend = np.unique(lots.astype(str), return_inverse=True)
    whole = np.bincount(of_blend, held, len(blends))
    found = dict.fromkeys(blends, 0.0)
    a_blend = np.isin(parts.astype(str), blends) & (lots != parts) & (parts != "")
    for _ in range(MOST_BLENDINGS if a_blend.any() else 1):
        share = np.where(a_blend, share_of(parts, found), by_part)
        such = np.bincount(of_blend, held * share, len(blends))
        found = dict(zip(blends, such / np.where(whole > 0, whole, np.inf), strict=True))
    return {str(lot): float(share) for lot, share in found.items() if lot}


def share_of(names: Texts, shares: Mapping[str, float]) -> Array:
    """The share of each name, 0 where it has none."""
    return np.array([shares.get(name, 0.0) for name in names], dtype=float)


def _lines(*values: ArrayLike) -> tuple[Array, ...]:
    return tuple(np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, dtype=float)) for v in values)))
