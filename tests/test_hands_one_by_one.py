"""What people do to a workbook, a few things at a time, in LibreOffice: the next fill finds all, harms nothing,
and says in one sentence what it can't find.

Each document was filled, got other entries, went through somebody's hands (office_acts.py) and is filled again;
the reference is a workbook with the same entries that nobody touched.
"""

import tomllib
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

import pytest
from test_peoples_hands import SCENARIO

pytestmark = pytest.mark.office

ENDINGS = ("xlsx", "ods")
SHEETS = ("batch", "instruments", "recipe", "fermentation", "runs", "strength", "findings")
LATER = (
    ("batch", None, "original_gravity", 1.082),
    ("instruments", 0, "zero_reading", 1.002),
    ("recipe", 0, "amount", 4.9),
    ("fermentation", 2, "reading", 1.055),
    ("fermentation", 3, "wash_temperature", 38),
    ("runs", 1, "collected_reading", 44),
    ("strength", 0, "volume", 1.9),
)

Typed = dict[str, Any]


def typed() -> Typed:
    """The entries of the scenario's sugar wash on the sheets that the hands touch."""
    scenario = tomllib.loads(SCENARIO.read_text(encoding="utf-8"))
    workbook = next(book for book in scenario["workbooks"] if book["file"] == "birch-sugar")
    return {key: workbook[key] for key in SHEETS if key in workbook}


def records(entries: Typed, sheet: str) -> Any:
    """The records of a sheet."""
    return entries[sheet]["records"] if isinstance(entries[sheet], dict) else entries[sheet]


def typed_later() -> Typed:
    """The entries after some were corrected; every sheet's results change."""
    later = deepcopy(typed())
    for sheet, number, key, value in LATER:
        (later[sheet] if number is None else records(later, sheet)[number])[key] = value
    return later


@dataclass(frozen=True)
class Document:
    """What the hands did, one act after the other, and what has to come of it."""

    acts: tuple[tuple[Any, ...], ...]
    # What was said beside what is said of the untouched workbook: rule, sheet.
    said: tuple[tuple[str, str], ...] = ()
    # What of it is not said any more.
    unsaid: tuple[tuple[str, str], ...] = ()
    # Columns and lines that are gone, or that stay blank for want of what is gone.
    gone: dict[str, tuple[str, ...]] = field(default_factory=dict)
    # Headings and labels as they are called now.
    words: dict[str, str] = field(default_factory=dict)
    # What the hands did to the entries.
    entries: Callable[[Typed], None] = lambda entries: None


def without(sheet: str, *keys: str) -> Callable[[Typed], None]:
    """Nothing typed in these columns."""

    def drop(entries: Typed) -> None:
        for record in records(entries, sheet):
            for key in keys:
                record.pop(key, None)

    return drop


