"""`sheetcalc watch`, as a process of its own: filled after every kind of save, never because of itself."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from demo import type_in
from test_fill import one_litre, results

from sheetcalc import files
from sheetcalc.filling import bring_up_to_date
from sheetcalc.watching import AWAY, IDLE, STILL

Blank = Callable[..., Path]
PATIENCE = 60.0  # seconds for one line, on a slow machine
QUIET = 3 * (STILL + IDLE)  # seconds in which a loop would have shown

pytestmark = pytest.mark.skipif(os.name != "posix", reason="this is tried on Linux and macOS alone")


class Watcher:
    """A running `sheetcalc watch` and the lines it printed."""

    def __init__(self, *names: Path) -> None:
        command = [sys.executable, "-m", "sheetcalc", "watch", *map(str, names)]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8"
        )
        self.lines: list[str] = []
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()
        self.wait_for("waiting for the next save")

    def _read(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))

    def wait_for(self, *words: str, count: int = 1) -> None:
        """Wait until so many lines have all the words."""
        deadline = time.monotonic() + PATIENCE
        while len(self.told(*words)) < count:
            assert time.monotonic() < deadline, (words, self.lines)
            assert self.process.poll() is None, self.process.communicate()[1]
            time.sleep(0.05)

    def told(self, *words: str) -> list[str]:
        """The lines that have all the words."""
        return [line for line in self.lines if all(word in line for word in words)]

    def end(self) -> None:
        """End it, whatever it does."""
        self.process.kill()
        self.process.wait()


@pytest.fixture
def folder(blank: Blank, tmp_path: Path) -> Path:
    """A folder with a workbook of each format in which nothing was typed yet, up to date."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for ending in (".xlsx", ".ods"):
        path = folder / f"log{ending}"
        shutil.copyfile(blank("bench", "metric", ending), path)
        bring_up_to_date(path)
    return folder


@pytest.fixture
def watching() -> Iterator[Callable[..., Watcher]]:
    """Start to watch; all ends with the test."""
    started: list[Watcher] = []

    def start(*names: Path) -> Watcher:
        started.append(Watcher(*names))
        return started[-1]

    yield start
    for watcher in started:
        watcher.end()


def is_filled(path: Path) -> bool:
    """Whether 0.7 L of 60 % vol are told to make a litre of 42 % vol (see test_fill.py)."""
    return results(path, "strength").get("final_strength") == pytest.approx(42.0, abs=0.05)


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_a_save_in_place_is_filled_once_and_its_own_write_is_none(
    folder: Path, watching: Callable[..., Watcher], ending: str
) -> None:
    path, watcher = folder / f"log{ending}", watching(folder)
    type_in(path, one_litre())
    watcher.wait_for(path.name, "filled")
    assert is_filled(path)
    left = path.stat()
    time.sleep(QUIET)
    assert len(watcher.told(path.name)) == 1
    assert path.stat().st_mtime_ns == left.st_mtime_ns
    type_in(path, {"strength": [{"reading": 61.0}]})
    watcher.wait_for(path.name, "filled", count=2)


def test_saves_by_rename_and_by_deleting_first_are_filled(
    folder: Path, watching: Callable[..., Watcher], tmp_path: Path
) -> None:
    path, watcher, aside = folder / "log.xlsx", watching(folder), tmp_path / "aside.xlsx"
    shutil.copyfile(path, aside)
    type_in(aside, one_litre())
    beside = folder / "1F3A.tmp"
    shutil.copyfile(aside, beside)
    beside.replace(path)
    watcher.wait_for("log.xlsx", "filled")
    assert is_filled(path)
    path.unlink()
    time.sleep(2 * STILL)
    shutil.copyfile(aside, path)
    watcher.wait_for("log.xlsx", "filled", count=2)
    assert is_filled(path)
    assert not watcher.told("gone")


def test_an_open_workbook_is_filled_when_it_is_closed(
    folder: Path, watching: Callable[..., Watcher], tmp_path: Path
) -> None:
    path, watcher = folder / "log.xlsx", watching(folder)
    lock = folder / "~$log.xlsx"
    lock.write_bytes(b"")
    aside = Path(shutil.copyfile(path, tmp_path / "aside.xlsx"))
    type_in(aside, one_litre())
    shutil.copyfile(aside, path)
    watcher.wait_for("log.xlsx: saved; it will be filled when it is closed")
    saved = path.read_bytes()
    time.sleep(QUIET)
    assert path.read_bytes() == saved
    assert len(watcher.told("log.xlsx")) == 1
    lock.unlink()
    watcher.wait_for("log.xlsx: filled")
    assert is_filled(path)


def test_a_burst_of_saves_is_filled_when_it_is_over(folder: Path, watching: Callable[..., Watcher]) -> None:
    path, watcher = folder / "log.ods", watching(folder)
    for reading in (59.0, 59.5, 60.0):
        log = one_litre()
        log["strength"][0]["reading"] = reading
        type_in(path, log)
        time.sleep(STILL / 4)
    watcher.wait_for("log.ods: filled")
    time.sleep(QUIET)
    assert is_filled(path)


