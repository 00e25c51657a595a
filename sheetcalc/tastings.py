"""What tastings prove: whether samples differ, and how often chance alone would show as much.

Ratings are compared by Friedman's rank test, pair tastings by the triangle test. Both are exact wherever the
number of cases can be gone through in a moment.
"""

import itertools
import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# Of rank sums gone through in one step of the exact Friedman test: about a quarter of a second.
_MOST_CASES = 500_000
# The triangle test is summed term by term.
MOST_TASTINGS = 1000
# 8! orders are gone through in a moment.
_MOST_SAMPLES = 8


class Friedman(NamedTuple):
    """Friedman's test: the statistic (chi-square, corrected for ties), the chance of one as large or larger
    if the samples do not differ, and whether that chance is exact."""

    statistic: float
    p_value: float
    exact: bool


def midranks(values: ArrayLike) -> Array:
    """Ranks along the last axis from 1 for the least; equal values share the mean of their ranks.

    values: any shape. Source: Hollander, Wolfe, Chicken, Nonparametric Statistical Methods (from memory).
    """
    v = np.asarray(values, dtype=np.float64)
    below = (v[..., None, :] < v[..., :, None]).sum(axis=-1)
    alike = (v[..., None, :] == v[..., :, None]).sum(axis=-1)
    return np.asarray(below + (alike + 1) / 2.0)


def friedman(scores: ArrayLike) -> Friedman:
    """Whether the samples differ, by the ranks that each taster gives them.

    scores: tasters x samples, none blank. The chance is that over all orders of each taster's ranks, ties
    kept, where they can be counted; else by chi-square with one degree less than samples. With fewer than two
    tasters or samples, or nothing but ties, the chance is 1.
    Source: Friedman, JASA 32 (1937) 675; correction for ties as in Hollander, Wolfe, Chicken (from memory).
    """
    ranks = midranks(scores)
    tasters, samples = ranks.shape
    # The variance of a rank within each taster, ties and all, summed.
    scatter = ((ranks - (samples + 1) / 2.0) ** 2).sum() / max(samples - 1, 1)
    if tasters < 2 or samples < 2 or scatter == 0.0:
        return Friedman(0.0, 1.0, True)
    sums = ranks.sum(axis=0)
    statistic = float(((sums - tasters * (samples + 1) / 2.0) ** 2).sum() / scatter)
    exact = _exact_friedman(np.rint(2.0 * ranks).astype(np.int64))
    if exact is None:
        return Friedman(statistic, chi_square_tail(statistic, samples - 1), False)
    return Friedman(statistic, exact, True)


def _exact_friedman(ranks: Whole) -> float | None:
    """The chance of rank sums as far apart, every order of each taster's (doubled) ranks alike likely.

    Only the rank sums reached and their chances are kept, in rising order, for it does not matter which
    sample has which. None where that is too much to go through.
    """
    tasters, samples = ranks.shape
    base = 2 * tasters * samples + 1
    if math.factorial(samples) > _MOST_CASES or base ** (samples - 1) >= 2**62:
        return None
    places = base ** np.arange(samples - 1, dtype=np.int64)
    reached = np.sort(ranks[:1], axis=1)
    chances: Array = np.ones(1)
    for taster in ranks[1:]:
        orders, times = _orders(tuple(sorted(taster.tolist())))
        if len(reached) * len(orders) > _MOST_CASES:
            return None
        sums = np.sort((reached[:, None, :] + orders[None, :, :]).reshape(-1, samples), axis=1)
        # All sums of a step have the same total, so the last one need not be told apart.
        _, first, which = np.unique(sums[:, :-1] @ places, return_index=True, return_inverse=True)
        reached = sums[first]
        chances = np.asarray(np.bincount(which.ravel(), np.outer(chances, times).ravel()), dtype=np.float64)
    observed = (ranks.sum(axis=0) ** 2).sum()
    return float(min(chances[(reached**2).sum(axis=1) >= observed].sum(), 1.0))


