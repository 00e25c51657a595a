"""How people's own sheets are laid out: their headings, totals, labels and the values beside them."""

import re
from collections.abc import Mapping

from sheetcalc.files import Cells, Position

MOST_LINES = 4  # of headings, one below the other
BLANK_ROWS = 3  # so many end a table
RIGHT_OF_LABEL = 3  # cells in which a card's value is looked for
_TOTALS = re.compile(
    r"(sub-?|grand |zwischen|end)?(totals?|totales|total général|totais|totale|totaal|sum|sums|summe|summen"
    r"|gesamt|gesamtsumme|somme|suma|soma|somma|razem|łącznie|celkem|součet|som|average|avg\.?|mean|durchschnitt|mittelwert|mittel|schnitt|ø"
    r"|moyenne|promedio|media|średnia|průměr|gemiddelde|média|Σ)(\s+\S{1,12})?\s*[:=]?",
    re.IGNORECASE,
)


def rows_of_texts(cells: Cells) -> dict[int, dict[int, str]]:
    """The texts of a tab, each on one line, by row and column."""
    rows: dict[int, dict[int, str]] = {}
    for (row, column), cell in cells.items():
        if isinstance(cell.value, str) and cell.value.strip():
            rows.setdefault(row, {})[column] = " ".join(cell.value[:255].split())
    return rows


def joined(
    rows: Mapping[int, Mapping[int, str]], merged: Mapping[Position, int], top: int, lines: int
) -> dict[int, str]:
    """The headings that begin in row `top`, by column: their lines joined, merged cells spread."""
    found: dict[int, list[str]] = {}
    for row in range(top, top + lines):
        for column, text in rows.get(row, {}).items():
            for each in range(column, merged.get((row, column), column) + 1):
                words = found.setdefault(each, [])
                if text not in words:
                    words.append(text)
    return {column: " ".join(words) for column, words in sorted(found.items())}


def is_total(text: str) -> bool:
    """Whether a text is what people write before totals and averages."""
    return bool(_TOTALS.fullmatch(text.strip()))


def value_of(page: Cells, label: Position) -> Position:
    """The cell that holds the value of a label: the first right of it that is not blank, or the next."""
    row, column = label
    right = range(column + 1, column + 1 + RIGHT_OF_LABEL)
    return row, next((c for c in right if (row, c) in page), column + 1)


def plain(text: str) -> str:
    """A heading as it is compared: capitals and blanks make no difference."""
    return " ".join(text.split()).casefold()
