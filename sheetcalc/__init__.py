"""sheetcalc: a small-batch distiller's own workbook, read back, computed and flagged."""

__version__ = "0.1.0"
