#!/usr/bin/env bash
# Sets up, makes the demo workbooks of the invented scenario, fills them and says where they are.
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/venv.sh

make_venv
export SOURCE_DATE_EPOCH=1780272000 # the day on which the invented scenario is filled
rm -rf examples/out
.venv/bin/python examples/demo.py examples/out
# 1 means that something serious was found, which the third batch is there for.
.venv/bin/sheetcalc fill examples/out || [ $? = 1 ]
echo
echo "The filled workbooks are in examples/out. Open one in LibreOffice or Excel, such as"
echo "  examples/out/birch-sugar.ods                      a clean sugar wash, metric"
echo "  examples/out/creek-grain-us.xlsx                  a clean grain wash, US units"
echo "  examples/out/vineyard-wine.ods                    a bought-in wine"
echo "  examples/out/harbour-molasses-with-mistakes.ods   what the flags look like"
echo "  examples/out/daily-bench.xlsx                     water to strength at the bench"
echo "Type something into it, save and close it, and run:  .venv/bin/sheetcalc fill examples/out"
