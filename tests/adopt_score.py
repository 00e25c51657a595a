"""How many headings of people's own logs are rightly recognised: `python -m tests.adopt_score`.

The logs of own_logs.py and later_logs.py, each heading with what it truly means beside it. The words were
mended by the first set; the second, the later ones and the others were written before anything was mended by
them; the strangers' by a hand that had not seen our list, and nothing is mended by them.
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from later_logs import LATER
from others import OTHERS
from own_logs import LOGS, UNSEEN, Log
from strangers import STRANGERS

from sheetcalc import files
from sheetcalc.findings import address
from sheetcalc.own import recognise

KINDS = ("right", "right but switched off", "wrong", "wrong but switched off", "missed", "rightly left alone")
RIGHT = ("right", "rightly left alone")


def judged(log: Log, folder: Path) -> dict[tuple[str, str], str]:
    """For each heading of a log, what came of it: one of KINDS."""
    book = files.open_workbook(log.make(folder))
    found = {}
    for table in recognise.recognise(book):
        for guess in table.guesses:
            said = f"{table.sheet.key}.{guess.field.key} {guess.unit}".strip()
            # Of several lines of headings the truth may stand at another one than the guess.
            row, column = guess.place
            rows = range(table.top, table.top + table.lines) if table.kind == "table" else (row,)
            lines = [(table.tab, address(r, column)) for r in rows]
            at = next((place for place in lines if place in log.truth), (table.tab, address(row, column)))
            found[at] = (said, guess.grade == "doubtful")
    verdicts = {}
    for place, truth in {**dict.fromkeys(found, ""), **log.truth}.items():
        said, off = found.get(place, ("", False))
        if said:
            verdicts[place] = ("right" if said in truth.split(" or ") else "wrong") + (
                " but switched off" if off else ""
            )
        else:
            verdicts[place] = "missed" if truth else "rightly left alone"
    return verdicts


def main() -> None:
    """Print the score of each set."""
    sets = {"logs to mend by": LOGS, "logs written afterwards": UNSEEN, "later logs": LATER}
    for name, logs in (sets | {"strangers": STRANGERS, "others": OTHERS}).items():
        total: Counter[str] = Counter()
        print(f"\n{name}")
        for log in logs:
            with tempfile.TemporaryDirectory() as folder:
                verdicts = judged(log, Path(folder))
            total.update(verdicts.values())
            amiss = [f"{tab}!{cell} {v}" for (tab, cell), v in verdicts.items() if v not in RIGHT]
            print(f"  {log.name:22} {len(verdicts):3} headings  {'; '.join(amiss)}")
        for kind in KINDS:
            print(f"  {kind:24} {total[kind]:4}  {total[kind] / total.total():.1%}")


if __name__ == "__main__":
    main()
