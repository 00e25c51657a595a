"""A file is put in place whole or not at all: stopped anywhere, any step failing, beside other programs."""

import errno
import hashlib
import json
import os
import shutil
import stat
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from files.workbook_samples import write_xlsx

from sheetcalc.files import BadWorkbook, ChangedMeanwhile, open_workbook, remove_abandoned, replacing

EVERY_LINE = Path(__file__).with_name("at_every_line.py")
MEMORY = Path("/dev/shm")
# Also inside the standard library, for both kinds of stop and all ways: three minutes instead of ten seconds.
THOROUGH = bool(os.environ.get("SHEETCALC_EVERY_LINE"))
STOPS = [("SIGKILL", "backup"), ("SIGKILL", "to"), ("SIGINT", "backup"), ("SIGTERM", "to")]
ALL_STOPS = [(s, w) for s in ("SIGKILL", "SIGINT", "SIGTERM") for w in ("in-place", "backup", "to")]
LEFT = ".sheetcalc-abcd_123.tmp"  # what a killed fill leaves


@pytest.fixture
def xlsx(tmp_path: Path) -> Path:
    return write_xlsx(tmp_path / "log.xlsx", lambda _, sheet: sheet.write("A1", 5))


@pytest.fixture
def quick_folder() -> Iterator[Path]:
    """In memory where the system has such a folder: a thousand saves wait for no disk there."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as name:
        yield Path(name) / "logs"


def edit(path: Path, backup: bool = False) -> None:
    book = open_workbook(path)
    book.write("Data", 1, 1, 6)
    book.save(backup_ending=".before" if backup else None)


def copy_edited(path: Path, target: Path) -> None:
    book = open_workbook(path)
    book.write("Data", 1, 1, 6)
    book.save(target)


def value(path: Path) -> Any:
    return open_workbook(path).cells("Data")[1, 1].value


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that split")
@pytest.mark.parametrize(("kind", "way"), ALL_STOPS if THOROUGH else STOPS)
def test_stopped_at_any_line_of_the_saving_code_every_file_is_whole(
    xlsx: Path, quick_folder: Path, kind: str, way: str
) -> None:
    done = subprocess.run(
        [sys.executable, EVERY_LINE, xlsx, quick_folder, kind, way, *(["inside"] if THOROUGH else [])],
        capture_output=True,
        text=True,
        check=True,
    )
    seen = [json.loads(line) for line in done.stdout.splitlines()]
    old = hashlib.sha256(xlsx.read_bytes()).hexdigest()
    earlier = hashlib.sha256(b"earlier").hexdigest()
    new = seen[-1]["held"]["copy" if way == "to" else "log"]
    assert new != old and seen[-1]["status"] == 0
    assert len(seen) > 60
    states = set()
    for one in seen[:-1]:
        held = one["held"]
        assert one["status"] == {"SIGKILL": -9, "SIGINT": 130, "SIGTERM": 143}[kind], one["where"]
        if kind != "SIGKILL":
            assert one["tidied"] == sorted(held), one["where"]
        assert set(one["tidied"]) <= {"log", "log.before", "copy"}, one["where"]
        if way == "to":
            states.add(held.get("copy"))
            assert held["log"] == old and held["log.before"] == earlier
        else:
            states.add(held["log"])
            # The version before is kept before its place is taken; an earlier one is not lost without need.
            kept = old if way == "backup" else earlier
            assert held["log.before"] == kept or (held["log.before"] == earlier and held["log"] == old)
    # Both happened, and nothing else.
    assert states == {None if way == "to" else old, new}


STEPS: dict[str, tuple[str, int]] = {
    "making the temporary": ("tempfile.mkstemp", 1),
    "opening it": ("os.fdopen", 1),
    "its permissions": ("shutil.copymode", 1),
    "bringing it to the disk": ("os.fsync", 1),
    "the backup's temporary": ("tempfile.mkstemp", 2),
    "bringing the backup to the disk": ("os.fsync", 2),
    "the backup's name": ("os.replace", 1),
    "the workbook's name": ("os.replace", 2),
}
FAILURES = {
    errno.ENOSPC: "disk is full",
    errno.EDQUOT: "disk is full",
    errno.EROFS: "can't be written to",
    errno.EACCES: "can't be written to",
    errno.EXDEV: "can't be replaced where it is",
    errno.EIO: "could not be written",
    errno.ESTALE: "could not be written",
}


def failing(monkeypatch: pytest.MonkeyPatch, step: str, code: int, at: int, times: int = 10**6) -> list[int]:
    """Make a step fail from its `at`th time on, so many times; tells when it was done."""
    module, name = step.split(".")
    where = {"os": os, "tempfile": tempfile, "shutil": shutil}[module]
    real, calls = getattr(where, name), []

    def fail(*arguments: Any, **options: Any) -> Any:
        calls.append(code)
        if at <= len(calls) < at + times:
            raise OSError(code, os.strerror(code))
        return real(*arguments, **options)

    monkeypatch.setattr(where, name, fail)
    monkeypatch.setattr(replacing, "_PAUSES", (0.001, 0.001, 0.001))
    return calls


@pytest.mark.parametrize("code", FAILURES, ids=lambda code: errno.errorcode[code])
@pytest.mark.parametrize("step", STEPS)
def test_a_step_that_fails_leaves_everything_as_it_was(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch, step: str, code: int
) -> None:
    before, kept = xlsx.read_bytes(), xlsx.with_name("log.xlsx.before")
    kept.write_bytes(b"earlier")
    calls = failing(monkeypatch, STEPS[step][0], code, STEPS[step][1])
    with pytest.raises(BadWorkbook, match=FAILURES[code]) as told:
        edit(xlsx, backup=True)
    monkeypatch.undo()
    assert calls and "\n" not in str(told.value)
    assert xlsx.read_bytes() == before
    # Only the last step comes after the backup took its name; it then is what the workbook still is.
    assert kept.read_bytes() == (before if step == "the workbook's name" else b"earlier")
    assert names(xlsx.parent) == ["log.xlsx", "log.xlsx.before"]


class _FullDisk:
    """A file that takes no more than half."""

    def __init__(self, file: Any, at: str) -> None:
        self._file, self._at = file, at

    def __enter__(self) -> Any:
        self._file.__enter__()
        return self

    def __exit__(self, *how: Any) -> Any:
        return self._file.__exit__(*how)

    def write(self, data: bytes) -> None:
        self._file.write(data[: len(data) // 2])
        if self._at == "write":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def flush(self) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("at", ["write", "flush"])
@pytest.mark.parametrize("way", ["in place", "copy"])
def test_a_disk_that_fills_up_halfway_leaves_everything_as_it_was(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch, at: str, way: str
) -> None:
    before, real = xlsx.read_bytes(), os.fdopen
    monkeypatch.setattr(os, "fdopen", lambda *a: _FullDisk(real(*a), at))
    with pytest.raises(BadWorkbook, match="disk is full"):
        edit(xlsx) if way == "in place" else copy_edited(xlsx, xlsx.with_name("copy.xlsx"))
    monkeypatch.undo()
    assert xlsx.read_bytes() == before
    assert names(xlsx.parent) == ["log.xlsx"]


def test_content_is_on_the_disk_before_it_takes_a_name_and_the_name_after(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []

    def noted(name: str) -> None:
        real = getattr(os, name)

        def call(*arguments: Any) -> Any:
            if name == "fsync":
                done.append("folder" if stat.S_ISDIR(os.fstat(arguments[0]).st_mode) else "content")
            else:
                done.append("name")
            return real(*arguments)

        monkeypatch.setattr(os, name, call)

    for name in ("fsync", "replace", "link"):
        noted(name)
    edit(xlsx)
    assert done == ["content", "name", "folder"]
    done.clear()
    open_workbook(xlsx).save(xlsx.with_name("copy.xlsx"))
    assert done == ["content", "name", "folder"]
    done.clear()
    book = open_workbook(xlsx)
    book.write("Data", 1, 1, 7)
    book.save(backup_ending=".before")
    assert done == ["content", "content", "name", "name", "folder"]


@pytest.mark.parametrize("code", [errno.EACCES, errno.EPERM, errno.EBUSY, errno.ESTALE])
def test_a_network_drive_that_refuses_for_a_moment_is_asked_again(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    calls = failing(monkeypatch, "os.replace", code, at=1, times=3)
    edit(xlsx)
    assert len(calls) == 4
    assert value(xlsx) == 6
    assert names(xlsx.parent) == ["log.xlsx"]


def test_a_refusal_that_stays_is_told_after_a_second(xlsx: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pauses: list[float] = []
    calls = failing(monkeypatch, "os.replace", errno.EBUSY, at=1)
    monkeypatch.setattr(replacing, "_PAUSES", (0.1, 0.3, 0.6))
    monkeypatch.setattr(time, "sleep", pauses.append)
    with pytest.raises(BadWorkbook, match="can't be replaced where it is"):
        edit(xlsx)
    assert len(calls) == 4
    assert sum(pauses) == pytest.approx(1.0)


def test_an_edit_made_while_a_drive_refuses_is_not_lost(xlsx: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    failing(monkeypatch, "os.replace", errno.EBUSY, at=1, times=1)
    monkeypatch.setattr(time, "sleep", lambda _: xlsx.write_bytes(b"theirs"))
    with pytest.raises(ChangedMeanwhile):
        edit(xlsx)
    assert xlsx.read_bytes() == b"theirs"


@pytest.mark.parametrize("manner", ["in place", "by renaming"])
def test_an_edit_of_the_same_size_and_time_is_noticed(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch, manner: str
) -> None:
    """On some disks times stand still for two seconds."""
    theirs, seen, real = bytes(reversed(xlsx.read_bytes())), xlsx.stat(), os.fsync

    def edited(handle: int) -> None:
        real(handle)
        other = xlsx if manner == "in place" else xlsx.with_name("other")
        other.write_bytes(theirs)
        os.utime(other, ns=(seen.st_atime_ns, seen.st_mtime_ns))
        other.replace(xlsx)

    monkeypatch.setattr(os, "fsync", edited)
    with pytest.raises(ChangedMeanwhile):
        edit(xlsx, backup=True)
    assert xlsx.stat().st_mtime_ns == seen.st_mtime_ns
    assert xlsx.read_bytes() == theirs
    assert names(xlsx.parent) == ["log.xlsx"]


def test_a_file_opened_in_a_program_meanwhile_is_not_replaced(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, real = xlsx.read_bytes(), os.fsync

    def opened(handle: int) -> None:
        real(handle)
        xlsx.with_name("~$log.xlsx").touch()

    monkeypatch.setattr(os, "fsync", opened)
    with pytest.raises(BadWorkbook, match="open in a spreadsheet program"):
        edit(xlsx)
    assert xlsx.read_bytes() == before


@pytest.mark.parametrize("links", [True, False], ids=["with hard links", "without"])
def test_a_copy_never_takes_the_place_of_a_file(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:
        failing(monkeypatch, "os.link" if hasattr(os, "link") else "os.replace", errno.EPERM, at=1)
    copy, dangling = xlsx.with_name("copy.xlsx"), xlsx.with_name("dangling.xlsx")
    copy_edited(xlsx, copy)
    assert value(copy) == 6 and value(xlsx) == 5
    copy.write_bytes(b"theirs")
    dangling.symlink_to("nowhere.xlsx")
    for target in (copy, dangling):
        with pytest.raises(BadWorkbook, match="of that name already"):
            copy_edited(xlsx, target)
    assert copy.read_bytes() == b"theirs"
    assert names(xlsx.parent) == ["copy.xlsx", "dangling.xlsx", "log.xlsx"]


def test_abandoned_temporaries_go_and_nothing_else_does(tmp_path: Path) -> None:
    (tmp_path / LEFT).write_bytes(b"half a workb")
    others = [
        "log.xlsx",
        ".sheetcalc-notes.tmp",
        ".sheetcalc-abcd_1234.tmp",
        "x.sheetcalc-abcd_123.tmp",
        "a.tmp",
    ]
    for name in others:
        (tmp_path / name).touch()
    (tmp_path / ".sheetcalc-folder12.tmp").mkdir()
    (tmp_path / ".sheetcalc-symlink1.tmp").symlink_to(tmp_path / "log.xlsx")
    stay = [name for name in names(tmp_path) if name != LEFT]
    remove_abandoned(tmp_path)
    assert names(tmp_path) == stay
    remove_abandoned(tmp_path / "nowhere")


def test_a_temporary_in_use_stays(xlsx: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real, seen = os.fsync, []

    def swept(handle: int) -> None:
        # As another process would: it holds no lock of ours.
        command = "import sys, pathlib, sheetcalc.files as f; f.remove_abandoned(pathlib.Path(sys.argv[1]))"
        subprocess.run([sys.executable, "-c", command, xlsx.parent], check=True)
        seen.append(len(names(xlsx.parent)))
        real(handle)

    monkeypatch.setattr(os, "fsync", swept)
    edit(xlsx)
    assert seen[0] == 2
    assert value(xlsx) == 6


def test_where_a_disk_has_no_locks_only_age_tells_that_a_temporary_is_abandoned(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replacing, "_locked", lambda _: None)
    left = xlsx.with_name(LEFT)
    left.touch()
    remove_abandoned(xlsx.parent)
    assert left.exists()
    edit(xlsx)
    assert value(xlsx) == 6
    os.utime(left, (time.time() - 7200, time.time() - 7200))
    remove_abandoned(xlsx.parent)
    assert not left.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows locks no folders")
def test_a_fill_waits_for_another_in_the_folder_and_says_so_when_that_takes_long(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    before = xlsx.read_bytes()
    other = os.open(xlsx.parent, os.O_RDONLY)
    fcntl.flock(other, fcntl.LOCK_EX)
    monkeypatch.setattr(replacing, "PATIENCE", 0.1)
    with pytest.raises(BadWorkbook, match="Another fill is at work"):
        edit(xlsx)
    assert xlsx.read_bytes() == before
    pauses: list[float] = []

    def release(pause: float) -> None:
        pauses.append(pause)
        if len(pauses) == 3:
            os.close(other)

    monkeypatch.setattr(time, "sleep", release)
    monkeypatch.setattr(replacing, "PATIENCE", 10.0)
    edit(xlsx)
    assert len(pauses) == 3
    assert value(xlsx) == 6


def test_another_hard_link_keeps_the_version_before(xlsx: Path) -> None:
    other, before = xlsx.with_name("other.xlsx"), xlsx.read_bytes()
    other.hardlink_to(xlsx)
    edit(xlsx)
    assert value(xlsx) == 6
    assert other.read_bytes() == before
    assert xlsx.stat().st_nlink == other.stat().st_nlink == 1


def test_links_that_lead_nowhere_are_told(tmp_path: Path) -> None:
    dangling, loop = tmp_path / "a.xlsx", tmp_path / "b.xlsx"
    dangling.symlink_to("gone.xlsx")
    loop.symlink_to("b.xlsx")
    with pytest.raises(BadWorkbook, match=r"a link to gone\.xlsx, which is not there"):
        open_workbook(dangling)
    with pytest.raises(BadWorkbook, match="leads back to itself"):
        open_workbook(loop)


def test_a_chain_of_links_stays_and_the_backup_lies_beside_the_file_itself(
    xlsx: Path, tmp_path: Path
) -> None:
    before = xlsx.read_bytes()
    (tmp_path / "far").mkdir()
    first, second = tmp_path / "far" / "first.xlsx", tmp_path / "far" / "second.xlsx"
    first.symlink_to("../log.xlsx")
    second.symlink_to(first)
    edit(second, backup=True)
    assert second.readlink() == first and str(first.readlink()) == "../log.xlsx"
    assert value(xlsx) == 6
    assert (tmp_path / "log.xlsx.before").read_bytes() == before
    assert names(tmp_path / "far") == ["first.xlsx", "second.xlsx"]


def test_times_tell_the_change_and_the_backup_keeps_its_own(xlsx: Path) -> None:
    then = 1_700_000_000_123_456_789
    os.utime(xlsx, ns=(then, then))
    began = time.time_ns() - 10**9
    edit(xlsx, backup=True)
    assert xlsx.stat().st_mtime_ns > began
    assert abs(xlsx.with_name("log.xlsx.before").stat().st_mtime_ns - then) < 1000


def _with_attributes(change: Callable[[Path], None]) -> Callable[[Path], None]:
    def tried(path: Path) -> None:
        if not hasattr(os, "setxattr"):
            pytest.skip("Python offers no extended attributes here")
        try:
            change(path)
        except OSError as error:
            pytest.skip(f"this disk has none: {error}")

    return tried


@_with_attributes
def tag(path: Path) -> None:
    os.setxattr(path, "user.tags", b"plum, 2026")


# [acl(5), linux/posix_acl_xattr.h] Owner rw, user 54321 rw, group r, mask rw, others nothing.
ACCESS_LIST = struct.pack(
    "<I" + "HHI" * 5,
    2,
    *(1, 6, -1 % 2**32),
    *(2, 6, 54321),
    *(4, 4, -1 % 2**32),
    *(16, 6, -1 % 2**32),
    *(32, 0, -1 % 2**32),
)


@_with_attributes
def share(path: Path) -> None:
    os.setxattr(path, "system.posix_acl_access", ACCESS_LIST)


@pytest.mark.parametrize(("give", "name"), [(tag, "user.tags"), (share, "system.posix_acl_access")])
def test_tags_and_access_lists_are_kept(xlsx: Path, give: Callable[[Path], None], name: str) -> None:
    give(xlsx)
    held, mode = os.getxattr(xlsx, name), stat.S_IMODE(xlsx.stat().st_mode)
    copy_edited(xlsx, xlsx.with_name("copy.xlsx"))
    edit(xlsx, backup=True)
    for kept in ("log.xlsx", "log.xlsx.before", "copy.xlsx"):
        assert os.getxattr(xlsx.with_name(kept), name) == held
        assert stat.S_IMODE(xlsx.with_name(kept).stat().st_mode) == mode


def test_attributes_a_disk_refuses_do_not_stop_a_save(xlsx: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tag(xlsx)
    failing(monkeypatch, "os.setxattr", errno.ENOTSUP, at=1)
    edit(xlsx)
    assert value(xlsx) == 6


def test_a_folder_in_the_way_of_the_backup_is_told(xlsx: Path) -> None:
    before = xlsx.read_bytes()
    xlsx.with_name("log.xlsx.before").mkdir()
    with pytest.raises(BadWorkbook, match="in the way of the backup"):
        edit(xlsx, backup=True)
    assert xlsx.read_bytes() == before
    assert names(xlsx.parent) == ["log.xlsx", "log.xlsx.before"]


# Field by field what LibreOffice 7.4 wrote for a user of that name, the second with CreateMSOLockFiles.
OFFICE_LOCK = "Zoë Brenner\\, Łódź,root,vm,25.11.2026 11:28,file:///tmp/profile;".encode()
EXCEL_LOCK = (
    b"\x11Zo\xeb Brenner, A\xf3dz".ljust(55)
    + b"\x11\0"
    + "Zoë Brenner, Łódź".encode("utf-16-le")
    + b" \0" * 37
)
LOCKS = {
    ".~lock.log.xlsx#": {
        OFFICE_LOCK: "by Zoë Brenner, Łódź on vm since",
        b",root,vm,25.11.2026 11:28,file:///tmp/profile;": "by root on vm since",
        b"": "program since",
        b"\xff\xfe\0\0": "program",
        b",,,,;": "program since",
    },
    "~$log.xlsx": {
        EXCEL_LOCK: "by Zoë Brenner, Łódź since",
        b"\x03Ann".ljust(55): "by Ann since",
        b"": "program since",
        b"\xff" * 3: "program",
        bytes(165): "program since",
    },
}


@pytest.mark.parametrize(
    ("lock", "content", "says"), [(n, c, says) for n, kinds in LOCKS.items() for c, says in kinds.items()]
)
def test_who_has_a_workbook_open_is_told_with_what_to_do(
    xlsx: Path, lock: str, content: bytes, says: str
) -> None:
    place, before = xlsx.with_name(lock), xlsx.read_bytes()
    place.write_bytes(content)
    with pytest.raises(BadWorkbook) as told:
        edit(xlsx)
    message = str(told.value)
    assert says in message
    assert lock in message and "close it" in message and "delete the lock file" in message
    assert message.isprintable() and len(message) < 300
    assert xlsx.read_bytes() == before and place.exists()


def test_the_lock_of_the_file_a_link_leads_to_counts_too(xlsx: Path, tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    link = tmp_path / "far" / "link.xlsx"
    link.symlink_to(xlsx)
    lock = xlsx.with_name(".~lock.log.xlsx#")
    lock.write_bytes(OFFICE_LOCK)
    with pytest.raises(BadWorkbook) as told:
        edit(link)
    assert str(lock) in str(told.value)
