"""Whatever happens during a fill, the workbook is the old one or the new one, and the person is told."""

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import kill_campaign
import pytest
from logs import clean_log, typed
from test_cli import run
from test_fill import ENDINGS, one_litre, results

from sheetcalc import files, layouts
from sheetcalc.files import BadWorkbook, locate
from sheetcalc.filling import examine, fill

Blank = Callable[..., Path]
HARD_TIMES, RACES = (Path(__file__).with_name(f"{name}.py") for name in ("hard_times", "races"))
POSIX = pytest.mark.skipif(os.name != "posix", reason="this is tried on Linux and macOS alone")
KILLS, INTERRUPTIONS, ROUNDS = 24, 6, 15


def total(counts: dict[str, Counter[str]]) -> Counter[str]:
    return sum(counts.values(), Counter())


@POSIX
def test_killed_at_any_moment_the_workbook_is_whole_and_the_next_fill_tidies_up() -> None:
    seen = total(kill_campaign.campaign(KILLS, seed=1, book="bench"))
    assert seen["stopped"] == seen["old"] + seen["new"] == KILLS, seen
    # Between the new file and its end a fill has next to nothing to do; it is seldom met there.
    assert seen["old"], seen
    assert (seen["half"], seen["litter"]) == (0, 0), seen


@pytest.mark.skipif(
    not Path("/proc/self/status").exists(), reason="NOT TRIED: can't see when a process listens"
)
@pytest.mark.parametrize("kind", ["INT", "TERM"])
def test_interrupted_at_any_moment_it_says_so_in_a_line_and_leaves_nothing(kind: str) -> None:
    seen = total(kill_campaign.campaign(INTERRUPTIONS, seed=2, kind=kind, book="bench"))
    assert seen["stopped"] == seen["old"] + seen["new"] == INTERRUPTIONS, seen
    assert (seen["half"], seen["litter"], seen["left"], seen["said wrong"]) == (0, 0, 0, 0), seen


@POSIX
def test_a_new_workbook_that_is_interrupted_leaves_nothing_behind(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "sheetcalc", "new", "bench", "log.xlsx"]
    process = subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE, text=True)
    while process.poll() is None and not list(tmp_path.glob(".sheetcalc-*")):
        time.sleep(0.001)
    process.send_signal(signal.SIGINT)
    said = process.communicate()[1]
    assert process.returncode == 130
    assert said.count("\n") == 1 and said.startswith("Interrupted")
    assert [p.name for p in tmp_path.iterdir()] in ([], ["log.xlsx"])


@POSIX
@pytest.mark.parametrize("ending", ENDINGS)
def test_fills_of_one_workbook_at_once_all_end_well(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(one_litre(), blank("bench", "metric", ending), tmp_path / f"log{ending}")
    folder = tmp_path / "race"
    folder.mkdir()
    command = [sys.executable, str(RACES), str(path), str(folder), str(ROUNDS), "3"]
    lines = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    fill(path)
    new = hashlib.sha256(path.read_bytes()).hexdigest()
    assert len(lines) == ROUNDS
    for line in lines:
        assert json.loads(line) == {"told": ["", "", ""], "held": new, "names": [path.name]}


def type_volume(path: Path, litres: float) -> None:
    """What a person types into the first lot, and saves as programs do: a new file takes the name."""
    other = path.with_name("theirs")
    shutil.copyfile(path, other)
    book = files.open_workbook(other)
    found = locate.find(book, [layouts.every_sheet()["strength"]])["strength"]
    book.write(found.tab, found.first_row, found.cells["volume"][1], litres)
    book.save()
    other.replace(path)


def edited_at_each_write(path: Path, monkeypatch: pytest.MonkeyPatch, edits: list[float]) -> None:
    """While a fill writes, a person saves another volume, as many times as there are edits."""
    real, busy = os.fsync, False

    def edited(handle: int) -> None:
        nonlocal busy
        real(handle)
        if edits and not busy:
            busy = True
            type_volume(path, edits.pop(0))
            busy = False

    # The person's program takes no notice of our lock.
    monkeypatch.setattr("sheetcalc.files.replacing._locked", lambda _: None)
    monkeypatch.setattr(os, "fsync", edited)


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_a_person_saves_during_a_fill_is_kept_and_filled(
    blank: Blank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ending), tmp_path / f"log{ending}")
    edited_at_each_write(path, monkeypatch, [0.6, 0.65])
    fill(path)
    row = results(path, "strength")
    # OIML R 22 as in test_fill: 0.7 L at 60 % vol in 1 L is 42.0 % vol; 0.65 L are 13/14 of it, to 0.05 %.
    assert row["final_strength"] == pytest.approx(42.0 * 0.65 / 0.7, abs=0.06)


