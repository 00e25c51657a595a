"""Blends: what comes out, what a blank has to be, and what can't be done, whatever the order of the lines."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetcalc.compute import Values, findings
from sheetcalc.entries import Entries
from sheetcalc.files.locate import Found
from sheetcalc.layouts import every_sheet

Line = tuple[str, float | None, float | None, float | None, float | None]


def blend(*lines: Line) -> Values:
    """Lines of lot, volume, strength, wanted strength and wanted volume, None for a blank."""
    sheet = every_sheet()["blend"]
    keys = ("volume", "strength", "wanted_strength", "wanted_volume")
    values: dict[str, Any] = {"lot": np.array([line[0] for line in lines], dtype=object)}
    values |= {key: np.array([line[i] for line in lines], dtype=float) for i, key in enumerate(keys, start=1)}
    columns = {column.key: (1, place) for place, column in enumerate(sheet.columns)}
    found = Found("Blend", columns, {key: key for key in columns}, {}, 2, ())
    units = {column.key: column.unit.get("metric", "") for column in sheet.columns}
    return Values({"blend": Entries(sheet, found, tuple(range(2, 2 + len(lines))), values, units, ())})


def rules(values: Values) -> list[str]:
    return [finding.rule for finding in findings(values)]


def test_by_hand_from_sixty_to_forty_two() -> None:
    # By hand with OIML R 22: 0.7 L at 60 % vol weighs 0.636380 kg; 1 L at 42 % vol 0.944758 kg; the water is
    # 0.308378 kg, 0.3089 L; 8.9 mL vanish. Poured in are 1.0089 L, of which the spirit is 69.4 %.
    for water in (0.3089, None):
        values = blend(("A", 0.7, 60.0, 42.0, None), ("A", water, 0.0, None, None))
        assert values.get("blend", "blend_volume") == pytest.approx([1.0, np.nan], abs=1e-4, nan_ok=True)
        assert values.get("blend", "blend_strength") == pytest.approx([42.0, np.nan], abs=0.01, nan_ok=True)
        assert values.get("blend", "contraction") == pytest.approx([0.0089, np.nan], abs=5e-5, nan_ok=True)
        assert values.get("blend", "share") == pytest.approx([0.694, 0.306], abs=0.001)
        expected = [np.nan, np.nan if water else 0.3089]
        assert values.get("blend", "solved_volume") == pytest.approx(expected, abs=1e-4, nan_ok=True)


def test_a_wanted_volume_alone_and_both_wants() -> None:
    # The same balance: 0.7 L of 60 % vol and 0.3089 L of water make 1 L of 42 % vol.
    for lines in (
        [("A", 0.7, 60.0, None, 1.0), ("A", None, 0.0, None, None)],
        [("A", None, 60.0, None, 1.0), ("A", None, 0.0, 42.0, None)],
    ):
        values = blend(*lines)
        volumes = values.get("blend", "poured")
        assert volumes == pytest.approx([0.7, 0.3089], abs=1e-4)
        assert rules(values) == []


def test_a_blank_strength_is_found() -> None:
    # The same balance, read the other way round: what 0.7 L have to hold that 0.3089 L of water make it 42 %.
    values = blend(("A", 0.7, None, 42.0, None), ("A", 0.3089, 0.0, None, None))
    assert values.get("blend", "solved_strength") == pytest.approx([60.0, np.nan], abs=0.02, nan_ok=True)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.05, 50.0), st.floats(0.0, 96.0)), min_size=2, max_size=6),
    st.integers(0, 5),
    st.randoms(use_true_random=False),
)
def test_the_part_left_blank_is_found_in_any_order(
    parts: list[tuple[float, float]], place: int, chance: Any
) -> None:
    """A blend of known parts, then one volume rubbed out and the blend's volume wanted: it comes back."""
    blank = place % len(parts)
    whole = blend(*(("A", v, q, None, None) for v, q in parts))
    wanted = float(whole.get("blend", "blend_volume")[0])
    lines: list[Line] = [
        ("A", None if i == blank else v, q, None, wanted if i == 0 else None)
        for i, (v, q) in enumerate(parts)
    ]
    order = list(range(len(lines)))
    chance.shuffle(order)
    mixed = [line for i in order for line in (lines[i], ("B", 1.0, 40.0, None, None))]
    values = blend(*mixed)
    solved = values.get("blend", "solved_volume")
    assert np.nansum(solved) == pytest.approx(parts[blank][0], abs=1e-6 * wanted)
    assert np.isfinite(solved).sum() == 1
    at = [line[0] for line in mixed].index("A")
    expected = whole.get("blend", "blend_strength")[0]
    assert values.get("blend", "blend_strength")[at] == pytest.approx(expected, abs=1e-4)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0.01, 50.0), st.floats(0.0, 100.0)), min_size=1, max_size=6))
def test_alcohol_is_conserved_and_shares_make_a_whole(parts: list[tuple[float, float]]) -> None:
    values = blend(*(("A", v, q, None, None) for v, q in parts))
    alcohol = sum(v * q for v, q in parts)
    made = values.get("blend", "blend_volume")[0] * values.get("blend", "blend_strength")[0]
    assert made == pytest.approx(alcohol, rel=1e-8, abs=1e-8)
    assert values.get("blend", "share").sum() == pytest.approx(1.0)


def test_lots_are_told_apart_without_capitals_and_blanks() -> None:
    values = blend(
        ("A 1", 1.0, 40.0, None, None), (" a  1", 1.0, 50.0, None, None), ("", 9.0, 90.0, None, None)
    )
    assert values.get("blend", "first_row").tolist() == [0, 0, -1]
    assert np.isnan(values.get("blend", "blend_volume")[2])


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        # One part and nothing known beside it can't be led anywhere but to its own strength.
        ([("A", None, 60.0, 40.0, None)], ["one_part_only", "too_many_blanks"]),
        ([("A", None, 60.0, None, 1.0), ("A", None, 0.0, None, None)], ["too_many_blanks"] * 2),
        ([("A", 1.0, 60.0, None, 1.5), ("A", 0.5, None, None, None)], ["strength_unknown"]),
        (
            [("A", 1.0, 60.0, 40.0, None), ("A", None, None, None, None)],
            ["strength_unknown", "too_many_blanks"],
        ),
        # One slip, one flag: with a part of 116 % vol the blank is not blamed as well.
        ([("A", 1.0, 116.0, 40.0, None), ("A", None, 0.0, None, None)], ["above_azeotrope"]),
        # Within the 0.3 % vol that a label may be off (27 CFR 19.356) nothing is missed.
        ([("A", 1.0, 40.2, 40.0, None), ("A", 1.0, 40.2, None, None)], []),
        # A strength that is there already needs none of the blank part.
        ([("A", 1.0, 40.0, 40.0, None), ("A", None, 0.0, None, None)], []),
    ],
)
def test_what_is_said_of_odd_lots(lines: list[Line], expected: list[str]) -> None:
    assert sorted(rule for rule in rules(blend(*lines)) if rule != "catches_fire") == expected


def test_a_sheet_without_records_is_quiet() -> None:
    assert rules(blend()) == []
    assert blend().get("blend", "blend_volume").shape == (0,)
