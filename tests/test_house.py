"""The house: imports point one way, and each room keeps to its matter."""

import ast
from pathlib import Path

import pytest

import sheetcalc

PACKAGE = Path(sheetcalc.__file__).parent
# What each room may import of ours; a room is a folder or a module of the package.
MAY_IMPORT = {
    "liquids": {"liquids"},
    "instruments": {"liquids"},
    "law": {"liquids"},
    "tastings": set(),
    "units": {"liquids"},
    "letters": set(),
    "number_formats": set(),
    "meant": {"units"},
    "findings": set(),
    "layouts": {"number_formats", "units"},
    "interrupts": set(),
    "files": {"files", "interrupts", "letters"},
    "build": {"build", "findings", "layouts", "letters", "units"},
    "stages": {"stages", "instruments", "law", "liquids", "meant", "tastings", "units", "findings"},
    "entries": {"files", "findings", "layouts", "meant", "units"},
    "uncertainty": {"compute", "instruments", "layouts", "liquids", "stages"},
    "compute": {"entries", "findings", "layouts", "liquids", "meant", "stages", "uncertainty", "units"},
    "filled": {
        *("build", "compute", "entries", "files", "filled", "findings", "layouts", "stages", "units"),
        "__version__",
    },
    "own": {"compute", "entries", "files", "findings", "layouts", "own", "units"},
    "filling": {"compute", "entries", "files", "filled", "findings", "layouts", "own", "__version__"},
    "many": {"files", "interrupts"},
    "registers": {
        *("build", "compute", "entries", "files", "filled", "filling", "findings", "interrupts", "layouts"),
        *("many", "registers", "units", "__version__"),
    },
    "making": {"build", "compute", "layouts", "registers"},
    "watching": {"files", "filling", "findings", "many"},
    "terminal": {"filling", "findings", "many"},
    "commands": {"filling", "findings", "layouts", "many", "own", "terminal"},
    "cli": {
        *("commands", "files", "findings", "interrupts", "layouts", "making", "many", "own", "registers"),
        *("terminal", "watching", "__version__"),
    },
}
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.name not in ("__init__.py", "__main__.py"))


def room(path: Path) -> str:
    """The folder of the package a module is in, or its own name."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imported(path: Path) -> set[str]:
    """The rooms of ours that a module imports."""
    rooms: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "sheetcalc":
            rooms |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sheetcalc."):
            rooms.add(str(node.module).split(".")[1])
        elif isinstance(node, ast.Import):
            rooms |= {a.name.split(".")[1] for a in node.names if a.name.startswith("sheetcalc.")}
    return rooms


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_point_one_way(path: Path) -> None:
    assert imported(path) <= MAY_IMPORT[room(path)]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_every_public_function_says_what_it_is(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module has no docstring"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), node.name
