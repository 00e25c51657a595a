"""What the tests of the builder share."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from sheetcalc import layouts


@pytest.fixture
def changed(tmp_path: Path) -> Callable[..., layouts.Layout]:
    """The batch layout after changes in one sheet's file: changed("fermentation", old, new, old, new, …)."""

    def change(sheet: str, *texts: str) -> layouts.Layout:
        folder = tmp_path / "templates"
        shutil.copytree(layouts.folder(), folder)
        path = folder / "sheets" / f"{sheet}.toml"
        text = path.read_text(encoding="utf-8")
        for old, new in zip(texts[::2], texts[1::2], strict=True):
            assert old in text
            text = text.replace(old, new, 1)
        path.write_text(text, encoding="utf-8")
        return layouts.load("batch", folder)

    return change
