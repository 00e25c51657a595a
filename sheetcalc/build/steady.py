"""The same layout gives the same bytes, whenever and wherever it is built."""

import zipfile
from datetime import datetime
from pathlib import Path

CREATOR = "sheetcalc"
CREATED = datetime(2026, 1, 1)


def settle(path: Path) -> None:
    """Rewrite a zipped document with a fixed time on each of its parts, in their order."""
    with zipfile.ZipFile(path) as package:
        parts = [(entry.filename, entry.compress_type, package.read(entry)) for entry in package.infolist()]
    with zipfile.ZipFile(path, "w") as package:
        for name, compression, content in parts:
            entry = zipfile.ZipInfo(name, CREATED.timetuple()[:6])
            entry.compress_type = compression
            entry.external_attr = 0o644 << 16
            package.writestr(entry, content)