def test_a_file_that_comes_in_pieces_is_filled_when_it_is_whole(
    folder: Path, watching: Callable[..., Watcher], tmp_path: Path
) -> None:
    whole, watcher = tmp_path / "log.xlsx", watching(folder)
    shutil.copyfile(folder / "log.xlsx", whole)
    type_in(whole, one_litre())
    data = whole.read_bytes()
    path = folder / "piecemeal.xlsx"
    with path.open("wb") as file:
        for start in range(0, len(data), len(data) // 6):
            file.write(data[start : start + len(data) // 6])
            file.flush()
            time.sleep(STILL / 2)
    watcher.wait_for("piecemeal.xlsx: filled")
    assert is_filled(path)
    assert len(watcher.told("piecemeal.xlsx")) == 1


def test_new_folders_and_renamed_workbooks_are_followed(
    folder: Path, watching: Callable[..., Watcher]
) -> None:
    watcher = watching(folder)
    inner = folder / "2027" / "plum"
    inner.mkdir(parents=True)
    shutil.move(folder / "log.xlsx", inner / "plum.xlsx")
    time.sleep(2 * STILL)
    type_in(inner / "plum.xlsx", one_litre())
    watcher.wait_for("plum.xlsx: filled")
    assert is_filled(inner / "plum.xlsx")
    (folder / "2027").rename(folder / "2028")
    time.sleep(2 * STILL)
    type_in(folder / "2028" / "plum" / "plum.xlsx", {"strength": [{"reading": 61.0}]})
    watcher.wait_for("2028", "plum.xlsx: filled")


def test_a_folder_that_goes_is_told_and_watched_again_when_it_is_back(
    folder: Path, watching: Callable[..., Watcher], tmp_path: Path
) -> None:
    watcher = watching(folder)
    kept = tmp_path / "kept"
    shutil.copytree(folder, kept)
    shutil.rmtree(folder)
    watcher.wait_for("is gone")
    time.sleep(AWAY + IDLE)
    shutil.copytree(kept, folder)
    watcher.wait_for("is back")
    time.sleep(IDLE + 2 * STILL)
    type_in(folder / "log.ods", one_litre())
    watcher.wait_for("log.ods: filled")
    assert is_filled(folder / "log.ods")
    assert len(watcher.told("is gone")) == len(watcher.told("is back")) == 1


def test_a_bad_file_is_told_once_until_it_changes(folder: Path, watching: Callable[..., Watcher]) -> None:
    bad, watcher = folder / "bad.xlsx", watching(folder)
    bad.write_bytes(b"PK\x03\x04 no more")
    watcher.wait_for("bad.xlsx: ")
    time.sleep(QUIET)
    assert len(watcher.told("bad.xlsx")) == 1
    assert bad.read_bytes() == b"PK\x03\x04 no more"
    shutil.copyfile(folder / "log.xlsx", bad)
    type_in(bad, one_litre())
    watcher.wait_for("bad.xlsx: filled")


def test_a_single_workbook_is_watched_and_its_neighbours_are_not(
    folder: Path, watching: Callable[..., Watcher]
) -> None:
    watcher = watching(folder / "log.xlsx")
    type_in(folder / "log.ods", one_litre())
    type_in(folder / "log.xlsx", one_litre())
    watcher.wait_for("log.xlsx: filled")
    time.sleep(QUIET)
    assert not watcher.told("log.ods:")
    assert not is_filled(folder / "log.ods")


def test_what_was_typed_before_is_filled_at_the_start(folder: Path, watching: Callable[..., Watcher]) -> None:
    type_in(folder / "log.xlsx", one_litre())
    watcher = watching(folder)
    watcher.wait_for("log.xlsx: filled")
    assert not watcher.told("log.ods:")


@pytest.mark.parametrize("kind", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_ends_it_as_it_ends_the_other_commands(
    folder: Path, watching: Callable[..., Watcher], kind: signal.Signals
) -> None:
    watcher = watching(folder)
    watcher.process.send_signal(kind)
    assert watcher.process.wait(timeout=PATIENCE) == 128 + kind
    assert watcher.process.stderr
    assert watcher.process.stderr.read().startswith("Interrupted; every workbook is whole")
    for path in folder.iterdir():
        assert files.open_workbook(path).sheets


def test_a_name_that_means_nothing_is_refused(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "sheetcalc", "watch", str(tmp_path / "nowhere")],
        capture_output=True,
        encoding="utf-8",
    )
    assert done.returncode == 2
    assert "nowhere: there is no such file or folder." in done.stderr


@pytest.mark.office
@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_what_libreoffice_saves_is_filled(
    folder: Path, watching: Callable[..., Watcher], do: Callable[..., Any], ending: str
) -> None:
    """It renames, locks and deletes in its own way."""
    path = folder / f"log{ending}"
    type_in(path, one_litre())
    typed = path.read_bytes()
    watcher = watching(folder)
    watcher.wait_for(path.name, "filled")
    path.write_bytes(typed)
    do("act", path=str(path), acts=[], saves=[str(path)])
    assert path.read_bytes() != typed
    watcher.wait_for(path.name, "filled", count=2)
    time.sleep(QUIET)
    assert is_filled(path)
    assert bring_up_to_date(path).up_to_date
