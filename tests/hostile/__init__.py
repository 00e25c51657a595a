"""Hostile things that are planted in a workbook of ours; `cases()` are all of them."""

import importlib
import pkgutil

from hostile.planting import Case


def cases() -> list[Case]:
    """The cases of every module here."""
    modules = [importlib.import_module(f"hostile.{info.name}") for info in pkgutil.iter_modules(__path__)]
    return [case for module in modules if hasattr(module, "cases") for case in module.cases()]
