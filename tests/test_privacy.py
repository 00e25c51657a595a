"""What we add to a workbook tells nothing about the person or the machine it was made on."""

import json
import os
import struct
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOLDER, USER, HOME, HOST = "Telltale-Folder", "telltaleuser", "telltalehome", "telltalehost"
WORDS = (FOLDER, USER, HOME, HOST, "telltale")
WITH_A_MISTAKE = {
    "strength": [
        {"lot": "first", "volume": 5.0, "reading": 55.0, "temperature": 20.0, "target_strength": 70.0}
    ]
}
# Other names for the host and the user than those in the environment.
WORK = f"""
import getpass, os, platform, pathlib, socket
socket.gethostname = socket.getfqdn = platform.node = lambda *_: {HOST!r}
getpass.getuser = os.getlogin = lambda: {USER!r}
os.uname = lambda: os.uname_result(("Linux", {HOST!r}, "1", "1", "x"))
from demo import type_in
from sheetcalc.cli import app
import sys
name = sys.argv[1]
path = pathlib.Path(name).absolute()
try:
    app(["new", "batch", name])
except SystemExit as end:
    assert not end.code
type_in(path, {WITH_A_MISTAKE!r})
try:
    app(["fill", str(path)])
except SystemExit as end:
    assert end.code == 1, end.code
"""


def environment(home: Path) -> dict[str, str]:
    told = dict.fromkeys(("USER", "LOGNAME", "USERNAME"), USER)
    places = {name: str(home) for name in ("HOME", "USERPROFILE")}
    path = os.pathsep.join(map(str, (ROOT, ROOT / "examples", ROOT / "tests")))
    return os.environ | told | places | {"HOSTNAME": HOST, "COMPUTERNAME": HOST, "PYTHONPATH": path}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of a tell-tale name with a filled workbook in each format."""
    folder = tmp_path_factory.mktemp("private") / FOLDER
    (folder / HOME).mkdir(parents=True)
    for name in ("log.xlsx", "log.ods"):
        command = [sys.executable, "-c", WORK, name]
        subprocess.run(command, check=True, cwd=folder, env=environment(folder / HOME), capture_output=True)
    return folder


def everything(path: Path) -> Iterator[tuple[str, bytes]]:
    """Each member unpacked, and each header, extra field and comment, with the member's name."""
    with zipfile.ZipFile(path) as archive:
        yield "comment of the file", archive.comment
        for info in archive.infolist():
            yield info.filename, archive.read(info)
            yield f"{info.filename}, traits", info.extra + info.comment + info.filename.encode()
            yield f"{info.filename}, header", local_header(path.read_bytes(), info.header_offset)


def local_header(data: bytes, at: int) -> bytes:
    """A member's own header with its name and extra field."""
    name, extra = struct.unpack_from("<2H", data, at + 26)
    return data[at : at + 30 + name + extra]


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_no_path_user_or_machine_stands_in_a_workbook(folder: Path, ending: str) -> None:
    path = folder / f"log{ending}"
    places = {str(folder), str(ROOT), str(Path.home()), str(Path(sys.executable).parent)}
    words = {word.casefold().encode() for word in (*WORDS, *places) if len(word) > 3}
    words |= {word.replace(b"/", b"%2f") for word in words}
    found = [
        (where, word) for where, content in everything(path) for word in words if word in content.lower()
    ]
    assert found == []
    # The search finds what is there.
    assert any(b"first" in content for _, content in everything(path))
    assert not any(word in path.read_bytes().lower() for word in words)


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_the_search_would_find_a_path(folder: Path, tmp_path: Path, ending: str) -> None:
    told = tmp_path / f"told{ending}"
    told.write_bytes((folder / f"log{ending}").read_bytes())
    with zipfile.ZipFile(told, "a") as archive:
        info = zipfile.ZipInfo("docProps/custom.xml")
        info.comment = str(folder).encode()
        archive.writestr(info, f"<x>{USER}</x>")
    found = {where for where, content in everything(told) if b"telltale" in content.lower()}
    assert found == {"docProps/custom.xml", "docProps/custom.xml, traits"}


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_json_tells_the_path_as_it_was_given_and_no_other(folder: Path, ending: str) -> None:
    command = [sys.executable, "-m", "sheetcalc", "check", f"./log{ending}", "--json"]
    done = subprocess.run(command, cwd=folder, env=environment(folder / HOME), capture_output=True, text=True)
    lines = done.stdout.splitlines()
    assert lines, done.stderr
    assert {json.loads(line)["file"] for line in lines} == {f"log{ending}"}
    assert "telltale" not in done.stdout.casefold()
