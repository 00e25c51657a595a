"""A fill with bounds on its memory and time, and what each hostile case takes.

Usage: python -m tests.bounded [PART OF A NAME]

Plants each case at its full size (the tests plant a hundredth) and prints what came of those that took more
than 5 s or 500 MB or were not as expected. Seconds are of the processor, not of the clock.
"""

import contextlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator, Sized
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "examples"), str(ROOT / "tests")]

SECONDS = 120
MEMORY = 4 * 2**30


class Outcome(NamedTuple):
    """What came of a fill: "filled", "refused" or "bug", what was said, and what it took."""

    how: str
    told: str
    seconds: float
    megabytes: float


@contextlib.contextmanager
def bounded() -> Iterator[Callable[[Path], Outcome]]:
    """A function that fills a workbook in a process which may take so much memory and time and no more."""
    command = [sys.executable, str(Path(__file__)), "--serve"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdin and server.stdout
        orders, answers = server.stdin, server.stdout

        def fill(path: Path) -> Outcome:
            orders.write(f"{path}\n")
            orders.flush()
            return Outcome(*json.loads(answers.readline()))

        yield fill
        orders.close()


def serve() -> None:
    """Fill the workbooks that are named on standard input, each in a fork of its own."""
    # Loaded once, before the forks.
    from sheetcalc.filling import fill

    for line in sys.stdin:
        out, into = os.pipe()
        child = os.fork()
        if child == 0:
            os.write(into, json.dumps(_said(fill, Path(line.rstrip("\n")))).encode())
            os._exit(0)
        os.close(into)
        with os.fdopen(out, "rb") as pipe:
            said = json.loads(pipe.read() or b'["bug", "killed: out of time or memory"]')
        _, _, used = os.wait4(child, 0)
        print(json.dumps([*said, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024]), flush=True)


def _said(fill: Callable[[Path], Sized], path: Path) -> tuple[str, str]:
    from sheetcalc import files

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    try:
        return "filled", f"{len(fill(path))} findings"
    except files.BadWorkbook as trouble:
        return "refused", str(trouble)
    except Exception:  # whatever it is, it is what is looked for
        return "bug", traceback.format_exc()[-5000:]


def main(part: str) -> int:
    """Measure the cases at their full size."""
    from hostile import cases
    from hostile.planting import make, planted

    worst, wrong = Outcome("", "", 0.0, 0.0), 0
    chosen = [case for case in cases() if part in f"{case.name} {case.ending}"]
    with tempfile.TemporaryDirectory() as name, bounded() as fill:
        folder = Path(name)
        sources = {ending: make(folder, ending) for ending in (".xlsx", ".ods")}
        for case in chosen:
            path = planted(case, sources[case.ending], folder / f"planted{case.ending}", 1.0)
            outcome = fill(path)
            expected = case.expects(outcome.how, outcome.told)
            wrong += not expected
            worst = worst._replace(
                seconds=max(worst.seconds, outcome.seconds), megabytes=max(worst.megabytes, outcome.megabytes)
            )
            if outcome.seconds > 5 or outcome.megabytes > 500 or not expected:
                took = f"{outcome.seconds:6.1f} s {outcome.megabytes:6.0f} MB"
                size = f"{path.stat().st_size / 2**20:6.1f} MB {case.ending:5}"
                verdict = "" if expected else "NOT EXPECTED: "
                print(f"{took} {size} {case.name}: {verdict}{outcome.how}, {outcome.told}", flush=True)
    most = f"{worst.seconds:.1f} s, {worst.megabytes:.0f} MB"
    print(f"{len(chosen)} cases, {wrong} not as expected; at most {most}")
    return int(wrong > 0)


if __name__ == "__main__":
    if sys.argv[1:] == ["--serve"]:
        serve()
    else:
        sys.exit(main(" ".join(sys.argv[1:])))