DOCUMENTS = {
    "rows and columns between": Document(
        (
            ("insert_rows", "fermentation_taken_at", -2, 3),
            ("insert_rows", "fermentation_taken_at", 0, 1),
            ("insert_columns", "fermentation_sample_temperature", 2, "Weather"),
            ("insert_columns", "fermentation_taken_at", 1, "No."),
            ("insert_columns", "fermentation_flags", 1, "Mood"),
            ("insert_rows", "runs_run", 1, 1),
            ("insert_rows", "strength_lot", 3, 2),
            ("insert_rows", "batch_yeast_tolerance", 0, 2),
            ("insert_columns", "batch_yeast_tolerance", 1, ""),
            ("insert_rows", "recipe_item", -1, 1),
            ("insert_rows", "instruments_instrument", 2, 1),
        )
    ),
    "rows and columns gone": Document(
        (
            ("delete_rows", "fermentation_taken_at", -3, 3),
            ("delete_column", "fermentation_note"),
            ("delete_column", "runs_stages_seen"),
            ("delete_column", "runs_flags"),
            ("delete_rows", "strength_lot", 3, 1),
            ("delete_rows", "batch_bottle_price", 0, 1),
            ("delete_rows", "recipe_stoichiometric_alcohol", 0, 1),
        )
    ),
    "needed columns gone": Document(
        (
            ("delete_column", "fermentation_reading"),
            ("delete_column", "strength_temperature"),
            ("delete_rows", "batch_original_gravity", 0, 1),
        )
    ),
    "columns moved": Document(
        (
            ("move_before", "fermentation_wash_temperature", "fermentation_reading"),
            ("move_before", "runs_flags", "runs_run"),
            ("move_before", "runs_recovery", "runs_kind"),
            ("drag_table", "strength_lot", "strength_flags", 40, 3, 2),
            ("drag_table", "batch_batch_code", "batch_batch_code", 40, 0, 0),
        )
    ),
    "other alphabets": Document(
        (
            ("rename_sheet", "Fermentation", "Брожение"),
            ("rename_sheet", "Runs", "蒸留 & <1>"),
            ("rename_sheet", "Strength", 'Tom\'s "сила"'),
            ("rename_sheet", "Batch", "Παρτίδα.2026"),
            ("write", "fermentation_reading", 0, 0, "Показание"),
            ("write", "fermentation_taken_at", 0, 0, "Дата\nи время"),
            ("write", "runs_run", 0, 0, "回"),
            ("write", "runs_collected_alcohol", 0, 0, "Alkohol 🥃"),
            ("write", "strength_lot", 0, 0, "שם"),
            ("write", "batch_wash_volume", 0, -1, "Όγκος"),
        )
    ),
    "sorted filtered hidden": Document(
        (
            ("sort", "fermentation_taken_at", "fermentation_taken_at", "fermentation_flags", 2, 12, False),
            ("sort", "strength_volume", "strength_lot", "strength_flags", 2, 2, False),
            ("filter_by", "runs_run", "runs_flags", "runs_kind", 4, "stripping"),
            ("hide", "fermentation_gravity_20", 4, 2),
            ("group", "strength_volume", 2, 1, 2),
            ("freeze", "Fermentation", 2, 7),
            ("hide_sheet", "Instruments"),
            ("hide_sheet", "Findings"),
        )
    ),
    "sorted with the unit row": Document(
        (
            ("sort", "strength_volume", "strength_lot", "strength_flags", 1, 3, True),
            ("sort", "fermentation_taken_at", "fermentation_taken_at", "fermentation_flags", 1, 13, False),
        )
    ),
    "sorted with the headings": Document((("sort", "runs_run", "runs_run", "runs_flags", 0, 6, True),)),
    "merged marked protected": Document(
        (
            ("merge", "fermentation_taken_at", -2, 0, 1, 3),
            ("merge", "fermentation_state", 4, 0, 1, 2),
            ("merge", "runs_kind", 5, 0, 2, 1),
            ("merge", "strength_flags", 0, 0, 1, 2),
            ("mark", "fermentation_gravity_20", "fermentation_alcohol", 12),
            ("mark", "runs_collected_alcohol", "runs_recovery", 4),
            ("protect", "Strength", "secret"),
            ("protect", "Runs", ""),
        )
    ),
    "copied": Document(
        (
            ("copy_sheet", "Runs", "Runs_2", 5),
            ("write_at", "Runs_2", "A6", "other"),
            ("copy_sheet", "Batch", "Batch old", 0),
            ("rename_sheet", "Strength", "Dilution"),
            ("copy_sheet", "Dilution", "Second", 0),
        )
    ),
    "copy instead": Document(
        (
            ("write", "runs_run", 0, 0, "回"),
            ("write", "runs_charge_volume", 0, 0, "量"),
            ("copy_sheet", "Runs", "Runs_2", 5),
            ("delete_sheet", "Runs"),
            ("rename_sheet", "Runs_2", "蒸留"),
        )
    ),
    "headings pasted over": Document(
        (
            ("paste", "runs_charge_volume", 0, 0, "runs_charge_strength", 0, 0),
            ("write", "strength_reading", 0, 0, "Volume"),
            ("write", "fermentation_reading", 0, 0, "Wash temperature"),
            ("write", "fermentation_wash_temperature", 0, 0, "Reading"),
            ("write", "batch_still_minimum", 0, -1, "Still capacity"),
        )
    ),
    "values pasted": Document(
        (
            ("paste_values", "fermentation_taken_at", "fermentation_flags", 60),
            ("paste_values", "runs_charge_alcohol", "runs_flags", 4),
            ("write", "strength_water_mass", 2, 0, 5.0),
            ("write", "strength_water_volume", 2, 0, "none"),
            ("write_formula", "runs_recovery", 3, 0, "=1+1"),
        )
    ),
    "dragged": Document(
        (
            ("drag", "fermentation_reading", 4, 0, "fermentation_flags", 4, 3),
            ("drag", "fermentation_alcohol", 5, 0, "fermentation_flags", 5, 3),
            ("drag", "runs_collected_volume", 0, 0, "runs_collected_reading", 0, 0),
            ("drag", "strength_volume", 0, 0, "strength_volume", -2, 0),
            ("drag", "batch_wash_volume", 0, 0, "batch_wash_volume", 0, 8),
        )
    ),
    "units": Document(
        (
            ("write", "runs_collected_volume", 1, 0, ""),
            ("write", "fermentation_reading", 1, 0, ""),
            ("write", "fermentation_gravity_20", 1, 0, "buckets"),
            ("write", "strength_volume", 1, 0, " l "),
            ("write", "strength_temperature", 1, 0, "° c"),
            ("write", "batch_wash_volume", 0, 1, "barrels"),
            ("write", "batch_original_gravity", 0, 1, ""),
            ("write", "instruments_reference_temperature", 1, 0, ""),
            ("write", "instruments_zero_temperature", 1, 0, "warm"),
        )
    ),
    "sheets gone": Document((("delete_sheet", "Batch"),)),
    "sheets gone 2": Document(
        (
            ("delete_sheet", "Instruments"),
            ("delete_sheet", "Findings"),
            ("delete_sheet", "Fermentation"),
        )
    ),
    "own sheets": Document(
        (
            ("add_name", "mein_Name", "Runs", "M6"),
            ("add_name", "runs", "Runs", "A4"),
            (
                "add_sheet",
                "Mine",
                [
                    "=SUM($Runs.M6:M9)",
                    "=mein_Name*2",
                    '=$Strength.G6&" %"',
                    "=SUM($Runs.M$1:M$99)",
                    "=runs_run",
                ],
                "fermentation_gravity_20",
            ),
            ("write_formula", "runs_charge_volume", 6, 0, "=SUM(C6:C9)"),
            ("write", "runs_run", 6, 0, "Total"),
            ("write_formula", "runs_collected_alcohol", 6, 0, "=SUM(M6:M9)"),
        )
    ),
    "replaced": Document(
        (
            ("replace_all", "Volume", "Menge"),
            ("replace_all", "Alcohol", "Sprit"),
        )
    ),
    "german 1904": Document(
        (
            ("in_german",),
            ("count_days_from", 1904),
        )
    ),
    "names gone": Document(
        (
            ("lose_names", ""),
            ("rename_sheet", "Runs", "Brennen"),
            ("rename_sheet", "Batch", "Sud"),
        )
    ),
    "names gone, copies": Document(
        (
            ("copy_sheet", "Runs", "Runs_2", 5),
            ("lose_names", ""),
            ("rename_sheet", "Runs", "Runs old"),
        )
    ),
    "headings row gone": Document((("delete_rows", "runs_run", 0, 1),)),
}
