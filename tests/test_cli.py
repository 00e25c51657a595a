"""The commands, as a person runs them: exit codes, one clear line for each bad file, nothing harmed."""

import contextlib
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from logs import clean_log, put, spoilt, typed
from typer.testing import CliRunner

from sheetcalc.cli import app

Blank = Callable[..., Path]
CFB_MAGIC = bytes.fromhex("d0cf11e0a1b11ae1")  # [MS-CFB] 2.2: how a compound file begins


def run(*words: object) -> tuple[int, str, str]:
    """Exit code, output and error output of a command."""
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_new_fill_and_check_end_with_the_exit_codes_of_the_contract(tmp_path: Path) -> None:
    path = tmp_path / "log.ods"
    assert run("new", "batch", path, "--units", "us")[0] == 0
    assert run("fill", path)[0] == 0
    assert run("check", path)[0] == 0


def test_errors_found_end_with_one(blank: Blank, tmp_path: Path) -> None:
    log = spoilt(put("strength", 0, target_strength=70.0))
    path = typed(log, blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    code, out, _ = run("check", path)
    assert code == 1
    assert "Strength!E6" in out
    assert run("fill", path)[0] == 1


def test_json_holds_one_object_a_finding(blank: Blank, tmp_path: Path) -> None:
    log = spoilt(put("strength", 0, target_strength=70.0))
    path = typed(log, blank("batch", "metric", ".ods"), tmp_path / "log.ods")
    code, out, _ = run("check", path, "--json")
    found = [json.loads(line) for line in out.splitlines()]
    keys = ["file", "sheet", "cell", "column", "level", "danger", "rule", "message", "advice"]
    assert all(list(finding) == keys for finding in found)
    assert {finding["level"] for finding in found} <= {"error", "warning", "note"}
    assert [f["cell"] for f in found if f["rule"] == "target_above_source"] == ["E6"]
    assert code == 1


def test_check_writes_nothing(blank: Blank, tmp_path: Path) -> None:
    path = typed(clean_log(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    before = path.read_bytes()
    run("check", path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["log.xlsx"]


def empty(path: Path) -> None:
    path.write_bytes(b"")


def text(path: Path) -> None:
    path.write_text("a,b,c\n1,2,3\n")


def password(path: Path) -> None:
    path.write_bytes(CFB_MAGIC + bytes(2048))


def truncated(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def foreign(path: Path) -> None:
    import openpyxl

    openpyxl.Workbook().save(path)


def other_kind(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("hello.txt", "hello")


def locked(path: Path) -> None:
    path.with_name(f".~lock.{path.name}#").write_text(",someone,somewhere,;")


BAD: dict[Callable[[Path], None], str] = {
    empty: "empty",
    text: "not",
    password: "password",
    truncated: "damaged",
    foreign: "not one of our workbooks",
    other_kind: "no Excel or OpenDocument",
    locked: "open in a spreadsheet program",
}


@pytest.mark.parametrize("spoil", BAD, ids=lambda spoil: spoil.__name__)
def test_a_file_that_cannot_be_used_gets_one_clear_line_and_the_others_are_done(
    blank: Blank, tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    bad, good = tmp_path / "a-bad.xlsx", tmp_path / "b-good.xlsx"
    shutil.copyfile(blank("batch", "metric", ".xlsx"), bad)
    typed(clean_log(), blank("batch", "metric", ".xlsx"), good)
    spoil(bad)
    before = bad.read_bytes()
    code, out, err = run("fill", bad, good)
    assert code == 2
    assert err.count("\n") == 1
    assert str(bad) in err
    assert BAD[spoil] in err
    assert str(good) in out
    assert bad.read_bytes() == before


@pytest.mark.parametrize("name", ["missing.xlsx", "*.xlsx", "."])
def test_a_name_that_means_nothing_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run("fill", name)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1


def test_folders_and_patterns_mean_the_workbooks_in_them(blank: Blank, tmp_path: Path) -> None:
    for name in ("one/a.xlsx", "one/two/b.ods", "one/.hidden/c.xlsx", "one/~$a.xlsx", "d.xlsx"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(blank("bench", "metric", path.suffix), path)
    *told, total = run("check", tmp_path / "one", tmp_path / "*.xlsx")[1].splitlines()
    paths = [str(tmp_path / name) for name in ("one/a.xlsx", "one/two/b.ods", "d.xlsx")]
    assert [line.split(":")[0] for line in told] == paths
    assert total.startswith("3 workbooks: ")


def test_filled_copies_go_to_a_folder_and_replace_nothing(blank: Blank, tmp_path: Path) -> None:
    path = typed(clean_log(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    before = path.read_bytes()
    assert run("fill", path, "--to", tmp_path / "out")[0] == 0
    assert path.read_bytes() == before
    copy = (tmp_path / "out" / "log.xlsx").read_bytes()
    assert copy != before
    code, _, err = run("fill", path, "--to", tmp_path / "out")
    assert code == 2
    assert "is there already" in err
    assert (tmp_path / "out" / "log.xlsx").read_bytes() == copy


def test_new_never_replaces_a_file_and_knows_its_endings(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_text("mine")
    assert run("new", "batch", path)[0] == 2
    assert path.read_text() == "mine"
    assert run("new", "batch", tmp_path / "log.csv")[0] == 2
    code, _, err = run("new", "batches", tmp_path / "other.xlsx")
    assert code == 2
    assert "batch or bench" in err


def test_the_shell_completes_commands_kinds_and_options() -> None:
    def offered(line: str) -> list[str]:
        words = {"COMP_WORDS": line, "COMP_CWORD": str(len(line.split(" ")) - 1)}
        env = os.environ | words | {"_SHEETCALC_COMPLETE": "complete_bash"}
        command = [sys.executable, "-c", "from sheetcalc.cli import app; app(prog_name='sheetcalc')"]
        return subprocess.run(command, env=env, capture_output=True, text=True, check=True).stdout.split()

    assert offered("sheetcalc ga") == ["gather"]
    assert offered("sheetcalc new ") == ["batch", "bench"]
    assert offered("sheetcalc new batch a.ods --units m") == ["metric"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("words", [["check", "LOG"], ["check", "--json", "LOG"], ["--help"]])
def test_what_cannot_be_printed_is_told_in_one_line(blank: Blank, tmp_path: Path, words: list[str]) -> None:
    path = typed(clean_log(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    command = [sys.executable, "-m", "sheetcalc", *(str(path) if word == "LOG" else word for word in words)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 2
    assert done.stderr == "What is told can't be written: No space left on device.\n"


def test_help_and_version_do_not_load_what_only_a_fill_needs() -> None:
    heavy = "numpy, lxml, openpyxl, odf, pandas, pint"
    script = (
        "import sys; from typer.testing import CliRunner; from sheetcalc.cli import app\n"
        "CliRunner().invoke(app, ['--help'])\n"
        f"print([m for m in '{heavy}'.split(', ') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_fill_loads_neither_pandas_nor_openpyxl_nor_pint(blank: Blank, tmp_path: Path) -> None:
    path = typed(clean_log(), blank("batch", "metric", ".ods"), tmp_path / "log.ods")
    heavy = "openpyxl, odf, pandas, pint"
    script = (
        f"import sys, pathlib; from sheetcalc.filling import fill; fill(pathlib.Path({str(path)!r}))\n"
        f"print([m for m in '{heavy}'.split(', ') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def on_a_terminal(*words: object) -> str:
    """What a command shows on a terminal 100 columns wide."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "sheetcalc", *map(str, words)]
    surroundings = os.environ | {"COLUMNS": "100", "TERM": "xterm-256color"}
    with subprocess.Popen(command, stdout=theirs, stderr=theirs, env=surroundings) as process:
        os.close(theirs)
        shown = b""
        # A terminal whose other end is closed is an error on Linux and the end of the file elsewhere.
        with contextlib.suppress(OSError):
            while piece := os.read(ours, 4096):
                shown += piece
        process.wait(timeout=60)
    os.close(ours)
    return shown.decode("utf-8")


def test_on_a_terminal_findings_are_a_table_in_colour_and_elsewhere_plain_lines(
    blank: Blank, tmp_path: Path
) -> None:
    path = typed(
        spoilt(put("runs", 0, charge_volume=48.0)), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx"
    )
    plain = run("check", path)[1]
    assert "\x1b" not in plain and "          -> " in plain
    shown = on_a_terminal("check", path)
    assert "\x1b[1;31mERROR" in shown
    assert "->" not in shown
    words = " ".join(re.sub(r"\x1b\[[0-9;]*m", "", shown).split())
    assert "48.00 L is more" in words


def test_a_fill_without_options_says_the_same_and_loads_no_parser(blank: Blank, tmp_path: Path) -> None:
    path = typed(
        spoilt(put("strength", 0, target_strength=70.0)),
        blank("batch", "metric", ".xlsx"),
        tmp_path / "a.xlsx",
    )
    said = []
    for words in (["check", path], ["check", path, "--jobs", "1"], ["fill", path]):
        command = [sys.executable, "-X", "importtime", "-m", "sheetcalc", *map(str, words)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        said.append((done.returncode, done.stdout, "typer" in done.stderr))
    short, long, filled = said
    assert long[0] == 1
    assert long[2]
    assert short == (1, long[1], False)
    assert filled[0] == 1
    assert not filled[2]
