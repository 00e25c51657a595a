"""Ranks, chances and the tables of sensory tests, against scipy, printed tables and plain enumeration."""

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sheetcalc import tastings

# FAO, from Roessler et al.; ISO 4120 table A.1: tastings -> fewest correct for 5 % and for 1 %.
TRIANGLE = {
    6: (5, 6),
    8: (6, 7),
    10: (7, 8),
    12: (8, 9),
    15: (9, 10),
    18: (10, 12),
    24: (13, 15),
    30: (15, 17),
    36: (18, 20),
    42: (20, 22),
    48: (22, 25),
    60: (27, 30),
}

# Hollander and Wolfe, rounding first base: 22 players, three ways, seconds (from memory; it is printed in
# the handbooks of several statistics programs). Ties occur.
BASES = [
    *((5.40, 5.50, 5.55), (5.85, 5.70, 5.75), (5.20, 5.60, 5.50), (5.55, 5.50, 5.40), (5.90, 5.85, 5.70)),
    *((5.45, 5.55, 5.60), (5.40, 5.40, 5.35), (5.45, 5.50, 5.35), (5.25, 5.15, 5.00), (5.85, 5.80, 5.70)),
    *((5.25, 5.20, 5.10), (5.65, 5.55, 5.45), (5.60, 5.35, 5.45), (5.05, 5.00, 4.95), (5.50, 5.50, 5.40)),
    *((5.45, 5.55, 5.50), (5.55, 5.55, 5.35), (5.45, 5.50, 5.55), (5.50, 5.45, 5.25), (5.65, 5.60, 5.40)),
    *((5.70, 5.65, 5.55), (6.30, 6.30, 6.25)),
]


def tables(tasters: st.SearchStrategy[int], samples: st.SearchStrategy[int]) -> st.SearchStrategy[np.ndarray]:
    """Ratings from 1 to 4, so with many ties."""

    def ratings(shape: tuple[int, int]) -> st.SearchStrategy[np.ndarray]:
        rows = st.lists(st.integers(1, 4), min_size=shape[1], max_size=shape[1])
        return st.lists(rows, min_size=shape[0], max_size=shape[0]).map(lambda r: np.array(r, dtype=float))

    return st.tuples(tasters, samples).flatmap(ratings)


def enumerated(ranks: np.ndarray) -> float:
    """The chance of rank sums as far apart, every order of every taster's ranks gone through."""
    observed = (ranks.sum(axis=0) ** 2).sum()
    orders = [list(itertools.permutations(row)) for row in ranks]
    sums = [np.sum(case, axis=0) for case in itertools.product(*orders)]
    return float(np.mean([(total**2).sum() >= observed - 1e-9 for total in sums]))


def no_ties(tasters: int, samples: int) -> np.ndarray:
    """Ranks with the statistic at its largest: everybody agrees."""
    return np.tile(np.arange(1.0, samples + 1), (tasters, 1))


def test_the_triangle_table() -> None:
    sizes = list(TRIANGLE)
    assert tastings.fewest_correct(sizes, 0.05).tolist() == [five for five, _ in TRIANGLE.values()]
    assert tastings.fewest_correct(sizes, 0.01).tolist() == [one for _, one in TRIANGLE.values()]


@given(st.integers(1, 300), st.floats(0.0, 1.0))
def test_guessing_against_scipy(count: int, share: float) -> None:
    correct = round(share * count)
    expected = stats.binomtest(correct, count, 1 / 3, alternative="greater").pvalue
    assert tastings.guessing_tail(correct, count) == pytest.approx(expected, rel=1e-9)


@given(st.integers(1, 1000), st.sampled_from([0.05, 0.01]))
def test_one_correct_answer_less_is_not_enough(count: int, level: float) -> None:
    fewest = float(tastings.fewest_correct(count, level))
    if math.isnan(fewest):
        assert tastings.guessing_tail(count, count) > level
    else:
        assert tastings.guessing_tail(fewest, count) <= level < tastings.guessing_tail(fewest - 1, count)


def test_what_is_no_count_has_no_chance() -> None:
    assert np.isnan(tastings.guessing_tail([1.5, -1, 7, 1, 1, np.nan], [6, 6, 6, 6.5, 0, 6])).all()
    assert np.isnan(tastings.guessing_tail(1.0, [1001, np.inf])).all()
    # By hand: (1/3)^2 = 0.11, (1/3)^3 = 0.037; (1/3)^4 = 0.0123, (1/3)^5 = 0.0041.
    assert np.isnan(tastings.fewest_correct([0, 1, 2, 6.5], 0.05)).all()
    assert tastings.fewest_correct(3, 0.05) == 3
    assert np.isnan(tastings.fewest_correct(4, 0.01))
    assert tastings.fewest_correct(5, 0.01) == 5
    assert tastings.fewest_correct([], 0.05).shape == (0,)


@given(st.lists(st.integers(1, 5), min_size=1, max_size=12))
def test_midranks_against_scipy(values: list[int]) -> None:
    assert tastings.midranks(values).tolist() == stats.rankdata(values).tolist()


