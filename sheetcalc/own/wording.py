"""Findings on a person's own workbook, in words that fit it: it has neither our batch card nor unit cells."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from sheetcalc.entries import Entries
from sheetcalc.findings import Finding
from sheetcalc.own.adopted import Adopted

_SHEET = re.compile(r"\bthe ([a-z]+) sheet\b")


def in_their_words(
    findings: Iterable[Finding], layout: Adopted, batch: str, read: Mapping[str, Entries]
) -> Iterator[Finding]:
    """Findings that send to the layout file and the person's own tabs instead of to ours.

    batch: which of the layout's; read: its entries, by sheet.
    """
    tabs = dict.fromkeys(
        part.tab for part in layout.parts if part.kind == "card" and part.batch in (batch, "")
    )
    home = f"[constants] in {layout.name}"
    card = " or ".join([*tabs, home])
    by_phrase = {
        "on the batch card": f"on {card}" if tabs else f"under {home}",
        "the batch card": card,
        "batch card": card,
        "choose it as the unit": f"correct its unit in {layout.name}",
        "the unit above": f"its unit in {layout.name}",
    }

    def their_tab(said: re.Match[str]) -> str:
        one = read.get(said[1])
        return one.found.tab if one and one.found.cells else said[0]

    def reworded(text: str) -> str:
        for phrase, theirs in by_phrase.items():
            text = text.replace(phrase, theirs)
        return _SHEET.sub(their_tab, text)

    for finding in findings:
        yield replace(finding, message=reworded(finding.message), advice=reworded(finding.advice))
