"""The tally of workbooks that were edited and compared, at the end of a run."""

from collections import Counter, defaultdict
from typing import Any

COLUMNS = ("files", "parts", "same bytes", "edited", "cells", "forgotten", "shown", "failures")


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Add up what the tests of unharmed workbooks noted."""
    tally: dict[str, Counter[str]] = defaultdict(Counter)
    for report in terminalreporter.getreports("passed") + terminalreporter.getreports("failed"):
        for name, counts in getattr(report, "user_properties", ()):
            if name == "unharmed" and report.when == "call":
                for kind, numbers in counts.items():
                    tally[kind].update(numbers)
    if tally:
        tally = {**dict(sorted(tally.items())), "all": sum(tally.values(), Counter())}
        terminalreporter.section("workbooks edited and compared")
        terminalreporter.line(f"{'made by':14}" + "".join(f"{column:>12}" for column in COLUMNS))
        for kind, counts in tally.items():
            terminalreporter.line(f"{kind:14}" + "".join(f"{counts[column]:12,}" for column in COLUMNS))