def test_a_workbook_that_never_stands_still_is_left_to_the_person(
    blank: Blank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    edited_at_each_write(path, monkeypatch, [0.6, 0.61, 0.62, 0.63, 0.64, 0.65])
    code, _, err = run("fill", path, "--backup")
    assert code == 2 and err.count("\n") == 1
    assert "changed by another program" in err
    monkeypatch.undo()
    fill(path)
    assert results(path, "strength")["final_strength"] == pytest.approx(42.0 * 0.65 / 0.7, abs=0.06)
    assert [p.name for p in tmp_path.iterdir()] == ["log.xlsx"]


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that everybody can get to and write in; those of pytest are for one user."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o777)
        yield Path(name)


def hard(condition: str, path: Path, *more: object, mounting: bool = False) -> list[dict[str, Any]]:
    """What the fills under a condition were told."""
    command = [sys.executable, str(HARD_TIMES), condition, str(path), *map(str, more)]
    if mounting:
        command = [*UNSHARE, *command]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@POSIX
@pytest.mark.parametrize("ending", ENDINGS)
def test_what_a_killed_fill_was_writing_goes_with_the_next(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(one_litre(), blank("bench", "metric", ending), tmp_path / f"log{ending}")
    before = path.read_bytes()
    (seen,) = hard("killed", path)
    temporary, _ = names = seen["names"]
    assert (seen["signal"], temporary[:11], names[1:]) == (-9, ".sheetcalc-", [path.name])
    assert path.read_bytes() == before
    fill(path)
    assert results(path, "strength")["final_strength"] == pytest.approx(42.0, abs=0.05)
    assert [place.name for place in tmp_path.iterdir()] == [path.name]


# In a world of mounts of its own, which ends with the process; a user who is not root becomes root in it.
UNSHARE = ["unshare", "--mount", *([] if os.name != "posix" or os.geteuid() == 0 else ["--map-root-user"])]


def _can_mount() -> bool:
    if not shutil.which("unshare"):
        return False
    command = [*UNSHARE, "mount", "-t", "tmpfs", "none", tempfile.gettempdir()]
    return subprocess.run(command, capture_output=True).returncode == 0


MOUNTS = pytest.mark.skipif(not _can_mount(), reason="NOT TRIED: the system lets us mount no disk to fill up")


def is_told(said: str, word: str) -> None:
    assert word in said and "\n" not in said and said.endswith(".")


def write_protected_file(path: Path) -> None:
    path.chmod(0o444)


def file_of_somebody_else(path: Path) -> None:
    path.chmod(0o644)


def write_protected_folder(path: Path) -> None:
    path.chmod(0o666)
    path.parent.chmod(0o555)


def folder_where_only_owners_rename(path: Path) -> None:
    path.chmod(0o666)
    path.parent.chmod(0o1777)


PROTECTED: dict[Callable[[Path], None], str] = {
    write_protected_file: "write-protected",
    file_of_somebody_else: "write-protected",
    write_protected_folder: "can't be written to",
    folder_where_only_owners_rename: "can't be written to",
}


@POSIX
@pytest.mark.parametrize("protect", PROTECTED, ids=lambda protect: protect.__name__)
def test_what_a_person_may_not_write_stays_and_is_told(
    blank: Blank, open_folder: Path, protect: Callable[[Path], None]
) -> None:
    if os.geteuid() != 0 and protect not in (write_protected_file, write_protected_folder):
        pytest.skip("NOT TRIED: only root can make a file of somebody else's")
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), open_folder / "log.xlsx")
    before = path.read_bytes()
    if os.geteuid() == 0:
        os.chown(open_folder, 1, 1)  # neither root's nor nobody's
    protect(path)
    (said,) = hard("ordinary", path) if os.geteuid() == 0 else [{"trouble": run("fill", path)[2].strip()}]
    is_told(said["trouble"], PROTECTED[protect])
    open_folder.chmod(0o777)
    assert path.read_bytes() == before
    assert [p.name for p in open_folder.iterdir()] == ["log.xlsx"]


@POSIX
@pytest.mark.skipif(
    os.name == "posix" and os.geteuid() != 0, reason="NOT TRIED: needs root to give a file away"
)
def test_a_shared_file_stays_with_its_group(blank: Blank, open_folder: Path) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), open_folder / "log.xlsx")
    before = path.read_bytes()
    os.chown(path, 1, 54321)
    path.chmod(0o660)
    assert hard("ordinary", path, 54321) == [{"trouble": ""}]
    status = path.stat()
    assert path.read_bytes() != before
    assert (status.st_gid, status.st_mode & 0o777) == (54321, 0o660)


@POSIX
def test_a_file_that_may_not_become_large_enough_is_left_as_it_was(blank: Blank, tmp_path: Path) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".ods"), tmp_path / "log.ods")
    before = path.read_bytes()
    for said in hard("largest", path):
        is_told(said["trouble"], "file too large")
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["log.ods"]


