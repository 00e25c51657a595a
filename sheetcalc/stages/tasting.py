"""The tasting sheet: several samples rated by several tasters, and whether the samples differ."""

from typing import Any, NamedTuple

import numpy as np

from sheetcalc import tastings
from sheetcalc.liquids import Array
from sheetcalc.stages import groups, lots
from sheetcalc.stages.groups import Rows
from sheetcalc.stages.registry import add_check, check, column
from sheetcalc.stages.slips import Mask, Texts

WORST, BEST = 1.0, 9.0  # the nine-step scale of the trade (common practice)
LEVEL, STRICT = 0.05, 0.01  # chances at which a difference counts as shown, and as clear (common practice)


class Blocks(NamedTuple):
    """The ratings as a table: the first rows of its samples and tasters, the score (mean over the attributes)
    tasters x samples, NaN without a rating, and which tasters rated every sample on the same attributes."""

    samples: Rows
    tasters: Rows
    scores: Array
    lacking: Mask
    complete: Mask


@column("tasting", across=True)
def sample_row(sample: Any) -> Rows:
    """The row in which each record's sample stands first; -1 without one."""
    return groups.first_rows(sample)


@column("tasting", across=True)
def taster_row(taster: Any) -> Rows:
    """The row in which each record's taster stands first; -1 without one."""
    return groups.first_rows(taster)


@column("tasting", across=True)
def samples_meant(sample: Any) -> Texts:
    """The sample that each one stands for whose name stands once and is almost like another; '' elsewhere."""
    return _meant(sample)


@column("tasting", across=True)
def tasters_meant(taster: Any) -> Texts:
    """The same of tasters."""
    return _meant(taster)


def _meant(texts: Any) -> Texts:
    first = groups.first_rows(texts)
    often = np.bincount(first + 1, minlength=1)[first + 1] > 1
    near = lots.misspelled(texts, [text for text, more in zip(texts, often, strict=True) if more])
    return np.where(often, "", near)


@column("tasting")
def again(sample_row: Rows, taster_row: Rows) -> Mask:
    """Records of a taster who has rated the sample further up."""
    pairs = list(zip(sample_row.tolist(), taster_row.tolist(), strict=True))
    named = [min(pair) >= 0 for pair in pairs]
    return np.array([named[i] and pair in pairs[:i] for i, pair in enumerate(pairs)], dtype=bool)


@column("tasting")
def ratings(aroma: Array, taste: Array, smoothness: Array, again: Mask) -> Array:
    """The ratings that count, records x attributes: on the scale, of each taster's first try of a sample."""
    given = np.stack([aroma, taste, smoothness], axis=-1)
    counts = (given >= WORST) & (given <= BEST) & ~again[:, None]
    return np.where(counts, given, np.nan)


@column("tasting", across=True)
def blocks(sample_row: Rows, taster_row: Rows, ratings: Array) -> Blocks:
    """The ratings as a table of tasters and samples."""
    rated = np.isfinite(ratings)
    used = rated.any(axis=1) & (sample_row >= 0) & (taster_row >= 0)
    samples, tasters = (
        np.array(sorted(set(rows[used].tolist())), dtype=int) for rows in (sample_row, taster_row)
    )
    filled = np.zeros((len(tasters), len(samples), ratings.shape[1]), dtype=bool)
    scores = np.full(filled.shape[:2], np.nan)
    at = np.searchsorted(tasters, taster_row[used]), np.searchsorted(samples, sample_row[used])
    filled[at] = rated[used]
    scores[at] = np.nansum(ratings[used], axis=1) / rated[used].sum(axis=1)
    # What a taster rates in any sample is to be rated in every one, or the scores can't be compared.
    lacking = (filled != filled.any(axis=1, keepdims=True)).any(axis=2)
    return Blocks(samples, tasters, scores, lacking, ~lacking.any(axis=1))


@column("tasting", across=True)
def compared(blocks: Blocks) -> Array:
    """The scores of the tasters who count in the comparison, tasters x samples."""
    return blocks.scores[blocks.complete]


@column("tasting")
def mean(sample_row: Rows, ratings: Array) -> Array:
    """Mean rating of each sample over tasters and attributes; on its first line."""
    return _each_sample(sample_row, ratings, 1, np.mean)


@column("tasting")
def spread(sample_row: Rows, ratings: Array) -> Array:
    """Standard deviation of each sample's ratings over tasters and attributes; on its first line."""
    return _each_sample(sample_row, ratings, 2, lambda values: np.std(values, ddof=1))


@column("tasting")
def tasters_counted(compared: Array, blocks: Blocks) -> Array:
    """How many tasters rated every sample."""
    return np.asarray(float(len(compared)) if len(blocks.samples) else np.nan)


@column("tasting")
def enough(compared: Array) -> bool:
    """Whether so many tasters of so many samples could show a difference at all."""
    count, samples = compared.shape
    return bool(samples >= 2 and count >= tastings.fewest_tasters(samples, LEVEL))


@column("tasting")
def p_value(compared: Array, enough: bool) -> Array:
    """How often (0 to 1) chance alone would set the samples as far apart: Friedman's rank test."""
    return np.asarray(tastings.friedman(compared).p_value if enough else np.nan)


@column("tasting")
def samples_differ(blocks: Blocks, enough: bool, p_value: Array) -> Any:
    """The verdict in words."""
    words = "not shown"
    if not len(blocks.samples):
        words = ""
    elif len(blocks.samples) < 2:
        words = "one sample"
    elif not enough:
        words = "too few"
    elif p_value <= LEVEL:
        words = "yes, clearly" if p_value <= STRICT else "yes"
    return np.array(words, dtype=object)