@given(st.floats(0.0, 200.0), st.integers(1, 30))
def test_chi_square_against_scipy(statistic: float, freedom: int) -> None:
    expected = stats.chi2.sf(statistic, freedom)
    assert tastings.chi_square_tail(statistic, freedom) == pytest.approx(expected, rel=1e-9, abs=1e-300)


@settings(deadline=None)
@given(tables(st.integers(3, 12), st.integers(3, 6)))
def test_friedman_statistic_against_scipy(scores: np.ndarray) -> None:
    found = tastings.friedman(scores)
    if np.ptp(scores, axis=1).any():
        expected = stats.friedmanchisquare(*scores.T)
        assert found.statistic == pytest.approx(expected.statistic, rel=1e-9, abs=1e-9)
        if not found.exact:
            assert found.p_value == pytest.approx(expected.pvalue, rel=1e-9)
    else:
        assert found.p_value == 1.0


def test_friedman_on_the_first_bases() -> None:
    found = tastings.friedman(BASES)
    # Chi-square 11.143, as those handbooks print it; its chance by chi-square is 0.0038.
    assert found.statistic == pytest.approx(11.143, abs=0.0005)
    assert tastings.chi_square_tail(found.statistic, 2) == pytest.approx(0.003805, abs=5e-7)
    assert found.exact
    # No approximation is off by half with 22 tasters.
    assert found.p_value == pytest.approx(0.0038, rel=0.5)


def test_many_tasters_are_compared_by_chi_square() -> None:
    scores = np.random.default_rng(5).integers(1, 10, (60, 6)).astype(float)
    found = tastings.friedman(scores)
    assert not found.exact
    assert found.p_value == pytest.approx(stats.friedmanchisquare(*scores.T).pvalue, rel=1e-9)


@settings(deadline=None, max_examples=40)
@given(
    st.one_of(
        tables(st.integers(2, 4), st.integers(2, 3)),
        tables(st.just(3), st.just(4)),
        tables(st.just(2), st.just(5)),
    )
)
def test_exact_friedman_against_enumeration(scores: np.ndarray) -> None:
    expected = enumerated(tastings.midranks(scores))
    assert tastings.friedman(scores).p_value == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("tasters", "samples", "sums", "chance"),
    [
        # Printed tables of Friedman's test (from memory): samples 3, tasters 3, statistic 6.0;
        # tasters 4, 6.5 and 8.0; tasters 5, 6.4; samples 4, tasters 2, 6.0; tasters 3, 7.4.
        (3, 3, (3, 6, 9), 0.028),
        (4, 3, (5, 7, 12), 0.042),
        (4, 3, (4, 8, 12), 0.005),
        (5, 3, (6, 10, 14), 0.039),
        (2, 4, (2, 4, 6, 8), 0.042),
        (3, 4, (4, 5, 10, 11), 0.033),
    ],
)
def test_exact_friedman_against_the_printed_table(
    tasters: int, samples: int, sums: tuple[int, ...], chance: float
) -> None:
    orders = list(itertools.permutations(range(1, samples + 1)))
    ranks = next(
        case
        for case in itertools.combinations_with_replacement(orders, tasters)
        if sorted(np.sum(case, axis=0)) == list(sums)
    )
    assert tastings.friedman(ranks).p_value == pytest.approx(chance, abs=0.0006)


@pytest.mark.parametrize("samples", [2, 3, 4, 5])
def test_fewest_tasters_are_those_whose_full_agreement_is_rare(samples: int) -> None:
    fewest = tastings.fewest_tasters(samples, 0.05)
    assert tastings.friedman(no_ties(fewest, samples)).p_value <= 0.05
    assert tastings.friedman(no_ties(fewest - 1, samples)).p_value > 0.05


def test_nothing_to_compare_is_no_difference() -> None:
    for scores in (np.zeros((0, 0)), np.ones((1, 4)), np.ones((5, 1)), np.ones((5, 3))):
        assert tastings.friedman(scores).p_value == 1.0


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(1, 4), min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_agreement_against_enumeration(ratings: list[int], chance: random.Random) -> None:
    ranks = tastings.midranks(ratings)
    others = [float(chance.randint(5, 30)) for _ in ratings]
    products = [float(np.dot(order, others)) for order in itertools.permutations(ranks)]
    expected = np.mean([product <= float(np.dot(ranks, others)) + 1e-9 for product in products])
    assert tastings.agreement_tail(ranks, others) == pytest.approx(expected, abs=1e-9)


def test_a_reversed_order_is_one_in_all_orders() -> None:
    # By hand: of 5! = 120 orders only the reversed one agrees as little.
    assert tastings.agreement_tail([5, 4, 3, 2, 1], [4, 8, 12, 16, 20]) == pytest.approx(1 / 120)
    assert math.isnan(tastings.agreement_tail(np.arange(9), np.arange(9)))
