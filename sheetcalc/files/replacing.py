"""Putting a file in place: whole or not at all, whatever happens meanwhile.

The new content goes into a temporary beside its goal, is brought to the disk, and takes the name in one step.
A process that is killed can leave its temporary; the next fill in that folder removes it. Who puts a file in
place holds a lock on the folder, so whoever gets that lock knows that no temporary there is still in use. The
lock is the system's own: it leaves no file and ends with its process.
"""

import contextlib
import errno
import os
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from sheetcalc.files.trouble import BadWorkbook, ChangedMeanwhile, reason
from sheetcalc.interrupts import held_back

# What mkstemp makes of our prefix and ending.
_OURS = re.compile(r"\.sheetcalc-[a-z0-9_]{8}\.tmp")
# Longer than any fill: where a file system has no locks, an older temporary is nobody's.
_ABANDONED_AFTER = 3600.0
PATIENCE = 10.0  # seconds for another fill in the same folder
# Drives over a network, and virus scanners, let go of a file after a moment.
_PAUSES = (0.1, 0.3, 0.6)
_PASSING = {errno.EACCES, errno.EPERM, errno.EBUSY, errno.ETXTBSY, errno.ESTALE}
_NOTHING_WRITTEN = "nothing was written, the file is as it was"


@contextlib.contextmanager
def _clear_failures() -> Iterator[None]:
    """Say what the system refused in a sentence for a person."""
    try:
        yield
    except OSError as error:
        raise BadWorkbook(_write_failure(error)) from None


@_clear_failures()
def replace_file(
    goal: Path, data: bytes, held: bytes, still_ours: Callable[[], None], backup: Path | None
) -> None:
    """Put `data` in the place of file `goal`, which holds the bytes `held`; they go to file `backup`.

    Permissions, owner and extended attributes stay; another hard link to the old file keeps the old content.
    `still_ours` is asked last and may raise. Raises ChangedMeanwhile when `goal` holds something else by
    now and BadWorkbook when it can't be replaced; it is then as it was, and no temporary is left.
    """
    if goal.is_dir():
        raise BadWorkbook("There is a folder of that name; nothing was written, choose another name.")

    def check() -> None:
        still_ours()
        _refuse_changed(goal, held)

    check()
    if not os.access(goal, os.W_OK) or not goal.stat().st_mode & 0o222:
        raise BadWorkbook("The file is write-protected; allow writing to it and start again.")
    with _turn(goal.parent), held_back(), contextlib.ExitStack() as stack:
        # Everything that needs room on the disk comes before anything is replaced.
        new = stack.enter_context(_temporary(goal.parent, data, goal))
        kept = None
        if backup:
            if backup.is_dir():
                raise BadWorkbook(f"A folder is in the way of the backup {backup.name}; {_NOTHING_WRITTEN}.")
            kept = stack.enter_context(_temporary(goal.parent, held, goal))
            times = goal.stat()
            os.utime(kept, ns=(times.st_atime_ns, times.st_mtime_ns))
        check()
        if kept and backup:
            _patiently(lambda: kept.replace(backup), check)
        _patiently(lambda: new.replace(goal), check)
        _sync_folder(goal.parent)


@_clear_failures()
def create_file(goal: Path, data: bytes, model: Path) -> None:
    """Make the new file `goal`, with the permissions, owner and extended attributes of file `model`.

    Raises BadWorkbook when there is something of that name or it can't be written; nothing is left behind.
    """
    if goal.is_dir():
        raise BadWorkbook("There is a folder of that name; nothing was written, choose another name.")
    with _turn(goal.parent), held_back():
        with _temporary(goal.parent, data, model) as new:
            _patiently(lambda: _name_new(new, goal), lambda: None)
        _sync_folder(goal.parent)


def remove_abandoned(folder: Path) -> None:
    """Remove the temporaries that killed processes left in the folder; one that may be in use stays."""
    with contextlib.suppress(OSError), _folder_lock(folder) as free:
        if free is False:
            return
        before = time.time() - (0 if free else _ABANDONED_AFTER)
        with os.scandir(folder) as entries:
            left = [e for e in entries if _OURS.fullmatch(e.name) and e.is_file(follow_symlinks=False)]
        for entry in left:
            with contextlib.suppress(OSError):
                if free or entry.stat(follow_symlinks=False).st_mtime < before:
                    Path(entry.path).unlink()