@MOUNTS
@pytest.mark.parametrize("way", ["in place", "backup", "to"])
def test_a_disk_that_is_really_full_leaves_the_workbook_whole(blank: Blank, tmp_path: Path, way: str) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    said = hard("full", path, "160k", way, mounting=True)
    old = path.read_bytes().hex()
    fill(path)
    new = path.read_bytes().hex()
    refused, done = ([one for one in said if bool(one["trouble"]) is full] for full in (True, False))
    for one in refused:
        is_told(one["trouble"], "disk is full")
        assert (one["held"], one["strange"]) == ([old, "", ""], [])
    filled = {"in place": [new, "", ""], "backup": [new, old, ""], "to": [old, "", new]}
    for one in done:
        assert (one["held"], one["strange"]) == (filled[way], [])
    # With a backup twice the room is needed before anything is replaced.
    pages = -(-len(bytes.fromhex(new)) // 4096)
    assert len(refused) >= pages * (2 if way == "backup" else 1) - 1
    assert done


@MOUNTS
def test_a_disk_to_read_from_only_is_told(blank: Blank, tmp_path: Path) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    in_place, copy = hard("frozen", path, mounting=True)
    is_told(in_place["trouble"], "write-protected")
    is_told(copy["trouble"], "can't be written to")


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_version_before_is_kept_when_a_workbook_changes(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ending), tmp_path / f"log{ending}")
    kept, first = tmp_path / f"log{ending}.before", path.read_bytes()
    assert run("fill", path, "--backup")[0] == 0
    second = path.read_bytes()
    assert kept.read_bytes() == first != second
    # Nothing to change: the version before is still worth having.
    assert run("fill", path, "--backup")[0] == 0
    assert kept.read_bytes() == first
    type_volume(path, 0.6)
    typed_again = path.read_bytes()
    assert run("fill", path, "--backup")[0] == 0
    assert kept.read_bytes() == typed_again
    assert sorted(p.name for p in tmp_path.iterdir()) == [path.name, kept.name]
    kept.replace(path)
    assert files.open_workbook(path).sheets


def test_the_version_before_is_never_filled_itself(
    blank: Blank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    run("fill", path, "--backup")
    kept = tmp_path / "log.xlsx.before"
    before = kept.read_bytes()
    for name in (tmp_path, tmp_path / "*", tmp_path / "log*"):
        code, out, _ = run("fill", name)
        assert code == 0 and kept.name not in out
    code, _, err = run("fill", path, kept)
    assert code == 2 and err.count("\n") == 1
    assert "kept by --backup" in err
    assert run("check", kept)[0] == 0
    assert kept.read_bytes() == before


def test_a_backup_of_copies_makes_no_sense_and_nothing_is_done(blank: Blank, tmp_path: Path) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    before = path.read_bytes()
    code, out, err = run("fill", path, "--to", tmp_path / "out", "--backup")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "--backup" in err and "--to" in err
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["log.xlsx"]


def test_copies_go_to_folders_that_are_made_and_never_through_a_link(blank: Blank, tmp_path: Path) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    out = tmp_path / "some" / "where"
    assert run("fill", path, "--to", out)[0] == 0
    assert results(out / "log.xlsx", "strength")["final_strength"] == pytest.approx(42.0, abs=0.05)
    (out / "log.xlsx").unlink()
    (out / "log.xlsx").symlink_to(tmp_path / "not-yet.xlsx")
    code, _, err = run("fill", path, "--to", out)
    assert code == 2 and "is there already" in err
    assert not (tmp_path / "not-yet.xlsx").exists()
    (tmp_path / "file").touch()
    code, _, err = run("fill", path, "--to", tmp_path / "file")
    assert code == 2 and err.count("\n") == 1


def test_a_fill_without_anything_to_change_tidies_up_and_leaves_the_rest_alone(
    blank: Blank, tmp_path: Path
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    fill(path)
    seen = path.stat()
    (tmp_path / ".sheetcalc-abcd_123.tmp").write_bytes(b"half")
    fill(path)
    assert [p.name for p in tmp_path.iterdir()] == ["log.xlsx"]
    assert (path.stat().st_ino, path.stat().st_mtime_ns) == (seen.st_ino, seen.st_mtime_ns)


def test_links_are_filled_through_and_those_that_lead_nowhere_are_told(blank: Blank, tmp_path: Path) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    links = {name: tmp_path / f"{name}.xlsx" for name in ("good", "gone", "loop")}
    for name, target in {"good": "log.xlsx", "gone": "nowhere.xlsx", "loop": "loop.xlsx"}.items():
        links[name].symlink_to(target)
    code, out, err = run("fill", *links.values())
    assert code == 2 and str(links["good"]) in out
    assert [line.split(":")[0] for line in err.splitlines()] == [str(links["gone"]), str(links["loop"])]
    assert all(link.is_symlink() for link in links.values())
    assert results(path, "strength")["final_strength"] == pytest.approx(42.0, abs=0.05)


@POSIX
def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    pipe = tmp_path / "log.xlsx"
    os.mkfifo(pipe)
    with pytest.raises(BadWorkbook, match="pipe"):
        fill(pipe)


@pytest.mark.parametrize(
    ("ending", "signature"),
    [(".xlsx", "_xmlsignatures/sig1.xml"), (".ods", "META-INF/documentsignatures.xml")],
)
def test_that_a_fill_breaks_a_signature_is_told(
    blank: Blank, tmp_path: Path, ending: str, signature: str
) -> None:
    path = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"log{ending}")
    assert "signed" not in [finding.rule for finding in examine(path).findings]
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(signature, "<Signature/>")
    assert "signed" in [finding.rule for finding in examine(path).findings]
