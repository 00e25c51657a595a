"""Makes the demo workbooks and types the invented scenario into them, as a person would.

Usage: python examples/demo.py FOLDER
"""

import sys
import tomllib
from pathlib import Path
from typing import Any

from sheetcalc import files, layouts
from sheetcalc.files import locate
from sheetcalc.making import new

ENDINGS = (".xlsx", ".ods")


def type_in(path: Path, typed: dict[str, Any]) -> None:
    """Type values into the entry cells of a workbook.

    For each sheet a dictionary of the lines of its card, or a list of records; a sheet that has both
    holds its records in the dictionary under "records".
    """
    book = files.open_workbook(path)
    sheets = layouts.every_sheet()
    found = locate.find(book, [sheets[key] for key in typed])
    for key, entries in typed.items():
        place = found[key]
        card, records = (entries, entries.get("records", [])) if isinstance(entries, dict) else ({}, entries)
        for field, value in card.items():
            if field != "records":
                book.write(place.tab, *place.cells[field], value)
        for row, record in enumerate(records, start=place.first_row):
            for field, value in record.items():
                book.write(place.tab, row, place.cells[field][1], value)
    book.save()


def make(folder: Path) -> None:
    """Make every workbook of the scenario in both formats; earlier ones in the folder are replaced."""
    folder.mkdir(parents=True, exist_ok=True)
    scenario = tomllib.loads((Path(__file__).parent / "scenario.toml").read_text(encoding="utf-8"))
    for workbook in scenario["workbooks"]:
        typed = {key: value for key, value in workbook.items() if isinstance(value, dict | list)}
        for ending in ENDINGS:
            path = folder / f"{workbook['file']}{ending}"
            path.unlink(missing_ok=True)
            new(workbook["kind"], path, workbook["units"])
            type_in(path, typed)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    make(Path(sys.argv[1]))