def _refuse_changed(goal: Path, held: bytes) -> None:
    """Times and sizes can stay the same under an edit, on some disks for two seconds; the content can't."""
    try:
        same = goal.stat().st_size == len(held) and goal.read_bytes() == held
    except (FileNotFoundError, NotADirectoryError):
        raise ChangedMeanwhile(
            "The file was moved or removed while it was worked on; nothing was written."
        ) from None
    if not same:
        raise ChangedMeanwhile(
            "The file was changed by another program in the meantime; nothing was written, start again."
        )


@contextlib.contextmanager
def _temporary(folder: Path, data: bytes, model: Path) -> Iterator[Path]:
    """A new file with this content and the traits of `model`, safe on the disk; gone at the end."""
    handle, name = tempfile.mkstemp(prefix=".sheetcalc-", suffix=".tmp", dir=folder)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            _copy_traits(model, Path(name))
            os.fsync(file.fileno())
        yield Path(name)
    finally:
        # Where it took another name, there is no file of this one any more.
        Path(name).unlink(missing_ok=True)


def _copy_traits(model: Path, new: Path) -> None:
    """Owner, permissions and extended attributes, as far as the system lets us; the permissions always."""
    wanted, given = model.stat(), new.stat()
    if hasattr(os, "chown") and (wanted.st_uid, wanted.st_gid) != (given.st_uid, given.st_gid):
        try:
            os.chown(new, wanted.st_uid, wanted.st_gid)
        except OSError:
            # Giving a file away is for root; a group one belongs to is for everybody.
            with contextlib.suppress(OSError):
                os.chown(new, -1, wanted.st_gid)
    shutil.copymode(model, new)
    # After the permissions: access lists are among the attributes, and those would narrow them.
    if hasattr(os, "listxattr"):
        with contextlib.suppress(OSError):
            for name in os.listxattr(model):
                with contextlib.suppress(OSError):
                    os.setxattr(new, name, os.getxattr(model, name))


def _patiently(step: Callable[[], object], check: Callable[[], None]) -> None:
    """Do the step, and again after a pause and a `check` where something passing is in the way."""
    for pause in _PAUSES:
        try:
            step()
            return
        except OSError as error:
            if error.errno not in _PASSING:
                raise
        time.sleep(pause)
        check()
    step()


def _name_new(temporary: Path, goal: Path) -> None:
    """Give the file a name that nothing has yet; unlike renaming, a link never takes the place of a file."""
    try:
        goal.hardlink_to(temporary)
    except FileExistsError:
        raise
    except OSError:
        # A disk without hard links.
        if os.path.lexists(goal):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST)) from None
        temporary.rename(goal)


@contextlib.contextmanager
def _turn(folder: Path) -> Iterator[None]:
    """Wait until no other fill puts a file in place in the folder."""
    deadline = time.monotonic() + PATIENCE
    while True:
        with _folder_lock(folder) as free:
            if free is not False:
                yield
                return
        if time.monotonic() > deadline:
            raise BadWorkbook(
                "Another fill is at work in this folder; nothing was written, start again later."
            )
        time.sleep(0.02)


@contextlib.contextmanager
def _folder_lock(folder: Path) -> Iterator[bool | None]:
    """Lock the folder against other fills; tells False where one has it and None where there are no locks."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        # Windows opens no folders.
        yield None
        return
    try:
        yield _locked(handle)
    finally:
        os.close(handle)


def _locked(handle: int) -> bool | None:
    try:
        import fcntl
    except ImportError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _sync_folder(folder: Path) -> None:
    # Not every system can open a folder; the file itself is safe already.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _write_failure(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"The disk is full; {_NOTHING_WRITTEN}."
    if isinstance(error, FileExistsError):
        return (
            "There is a file of that name already; remove it or choose another folder; nothing was written."
        )
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return "The folder to write to does not exist or is gone by now; nothing was written, start again."
    if error.errno in (errno.EBUSY, errno.ETXTBSY, errno.EXDEV):
        return (
            f"The file can't be replaced where it is ({reason(error)}): another program holds it, or it is "
            f"mounted on its own; close it there or write a copy with --to; {_NOTHING_WRITTEN}."
        )
    if isinstance(error, PermissionError) or error.errno == errno.EROFS:
        return (
            "The file or its folder can't be written to; close it in the spreadsheet program "
            f"and check the permissions; {_NOTHING_WRITTEN}."
        )
    return f"The file could not be written ({reason(error)}); it is as it was."
