"""Which lots go on from another line: one spirit brought down in steps is counted once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.stages import lots

NOWHERE = np.zeros(0)


def test_a_lot_brought_down_in_two_steps_goes_on() -> None:
    """1.9 L at 77 to 3.24 L at 45, of which 3.1 L to 3.5 L at 40; a jar of 0.7 L at 60 stands alone."""
    start, level = np.array([1.9, 0.7, 3.1]), np.array([77.0, 60.0, 45.2])
    given, becomes = np.array([3.24, 1.0, 3.5]), np.array([45.0, 42.0, 40.0])
    on = lots.goes_on(start, level, given, becomes, NOWHERE, NOWHERE, 1.15)
    assert list(on) == [False, False, True]


def test_more_than_the_first_step_gave_stands_alone() -> None:
    on = lots.goes_on([1.0, 5.0], [77.0, 45.0], [1.7, 5.6], [45.0, 40.0], NOWHERE, NOWHERE, 1.15)
    assert not on.any()


def test_spirit_out_of_the_filter_goes_on_though_weaker() -> None:
    on = lots.goes_on([1.9, 3.1], [77.0, 42.5], [3.24, 3.3], [45.0, 40.0], [3.15], [42.5], 1.15)
    assert list(on) == [False, True]


def test_a_lot_that_was_filtered_in_between_without_a_line_goes_on() -> None:
    """4.45 L at 53 to 4.95 L at 48; rinsed out of the filter it is at 46. Another lot there is another."""
    numbers = ([4.45, 4.9], [53.0, 46.0], [4.95, 5.4], [48.0, 42.0], NOWHERE, NOWHERE, 1.15)
    assert list(lots.goes_on(*numbers, np.array(["A", "a"], dtype=object))) == [False, True]
    assert list(lots.goes_on(*numbers, np.array(["A", "B"], dtype=object))) == [False, False]


def test_a_lot_goes_on_from_its_own_line_first() -> None:
    """Two lots alike in strength, each in two steps: neither takes the other's."""
    start, level = [0.88, 1.06, 1.10, 1.24], [56.4, 44.8, 53.3, 43.7]
    given, becomes = [1.08, 1.25, 1.30, 1.43], [46.0, 38.0, 45.0, 38.0]
    names = np.array(["second", "second", "third", "third"], dtype=object)
    on = lots.goes_on(start, level, given, becomes, NOWHERE, NOWHERE, 1.15, names)
    assert list(on) == [False, True, False, True]


@given(
    order=st.permutations(range(4)),
    level=st.floats(55.0, 90.0),
    volume=st.floats(0.2, 20.0),
    parts=st.floats(0.2, 0.8),
)
def test_the_order_of_the_lines_does_not_matter(
    order: list[int], level: float, volume: float, parts: float
) -> None:
    """Sorted in any way the same lots go on: two halves of a lot that was brought to 45, and one at 30."""
    start = np.array([volume, volume * parts, volume * (1 - parts), volume / 2])
    strength = np.array([level, 45.0, 45.0, 30.0])
    becomes = np.array([45.0, 40.0, 38.0, 25.0])
    gives = start * strength / becomes
    want = np.array([False, True, True, False])
    at = list(order)
    on = lots.goes_on(start[at], strength[at], gives[at], becomes[at], NOWHERE, NOWHERE, 1.15)
    assert list(on) == list(want[at])


def test_missing_sheets_and_blanks_go_on_from_nothing() -> None:
    nan = np.array(np.nan)
    assert not lots.goes_on(nan, nan, nan, nan, nan, nan, 1.15).any()
    assert len(lots.goes_on(NOWHERE, NOWHERE, NOWHERE, NOWHERE, nan, nan, 1.15)) == 0
    assert list(lots.names(nan, np.zeros(3))) == ["", "", ""]


def test_names_are_compared_without_case_and_outer_spaces() -> None:
    given = np.array([" Hearts", "hearts ", ""], dtype=object)
    assert list(lots.names(given, np.zeros(3))) == ["hearts", "hearts", ""]


def test_passes_and_portions_are_told_apart_by_what_there_was() -> None:
    """2 L of a lot: 2.0 and 1.95 L in are two passes, 1.0 and 1.0 L two portions."""
    names = np.array(["a", "a"], dtype=object)
    out = np.array([1.95, 1.9])
    assert lots.filtered(names, [2.0, 1.95], {"a": 2.0}, out)[0][2]
    assert not lots.filtered(names, [1.0, 1.0], {"a": 2.0}, out)[0][2]
    assert not lots.filtered(names, [2.0, 1.95], {}, out)[0][2]


def test_the_volume_of_a_lot_is_that_after_its_last_step() -> None:
    names = np.array(["a", "b", "a"], dtype=object)
    volumes = np.array([3.24, 1.0, 3.5])
    assert lots.volume_of("a", names, volumes, np.array([False, False, True])) == 3.5
    assert lots.volume_of("a", names, volumes, np.zeros(3, dtype=bool)) == pytest.approx(6.74)
    assert np.isnan(lots.volume_of("c", names, volumes, np.zeros(3, dtype=bool)))


@pytest.mark.parametrize(
    ("name", "near"),
    [
        ("To botle", "To bottle"),
        ("heart 2", "Hearts 2"),
        ("hearts 3", ""),
        ("unfiltered", ""),
        ("run 4", "4"),
        ("to  BOTTLE", ""),
        ("jar", ""),
    ],
)
def test_a_misspelled_name_is_taken_for_one_that_is_there_but_no_number_for_another(
    name: str, near: str
) -> None:
    known = np.array(["To bottle", "Hearts 2", "filtered", "4", "jars of 7", ""], dtype=object)
    assert list(lots.misspelled([name], known)) == [near]
