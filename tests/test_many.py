"""Many workbooks, several at a time: each is done, in order, and whatever happens to one or to all."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from logs import clean_log, typed
from test_cli import run

from sheetcalc import files, many
from sheetcalc.filling import check, fill
from sheetcalc.findings import Finding

Blank = Callable[..., Path]
COUNT = 9
POSIX = pytest.mark.skipif(os.name != "posix", reason="this is tried on Linux and macOS alone")


@pytest.fixture
def folder(blank: Blank, tmp_path: Path) -> Path:
    """Workbooks to fill, in both formats, with one among them that is none."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for number in range(COUNT - 1):
        ending = (".xlsx", ".ods")[number % 2]
        shutil.copyfile(blank("bench", "metric", ending), folder / f"{number}{ending}")
    (folder / "broken.xlsx").write_bytes(b"PK\x03\x04 no more")
    return folder


def slower_first(path: Path) -> tuple[Finding, ...]:
    """The work on the first takes longer than on all others."""
    time.sleep(0.5 if path.name.startswith("0") else 0.0)
    return ()


def end_abruptly(path: Path) -> tuple[Finding, ...]:
    """As if the system had ended the process for want of memory."""
    if path.name.startswith("3"):
        os._exit(9)
    return ()


def test_outcomes_come_in_the_order_of_the_workbooks() -> None:
    tasks = [(Path(f"{number}.xlsx"),) for number in range(30)]
    outcomes = many.each(tasks, slower_first, jobs=3)
    assert [(outcome.path,) for outcome in outcomes] == tasks


def test_several_processes_find_what_one_finds(folder: Path) -> None:
    tasks = [(path,) for path in many.workbooks([str(folder)])]
    assert list(many.each(tasks, check, jobs=3)) == list(many.each(tasks, check))


def test_a_process_that_is_ended_is_told_and_the_others_are_not_lost_silently() -> None:
    tasks = [(Path(f"{number}.xlsx"),) for number in range(6)]
    outcomes = list(many.each(tasks, end_abruptly, jobs=2))
    assert [(outcome.path,) for outcome in outcomes] == tasks
    assert "ended from outside" in outcomes[3].trouble


def test_a_folder_is_filled_by_several_and_summed_up(folder: Path) -> None:
    code, out, err = run("fill", folder, "--jobs", "3")
    assert code == 2
    assert "broken.xlsx: " in err
    assert out.splitlines()[-1].startswith(f"{COUNT} workbooks: ")
    assert out.splitlines()[-1].endswith("; 1 could not be used.")
    again = {path.name: path.read_bytes() for path in folder.iterdir()}
    run("fill", folder, "--jobs", "3")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == again


@POSIX
@pytest.mark.parametrize("kind", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_stopped_in_the_midst_every_file_is_whole_and_no_process_stays(
    blank: Blank, tmp_path: Path, kind: signal.Signals
) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    first = typed(clean_log(), blank("batch", "metric", ".xlsx"), folder / "0.xlsx")
    for number in range(1, 12):
        shutil.copyfile(first, folder / f"{number}.xlsx")
    old = first.read_bytes()
    command = [sys.executable, "-m", "sheetcalc", "fill", str(folder), "--jobs", "2"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout
        assert process.stdout.readline()
        process.send_signal(kind)
        process.communicate(timeout=60)
    assert process.returncode == (-kind if kind == signal.SIGKILL else 128 + kind)
    deadline = time.monotonic() + 30
    while _working_on(folder) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert not _working_on(folder)
    assert any(path.read_bytes() == old for path in folder.iterdir())
    for path in folder.glob("[0-9]*.xlsx"):
        assert files.open_workbook(path).sheets
        fill(path)
    assert sorted(path.name for path in folder.iterdir()) == sorted(f"{n}.xlsx" for n in range(12))


def _working_on(folder: Path) -> bool:
    """Whether any process was told to work on the folder; a process inherits its parent's command line."""
    listed = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=True).stdout
    return str(folder) in listed
