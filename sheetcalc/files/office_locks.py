"""Lock files: what a spreadsheet program lays beside a workbook while it has it open."""

import os
import re
import time
from pathlib import Path

from sheetcalc.files.trouble import BadWorkbook

# A lock file holds a few names; whatever is larger is none.
_MOST = 4096
_LONGEST_NAME = 60
# [LibreOffice svl/msodocumentlockfile] Excel keeps the name twice, each time behind its length: from byte 1
# in the system's code page, from byte 57 in UTF-16.
_EXCEL_LENGTH, _EXCEL_NAME = 55, 57


def open_lock(path: Path | str) -> Path | None:
    """The lock file that shows `path` to be open in a spreadsheet program, or None.

    Where `path` is a link, the file it leads to may be the one that is open.
    """
    for place in dict.fromkeys((Path(path), Path(os.path.realpath(path)))):
        for name in (f"~${place.name}", f".~lock.{place.name}#"):
            # A name too long to be one is no file either.
            if os.path.exists(place.with_name(name)):  # noqa: PTH110 - Path.exists would complain of it
                return place.with_name(name)
    return None


def refuse_open(path: Path) -> None:
    """Raise BadWorkbook with who has it open and what to do when `path` is open in a spreadsheet program."""
    lock = open_lock(path)
    if lock is None:
        return
    where = lock.name if lock.parent == path.parent else str(lock)
    raise BadWorkbook(
        f"It is open in a spreadsheet program{_by(lock)} (there is a lock file {where}). Save and close it "
        "there, then fill it. If no program has it open, delete the lock file."
    )


def _by(lock: Path) -> str:
    """Who has it open, and since when, as far as the lock file tells."""
    try:
        with lock.open("rb") as file:
            content = file.read(_MOST)
        since = time.strftime("%Y-%m-%d %H:%M", time.localtime(lock.stat().st_mtime))
    except OSError:
        # Excel under Windows lets nobody read it.
        return ""
    owner = _excel_owner(content) if lock.name.startswith("~$") else _office_owner(content)
    owner = "".join(letter for letter in owner if letter.isprintable()).strip()[:_LONGEST_NAME]
    return f" by {owner} since {since}" if owner else f" since {since}"


def _excel_owner(content: bytes) -> str:
    length = int.from_bytes(content[_EXCEL_LENGTH:_EXCEL_NAME], "little")
    wide = content[_EXCEL_NAME : _EXCEL_NAME + 2 * length].decode("utf-16-le", "replace")
    return wide or content[1 : 1 + content[0]].decode("cp1252", "replace") if content else ""


def _office_owner(content: bytes) -> str:
    """LibreOffice's fields are full name, account, computer, time and profile; commas in them are escaped."""
    fields = [
        re.sub(r"\\(.)", r"\1", field)
        for field in re.split(r"(?<!\\),", content.decode("utf-8", "replace").rstrip(";\r\n"))
    ]
    name, account, computer = (*fields, "", "", "")[:3]
    who = name.strip() or account.strip()
    return f"{who} on {computer}" if who and computer else who
