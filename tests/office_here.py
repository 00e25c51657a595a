"""Whether LibreOffice is here, and whether it has to be."""

import os
import shutil

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
REQUIRED = os.environ.get("SHEETCALC_REQUIRE_ALL") == "1"
