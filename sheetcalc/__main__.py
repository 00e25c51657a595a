"""`sheetcalc` and `python -m sheetcalc`."""

import contextlib
import gc
import os
import sys
from io import TextIOWrapper

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
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            # A terminal that lacks a sign of somebody's words shows its number.
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run(sys.argv[1:])
    except OSError as trouble:
        if trouble.filename is not None:
            raise
        code = _untold(trouble)
    finally:
        interrupts.let_end()
    _leave(code)


def _run(words: list[str]) -> int:
    """The exit code of the command that was typed."""
    if len(words) > 1 and words[0] in ("fill", "check") and not any(map(_may_be_more, words)):
        from sheetcalc import commands

        return commands.fill(words[1:]) if words[0] == "fill" else commands.check(words[1:])
    from sheetcalc.cli import app

    try:
        app(prog_name="sheetcalc")
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def _may_be_more(word: str) -> bool:
    """Whether a word is an option, or one that the parser puts others for on Windows."""
    return word.startswith("-") or (os.name == "nt" and any(sign in word for sign in "~$%*?["))


def _leave(code: int) -> None:
    """End without putting things away one by one, which the system does at once."""
    try:
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
    except OSError as trouble:
        code = _untold(trouble)
    os._exit(code)


def _untold(trouble: OSError) -> int:
    """Say that what is printed can't be written, which alone goes to files without a name; the exit code.

    Whoever has closed a pipe has heard enough.
    """
    if isinstance(trouble, BrokenPipeError):
        return 1
    with contextlib.suppress(OSError):
        print(f"What is told can't be written: {trouble.strerror}.", file=sys.stderr, flush=True)
    return 2


if __name__ == "__main__":
    main()