@column("tasting")
def best_sample(sample: Any, blocks: Blocks, compared: Array, p_value: Array) -> Any:
    """The sample that was ranked highest by all tasters together; blank where no difference is shown."""
    if not p_value <= LEVEL:
        return np.array("", dtype=object)
    sums = tastings.midranks(compared).sum(axis=0)
    best = blocks.samples[np.isclose(sums, sums.max())]
    return np.array(" and ".join(str(sample[row]) for row in best), dtype=object)


def _each_sample(sample_row: Rows, ratings: Array, least: int, fold: Any) -> Array:
    """Something taken over all ratings of a sample, if there are that many; on its first line."""
    folded = np.full(len(sample_row), np.nan)
    for rows in groups.members(sample_row):
        known = ratings[rows][np.isfinite(ratings[rows])]
        folded[rows[0]] = fold(known) if len(known) >= least else np.nan
    return folded


def _check_scale(key: str) -> None:
    """Declare the check of a mark below 1 or above 9."""

    def off_scale(rating: Array) -> tuple[Mask, dict[str, Any]]:
        words = np.array([f"{r:g}" for r in rating], dtype=object)
        return (rating < WORST) | (rating > BEST), {"rated": (words, key)}

    says = "{rated} is off the scale from 1 to 9; it was left out."
    advice = "Rate from 1, the worst, to 9, the best."
    add_check(f"{key}_off_scale", "tasting", key, "error", says, advice, off_scale, (key,))


for _mark in ("aroma", "taste", "smoothness"):
    _check_scale(_mark)


def _check_spelling(key: str, meant: str) -> None:
    """Declare the check of a name that stands once and is almost like another."""

    def spelled(near: Texts) -> tuple[Mask, dict[str, Any]]:
        return np.asarray(near != "", dtype=bool), {"near": (lots.may_be(near), "")}

    says = f"{{{key}}} stands here alone. {{near}}"
    advice = "If so, spell it as on the other lines."
    add_check(f"{key}_misspelled", "tasting", key, "warning", says, advice, spelled, (meant,))


_check_spelling("sample", "samples_meant")
_check_spelling("taster", "tasters_meant")


@check(
    "tasting",
    cell="taster",
    level="warning",
    says="{taster} has rated {sample} further up already; only that counts, not this.",
    advice="Look at taster and sample; delete one of the two lines.",
)
def rated_twice(again: Mask) -> Mask:
    """One taster, one sample, two lines."""
    return again


@check(
    "tasting",
    cell="taster",
    level="note",
    says="{taster} has not fully rated {missing}, and so does not count in the comparison of the samples.",
    advice="Have every taster rate every sample; rate aroma, taste or smoothness for all samples or for "
    "none.",
)
def incomplete_block(
    taster_row: Rows, sample: Any, blocks: Blocks, samples_meant: Texts, tasters_meant: Texts
) -> tuple[Mask, dict[str, Any]]:
    """The rank test takes tasters who rated every sample alike; said at the taster's first line, unless a
    name is misspelled."""
    wrong = np.zeros(len(taster_row), dtype=bool)
    if (samples_meant != "").any() or (tasters_meant != "").any():
        return wrong, {}
    words: Texts = np.full(len(taster_row), "", dtype=object)
    for taster, lacking in zip(blocks.tasters, blocks.lacking, strict=True):
        wrong[taster] = lacking.any()
        words[taster] = " and ".join(str(sample[row]) for row in blocks.samples[lacking])
    return wrong, {"missing": (words, "sample")}


@check(
    "tasting",
    cell="taster",
    level="note",
    says="With {count} of {samples} samples nothing can be told yet: it takes {needed} even if all of them "
    "agree.",
    advice="Ask more people to taste, or call the result a first impression.",
)
def too_few_tasters(
    taster: Any, blocks: Blocks, compared: Array, enough: bool, samples_meant: Texts
) -> tuple[Mask, dict[str, Any]]:
    """Chance alone would too often make so few tasters agree; said at the first line that is rated."""
    wrong = np.zeros(len(taster), dtype=bool)
    count, samples = compared.shape
    if enough or samples < 2 or (samples_meant != "").any():
        return wrong, {}
    wrong[blocks.tasters[0]] = True
    texts = {
        "count": f"{count} taster" if count == 1 else f"{count or 'no'} tasters",
        "samples": f"{samples}",
        "needed": f"{tastings.fewest_tasters(samples, LEVEL)}",
    }
    return wrong, {name: (np.array([text], dtype=object), "taster") for name, text in texts.items()}


@check(
    "tasting",
    cell="taster",
    level="warning",
    says="{taster} ranks the samples against all the others, who agree among themselves.",
    advice="Ask whether 9 was the best for this taster, too, and whether glasses were mixed up.",
)
def against_the_others(taster_row: Rows, blocks: Blocks, compared: Array) -> Mask:
    """Agrees with the others less than one in twenty panels holds a taster who ranks at random; and only
    where the others differ clearly between the samples without this taster."""
    wrong = np.zeros(len(taster_row), dtype=bool)
    count, samples = compared.shape
    if count < 3 or samples < 2:
        return wrong
    ranks = tastings.midranks(compared)
    for i, taster in enumerate(blocks.tasters[blocks.complete]):
        others = np.delete(ranks, i, axis=0)
        chance = tastings.agreement_tail(ranks[i], others.sum(axis=0)) * count
        if chance <= LEVEL and tastings.friedman(others).p_value <= STRICT:
            wrong[taster] = True
    return wrong
