"""What the tests share: LibreOffice where it is there, and ready workbooks to type into."""

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from threading import Timer
from typing import Any

import pytest
from hypothesis import settings
from office_here import REQUIRED, SOFFICE

from sheetcalc import layouts
from sheetcalc.making import new

# A law holds or not; how long a slow machine takes to try it says nothing.
settings.register_profile("untimed", settings.get_profile(settings.get_current_profile_name()), deadline=None)
settings.load_profile("untimed")
# What is started in a shell's background ignores Ctrl-C, and so would all that the tests start.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
HANDS = Path(__file__).with_name("office_hands.py")
PATIENCE = 180  # seconds for one order
CORPUS = Path(__file__).parents[2] / "shared" / "corpus"


def pytest_collection_modifyitems(items: Iterable[pytest.Item]) -> None:
    """Skip what can't run here; where everything is required, let it fail instead."""
    for item in items:
        if item.get_closest_marker("office") and not SOFFICE and not REQUIRED:
            item.add_marker(pytest.mark.skip(reason="LibreOffice is not installed"))
        if item.get_closest_marker("corpus") and not CORPUS.is_dir():
            item.add_marker(pytest.mark.skip(reason="the corpus of real workbooks is not beside the project"))


@pytest.fixture(scope="session")
def soffice(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., None]:
    """Convert workbooks with LibreOffice: soffice(kind, out_folder, *paths)."""
    profile = tmp_path_factory.mktemp("office-profile")

    def convert(kind: str, out: Path, *paths: Path) -> None:
        assert SOFFICE, "LibreOffice is not installed"
        subprocess.run(
            [
                *(SOFFICE, "--headless", f"-env:UserInstallation={profile.as_uri()}"),
                *("--convert-to", kind, "--outdir", str(out), *map(str, paths)),
            ],
            check=True,
            capture_output=True,
            timeout=300,
        )

    return convert


@pytest.fixture(scope="session")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """A blank workbook of a kind, unit system and ending; made once, to be copied."""
    folder = tmp_path_factory.mktemp("blank")

    def make(kind: str, system: layouts.System, ending: str) -> Path:
        path = folder / f"{kind}-{system}{ending}"
        if not path.exists():
            new(kind, path, system)
        return path

    return make


def office_python() -> str | None:
    """A Python that can talk to LibreOffice, or None."""
    beside = [Path(SOFFICE).resolve().with_name("python")] if SOFFICE else []
    for python in map(str, (sys.executable, "/usr/bin/python3", *beside)):
        if shutil.which(python):
            found = subprocess.run([python, "-c", "import uno"], capture_output=True, timeout=60)
            if found.returncode == 0:
                return python
    return None


@pytest.fixture(scope="session")
def do(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Any]]:
    """Give LibreOffice an order and wait for the answer; one LibreOffice serves the session."""
    python = office_python()
    if python is None or SOFFICE is None:
        (pytest.fail if REQUIRED else pytest.skip)("no Python here can import uno (python3-uno)")
    folder = tmp_path_factory.mktemp("hands-office")
    surroundings = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    with subprocess.Popen(
        [str(python), str(HANDS), str(SOFFICE), str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        encoding="utf-8",
        env=surroundings | {"PYTHONIOENCODING": "utf-8"},
        start_new_session=True,
    ) as process:
        assert process.stdin and process.stdout

        def ask(what: str, **order: Any) -> Any:
            assert process.stdin and process.stdout
            process.stdin.write(json.dumps({"do": what, **order}) + "\n")
            process.stdin.flush()
            too_long = Timer(PATIENCE, os.killpg, (process.pid, signal.SIGKILL))
            too_long.start()
            line = process.stdout.readline()
            too_long.cancel()
            assert line, "LibreOffice went away"
            answer = json.loads(line)
            assert "failed" not in answer, answer["failed"]
            return answer["answer"]

        yield ask
        process.stdin.close()
