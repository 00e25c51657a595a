"""Ctrl-C and its like: the program ends at once with one clear line, but not while it puts a file in place.

A command may end between any two steps without tidying up. What has to be tidied up stands in `held_back`.
"""

import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from types import FrameType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

# Ctrl-C, a request to end, a terminal that was closed; not every system has all of them.
_KINDS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
_LINE = b"Interrupted; every workbook is whole, filled or as it was before.\n"


def end_at_once() -> None:
    """From now on an interruption ends the program with one line and 128 + its number, as shells count."""
    for kind in _KINDS:
        # Whoever started us may have chosen that we outlive it (nohup, a job in the background).
        if signal.getsignal(kind) is not signal.SIG_IGN:
            signal.signal(kind, _end)


def let_end() -> None:
    """From now on interruptions are left unheard: all is done and said, and Python only puts its things away.

    It would take our handlers away first, and then an interruption would end it with another exit code.
    """
    for kind in _KINDS:
        signal.signal(kind, signal.SIG_IGN)


def _end(number: int, _: FrameType | None) -> None:
    # An exception raised here could turn up anywhere, in an import or a callback, and be lost or shown whole.
    with contextlib.suppress(OSError):
        os.write(2, _LINE)
    os._exit(128 + number)


def end_with_parent() -> None:
    """In a process that works for another: leave interruptions to that one, and end when it is gone."""
    import multiprocessing

    for kind in _KINDS:
        signal.signal(kind, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda number, _: os._exit(128 + number))
    threading.Thread(target=_end_after, args=(multiprocessing.parent_process(),), daemon=True).start()


def _end_after(parent: "BaseProcess | None") -> None:
    if parent is not None:
        parent.join()
        # The main thread hears it, even while it waits, but not while it puts a file in place.
        os.kill(os.getpid(), signal.SIGTERM)


@contextlib.contextmanager
def held_back() -> Iterator[None]:
    """Interruptions that come while the block runs take effect when it has ended."""
    if threading.current_thread() is not threading.main_thread():
        # Python handles signals in the main thread alone; no other is interrupted.
        yield
        return
    came: list[int] = []
    usual = {kind: signal.getsignal(kind) for kind in _KINDS}
    # Blocking them would not do: a thread of a library may take the signal, and Python still handles it here.
    for kind, handler in usual.items():
        if handler is not None:
            signal.signal(kind, lambda number, _: came.append(number))
    try:
        yield
    finally:
        for kind, handler in usual.items():
            if handler is not None:
                signal.signal(kind, handler)
        for number in came:
            signal.raise_signal(number)