def _orders(ranks: tuple[int, ...]) -> tuple[Whole, Array]:
    """The different orders of some ranks, and the chance of each."""
    orders = np.array(sorted(set(itertools.permutations(ranks))), dtype=np.int64)
    return orders, np.full(len(orders), 1.0 / len(orders))


def fewest_tasters(samples: int, level: float) -> int:
    """Fewest tasters who can show a difference at all, in full agreement: (samples!)^(1 - tasters) <= level.

    samples: 2 or more; level: 0..1.
    """
    tasters = 2
    while math.factorial(samples) ** (tasters - 1) * level < 1.0:
        tasters += 1
    return tasters


def chi_square_tail(statistic: float, freedom: int) -> float:
    """Chance of a chi-square as large or larger.

    statistic: >= 0; freedom: whole degrees, >= 1. Source: Abramowitz, Stegun 26.4.4 and 26.4.5.
    """
    half = statistic / 2.0
    if half <= 0.0:
        return 1.0
    odd = freedom % 2
    tail = math.erfc(math.sqrt(half)) if odd else math.exp(-half)
    for step in range(1, (freedom + 1) // 2):
        power = step - 0.5 if odd else float(step)
        tail += math.exp(power * math.log(half) - half - math.lgamma(power + 1.0))
    return min(tail, 1.0)


def agreement_tail(ranks: ArrayLike, others: ArrayLike) -> float:
    """Chance that a taster who ranks at random agrees as little, or less, with the rank sums of the others.

    ranks: of one taster, samples long, ties allowed; others: rank sums of the other tasters. Exact over all
    orders of the ranks; NaN beyond 8 samples. With few samples it can't be small: at least 1 in (samples!).
    """
    own, sums = np.asarray(ranks, dtype=np.float64), np.asarray(others, dtype=np.float64)
    if not 2 <= len(own) <= _MOST_SAMPLES:
        return math.nan
    orders, chances = _orders(tuple(np.rint(2.0 * np.sort(own)).astype(int).tolist()))
    return float(chances[orders @ sums <= 2.0 * own @ sums + 1e-9].sum())


def guessing_tail(correct: ArrayLike, tastings: ArrayLike) -> Array:
    """Chance of as many correct answers, or more, by guessing in a triangle test: one of three is right.

    correct: whole, 0..tastings; tastings: whole, 1..1000; broadcast; NaN outside and for fractions.
    Source: binomial with p = 1/3, as ISO 4120.
    """
    pairs = np.broadcast(correct, tastings)
    return np.array([_guessing(float(c), float(n)) for c, n in pairs]).reshape(pairs.shape)


def fewest_correct(tastings: ArrayLike, level: float) -> Array:
    """Fewest correct answers in a triangle test that guessing reaches with at most a chance of `level`.

    tastings: whole, 1..1000, any shape; NaN outside, for fractions, and where not even all would do.
    Source: binomial with p = 1/3, as ISO 4120 table A.1.
    """
    counts = np.asarray(tastings, dtype=np.float64)
    return np.array([_fewest(float(n), level) for n in counts.flat]).reshape(counts.shape)


def _guessing(correct: float, tastings: float) -> float:
    if not (_is_count(tastings) and tastings > 0 and _is_count(correct) and correct <= tastings):
        return math.nan
    n = int(tastings)
    cases = sum(math.comb(n, k) * 2 ** (n - k) for k in range(int(correct), n + 1))
    return float(cases / 3**n)


def _fewest(tastings: float, level: float) -> float:
    if not (_is_count(tastings) and tastings > 0):
        return math.nan
    n = int(tastings)
    correct, cases = n + 1, 0
    while correct > 0:
        cases += math.comb(n, correct - 1) * 2 ** (n - correct + 1)
        if cases / 3**n > level:
            break
        correct -= 1
    return float(correct) if correct <= n else math.nan


def _is_count(value: float) -> bool:
    return 0 <= value <= MOST_TASTINGS and value == int(value)
