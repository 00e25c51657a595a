"""`sheetcalc` and `python -m sheetcalc`."""

import contextlib
import gc
import os
import sys

from sheetcalc import interrupts

# New things between two searches for those that are no longer used. With the usual 700, a tenth of a fill's
# time goes into searches that find next to nothing.
BETWEEN_SEARCHES = 100_000


def main() -> None:
    """Run the command; an interruption ends it in one line from here on, also while it still loads."""
    interrupts.end_at_once()
    gc.set_threshold(BETWEEN_SEARCHES)
    # For numpy, which would start a thread a processor for products of matrices; we have none.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code = _run()
    finally:
        interrupts.let_end()
    _leave(code)


def _run() -> int:
    """The exit code of the command that was typed."""
    from sheetcalc.cli import app

    try:
        app(prog_name="sheetcalc")
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def _leave(code: int) -> None:
    """End without putting things away one by one, which the system does at once."""
    with contextlib.suppress(OSError):
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        os._exit(code)
    # Python tells what could not be printed.
    sys.exit(code)


if __name__ == "__main__":
    main()
