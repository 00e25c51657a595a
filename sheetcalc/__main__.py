"""`python -m sheetcalc`."""

from sheetcalc.cli import app

app(prog_name="sheetcalc")
