"""What the tests share: LibreOffice where it is there, and ready workbooks to type into."""

import subprocess
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from hypothesis import settings
from office_here import REQUIRED, SOFFICE

from sheetcalc import layouts
from sheetcalc.new import new

# A law holds or not; how long a slow machine takes to try it says nothing.
settings.register_profile("untimed", settings.get_profile(settings.get_current_profile_name()), deadline=None)
settings.load_profile("untimed")
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
