"""Where each sheet, and the whole batch, stood at the last fill, told on the first sheet."""

from collections.abc import Iterable

from sheetcalc import compute, files, layouts
from sheetcalc.build.as_filled import STANDS
from sheetcalc.findings import Finding, tally
from sheetcalc.stages import registry

NOTHING = "Nothing yet."
ARROW = "→"  # ends the text of a link to a sheet


def leave(book: files.Workbook, values: compute.Values, findings: Iterable[Finding]) -> None:
    """Write where the sheets stand, as far as the workbook has places for it and no formula stands there."""
    told = list(findings)
    for name, place in book.named.items():
        key = name.removeprefix(STANDS)
        if key != name and key in layouts.every_sheet() and not book.has_formula(*place):
            at_first = next(
                (line.text for line in layouts.every_sheet()[key].lines if line.style == "standing"), ""
            )
            if at_first:
                book.write(*place, _all_of_it(values, told) or at_first)
            else:
                book.write(*place, _words(values, key, told) or None)
                _lead(book, place, values, key)


def _all_of_it(values: compute.Values, findings: list[Finding]) -> str:
    """The stage that the batch has reached, and what to mend first, is due or comes next; "" before any."""
    stages = [key for key, sheet in layouts.every_sheet().items() if sheet.next and key in values.entries]
    said = {key: compute.in_words(values, key, values.entries[key].sheet.stands) for key in stages}
    reached = next((key for key in reversed(stages) if said[key]), "")
    if not reached:
        return ""
    entries = values.entries[reached]
    serious = [finding.level for finding in findings if finding.level != "note"]
    rules = {check.rule for check in registry.CHECKS[reached] if check.due}
    due = [f for f in findings if f.rule in rules and f.sheet == entries.found.tab]
    if "error" in serious:
        then = f"First look at what is wrong: {tally(serious)}."
    elif due:
        then = f"{due[-1].message} {due[-1].advice}"
    else:
        then = _next(values, reached)
    if serious and "error" not in serious:
        then = f"Look at {tally(serious)}. {then}"
    return f"Now at {entries.found.tab}. {said[reached]} {then}".rstrip()


def _next(values: compute.Values, sheet: str) -> str:
    """What comes after a stage: the first of its texts that has all it needs."""
    said = (compute.in_words(values, sheet, text) for text in values.entries[sheet].sheet.next)
    return next((text for text in said if text), "")


def _lead(book: files.Workbook, place: tuple[str, int, int], values: compute.Values, sheet: str) -> None:
    """Have the link left of it lead to the sheet as it is called now."""
    tab, row, column = place
    link = book.cells(tab).get((row, column - 1))
    if sheet in values.entries and link and str(link.value).endswith(ARROW) and not link.formula:
        called = values.entries[sheet].found.tab
        book.write(tab, row, column - 1, f"{called} {ARROW}", link=(called, 1, 1))


def _words(values: compute.Values, sheet: str, findings: list[Finding]) -> str:
    """What a sheet holds, in its own words, and how much was found in it."""
    if sheet == "findings":
        return f"{tally(f.level for f in findings).capitalize()}."
    if sheet not in values.entries:
        return ""
    entries = values.entries[sheet]
    levels = [finding.level for finding in findings if finding.sheet == entries.found.tab]
    found = f"{tally(levels).capitalize()}." if levels else ""
    only_results = all(field.role != "entry" for field in (*entries.sheet.fields, *entries.sheet.columns))
    if only_results and any(finding.level == "error" for finding in findings):
        found = f"{found} Not to be trusted while errors stand.".lstrip()
    return f"{compute.in_words(values, sheet, entries.sheet.stands) or NOTHING} {found}".rstrip()
