"""Tastings: which ratings count, what they come to, and when the samples differ."""

from typing import Any

import numpy as np
import pytest

from sheetcalc.stages import groups, triangle
from sheetcalc.stages import tasting as stage

Given = list[tuple[str, str, float, float, float]]


def blocks(given: Given) -> tuple[np.ndarray, np.ndarray, stage.Blocks]:
    """Sample rows, ratings and blocks of lines of sample, taster and three ratings."""
    sample, taster = (groups.first_rows([line[i] for line in given]) for i in (0, 1))
    numbers = np.array([line[2:] for line in given], dtype=float).reshape(-1, 3)
    aroma, taste, smoothness = numbers.T
    ratings = stage.ratings(aroma, taste, smoothness, stage.again(sample, taster))
    return sample, ratings, stage.blocks(sample, taster, ratings)


def verdict(given: Given) -> tuple[str, str, Any]:
    """Do they differ, the highest ranked, the chance."""
    *_, table = blocks(given)
    compared = stage.compared(table)
    enough = stage.enough(compared)
    chance = stage.p_value(compared, enough)
    names: Any = np.array([line[0] for line in given], dtype=object)
    best = stage.best_sample(names, table, compared, chance)
    return str(stage.samples_differ(table, enough, chance)), str(best), float(chance)


def panel(*tasters: str) -> Given:
    """A letter a sample in the order of liking, a word a taster, the best last."""
    return [
        (sample, f"taster {number}", rank, rank, rank)
        for number, order in enumerate(tasters)
        for rank, sample in enumerate(order, start=1)
    ]


def test_mean_and_spread_by_hand() -> None:
    # By hand: A has 5 6 7 8, mean 6.5, squares about it 2 x 2.25 + 2 x 0.25 = 5, 5/3 = 1.667, root 1.291.
    sample, ratings, _ = blocks([("A", "x", 5, 6, np.nan), ("B", "x", 4, 4, 4), ("a", "y", 7, 8, np.nan)])
    assert stage.mean(sample, ratings) == pytest.approx([6.5, 4.0, np.nan], nan_ok=True)
    assert stage.spread(sample, ratings) == pytest.approx([1.291, 0.0, np.nan], abs=5e-4, nan_ok=True)


def test_full_agreement_of_three_on_three_is_one_in_thirty_six() -> None:
    # By hand: the two others agree with the first in 1 of 6 x 6 cases.
    assert verdict(panel("BCA", "BCA", "BCA")) == ("yes", "A", pytest.approx(1 / 36))


def test_four_who_agree_on_four_differ_clearly() -> None:
    # By hand: 1 of 24^3 cases.
    assert verdict(panel(*["ABCD"] * 4)) == ("yes, clearly", "D", pytest.approx(24.0**-3))


def test_two_tasters_of_three_samples_are_too_few() -> None:
    # By hand: even full agreement comes by chance in 1 of 6 cases.
    assert verdict(panel("ABC", "ABC"))[0] == "too few"


def test_who_disagree_show_nothing() -> None:
    words, best, chance = verdict(panel("ABC", "CBA", "BCA", "ACB"))
    assert (words, best) == ("not shown", "")
    assert chance > 0.3


def test_one_sample_is_no_comparison() -> None:
    assert verdict(panel("A", "A"))[0] == "one sample"
    assert verdict([]) == ("", "", pytest.approx(np.nan, nan_ok=True))


def test_only_those_who_rated_every_sample_on_the_same_attributes_count() -> None:
    given = panel("ABC", "ABC", "ABC")
    given.append(("A", "late", 5, 5, 5))
    given += [
        (sample, "no nose", np.nan, rating, rating) for sample, rating in zip("ABC", (3, 2, 4), strict=True)
    ]
    given += [("A", "patchy", 5, 5, np.nan), ("B", "patchy", 5, 5, 5), ("C", "patchy", 5, 5, 5)]
    *_, table = blocks(given)
    assert table.complete.tolist() == [True, True, True, False, True, False]
    assert table.lacking[3].tolist() == [False, True, True]


def test_what_is_off_the_scale_or_rated_again_does_not_count() -> None:
    _, ratings, _ = blocks([("A", "x", 5, 10, 0), ("A", "X ", 9, 9, 9), ("A", "y", 1, 9, 5.5)])
    assert ratings.tolist()[2] == [1, 9, 5.5]
    assert np.isnan(ratings[0]).tolist() == [False, True, True]
    assert np.isnan(ratings[1]).all()


def test_who_rate_high_or_low_throughout_make_no_difference() -> None:
    """Only ranks within a taster count: a strict taster says the same as a mild one."""
    given = panel("BCA", "BCA", "CBA", "BCA")
    moved = [(s, t, a + int(t[-1]), b + int(t[-1]), c + int(t[-1])) for s, t, a, b, c in given]
    assert verdict(moved) == verdict(given)


def against(given: Given) -> list[bool]:
    *_, table = blocks(given)
    rows = groups.first_rows([line[1] for line in given])
    flagged = stage.against_the_others(rows, table, stage.compared(table))
    return [bool(flagged[row]) for row in table.tasters]


def test_a_turned_scale_is_seen_with_six_samples_but_not_with_four() -> None:
    # By hand: a random order is as far from the others' in 1 of 720 cases, one of five tasters in 1 of 144;
    # with four samples in 1 of 24, one of five in 1 of 5.
    assert against(panel(*["ABCDEF"] * 4, "FEDCBA")) == [False] * 4 + [True]
    assert against(panel(*["ABCD"] * 4, "DCBA")) == [False] * 5


def test_nobody_is_against_others_who_do_not_agree() -> None:
    assert not any(against(panel("ABCDEF", "FEDCBA", "CDEABF", "BADCFE")))


def test_no_more_than_one_panel_in_twenty_holds_a_taster_against_the_others() -> None:
    """Panels that rank at random: hardly ever is one of them called out."""
    chance = np.random.default_rng(11)
    flagged = [
        any(against(panel(*("".join(chance.permutation(list("ABCDE"))) for _ in range(5)))))
        for _ in range(200)
    ]
    assert np.mean(flagged) <= 0.05


def test_triangle_verdicts_by_the_printed_table() -> None:
    # FAO, from Roessler et al.; ISO 4120 table A.1: of 12 it takes 8 (5 %) and 9 (1 %), of 18 10 and 12.
    tastings, correct = np.array([12, 12, 12, 18, 18, 2, np.nan]), np.array([7, 8, 9, 9, 12, 2, 5.0])
    chances = triangle.p_value(tastings, correct)
    assert triangle.verdict(tastings, chances).tolist() == [
        "no difference shown",
        "they differ",
        "they differ, clearly",
        "no difference shown",
        "they differ, clearly",
        "too few to tell",
        "",
    ]
    assert triangle.needed(tastings)[:5].tolist() == [8, 8, 8, 10, 10]
    assert triangle.needed_strict(tastings)[:5].tolist() == [9, 9, 9, 12, 12]
