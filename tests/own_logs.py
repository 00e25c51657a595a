"""Logs as people keep them on their own, all invented, and what each heading truly means.

Truth: the heading's cell -> "sheet.key unit", or "" for what none of our keys holds. Readings whose
result is known are from published tables; tests/test_adopt.py says from which.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
from odf import table as odf_table
from odf.opendocument import OpenDocumentSpreadsheet
from odf.text import P

Row = Sequence[Any]
START = datetime(2025, 9, 6, 18, 30)


def days(count: int, step: float = 1) -> list[datetime]:
    """Moments a step of days apart."""
    return [START + timedelta(days=step * n) for n in range(count)]


@dataclass(frozen=True)
class Log:
    """A workbook of somebody's own: rows by tab, merged cells by tab, the truth by tab and cell."""

    name: str
    tabs: dict[str, list[Row]]
    truth: dict[tuple[str, str], str]
    merged: dict[str, list[str]] = field(default_factory=dict)

    def make(self, folder: Path) -> Path:
        """Write it, in the format that its name ends in."""
        path = folder / self.name
        (_make_ods if path.suffix == ".ods" else _make_xlsx)(self, path)
        return path


def _make_xlsx(log: Log, path: Path) -> None:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for tab, rows in log.tabs.items():
        sheet = book.create_sheet(tab)
        for row in rows:
            sheet.append(list(row))
        for area in log.merged.get(tab, []):
            sheet.merge_cells(area)
    book.save(path)


def _make_ods(log: Log, path: Path) -> None:
    book = OpenDocumentSpreadsheet()
    for tab, rows in log.tabs.items():
        table = odf_table.Table(name=tab)
        for row in rows:
            line = odf_table.TableRow()
            for value in row:
                line.addElement(_ods_cell(value))
            table.addElement(line)
        book.spreadsheet.addElement(table)
    book.save(str(path))


def _ods_cell(value: Any) -> Any:
    if value is None:
        return odf_table.TableCell()
    if isinstance(value, datetime):
        return odf_table.TableCell(valuetype="date", datevalue=value.isoformat())
    if isinstance(value, str) and value.startswith("="):
        return odf_table.TableCell(formula=f"of:{value}", valuetype="float", value="0")
    if isinstance(value, str):
        cell = odf_table.TableCell(valuetype="string")
        cell.addElement(P(text=value))
        return cell
    return odf_table.TableCell(valuetype="float", value=str(value))


GERMAN = Log(
    "gaerbuch.xlsx",
    {
        "Maische": [
            ["Datum", "°Oe/SG", "Temp", "Bemerkung"],
            *[
                [day, gravity, temperature, None]
                for day, gravity, temperature in zip(
                    days(5), [1.04838, 1.031, 1.019, 1.0098, 0.9977], [20, 20, 20, 20, 30], strict=True
                )
            ],
        ],
        "Einkauf": [["Was", "Euro"], ["Zucker", 12.5], ["Hefe", 3.2]],
    },
    {
        ("Maische", "A1"): "fermentation.taken_at",
        ("Maische", "B1"): "fermentation.reading SG",
        ("Maische", "C1"): "fermentation.sample_temperature °C",
        ("Maische", "D1"): "fermentation.note",
        ("Einkauf", "A1"): "",
        ("Einkauf", "B1"): "",
    },
)

US = Log(
    "spirit-runs.xlsx",
    {
        "Jars 2025": [
            ["Run", "Jar", "Volume (fl oz)", "Proof", "Temp (°F)", "Nose"],
            ["S-1", "1", 12.0, 193, 75, "sharp"],
            ["S-1", "2", 12.5, 180, 68, "sweet"],
            ["S-1", "3", 12.5, 140, 70, "grainy"],
            ["Total", None, "=SUM(C2:C4)", None, None, None],
        ]
    },
    {
        ("Jars 2025", "A1"): "cuts.run",
        ("Jars 2025", "B1"): "cuts.jar",
        ("Jars 2025", "C1"): "cuts.volume fl oz",
        ("Jars 2025", "D1"): "cuts.reading proof",
        ("Jars 2025", "E1"): "cuts.temperature °F",
        ("Jars 2025", "F1"): "cuts.smell",
    },
)

FRENCH = Log(
    "registre.xlsx",
    {
        "Distillation": [
            ["Chauffe", "Chargé", None, "Recueilli", None, None, "Rendement (%)"],
            [
                None,
                "Volume chargé (L)",
                "TAV du vin (% vol)",
                "Volume recueilli (L)",
                "TAV brut (% vol)",
                "Température (°C)",
                None,
            ],
            ["C1", 40, 9.5, 6.1, 52, 20, None],
            ["C2", 40, 9.4, 6.0, 51, 22, None],
            ["Total", "=SUM(B3:B4)", None, "=SUM(D3:D4)", None, None, None],
        ],
        "Réduction": [
            [
                "Lot",
                "Volume (L)",
                "TAV (% vol)",
                "Température (°C)",
                "TAV souhaité (% vol)",
                "Eau à ajouter (L)",
            ],
            ["P-1", 100, 50, 20, 40, None],
            ["P-2", 100, 60, 20, 40, None],
        ],
    },
    {
        ("Distillation", "A2"): "runs.run",
        ("Distillation", "B2"): "runs.charge_volume L",
        ("Distillation", "C2"): "runs.charge_strength % vol",
        ("Distillation", "D2"): "runs.collected_volume L",
        ("Distillation", "E2"): "runs.collected_reading % vol",
        ("Distillation", "F2"): "runs.collected_temperature °C",
        ("Distillation", "G2"): "runs.recovery %",
        ("Réduction", "A1"): "strength.lot",
        ("Réduction", "B1"): "strength.volume L",
        ("Réduction", "C1"): "strength.reading % vol",
        ("Réduction", "D1"): "strength.temperature °C",
        ("Réduction", "E1"): "strength.target_strength % vol",
        ("Réduction", "F1"): "strength.water_volume L",
    },
    {"Distillation": ["A1:A2", "B1:C1", "D1:F1", "G1:G2"]},
)

TITLED = Log(
    "fermentacion.xlsx",
    {
        "Hoja1": [
            ["Cuaderno de la bodega (inventado)"],
            ["Densidad inicial (SG)", 1.080],
            ["Volumen del mosto (L)", 25],
            [],
            [
                "Fecha",
                "Lectura (SG)",
                "Temperatura de la muestra (°C)",
                "Observaciones",
                None,
                "Apuntes varios",
            ],
            [days(1)[0], 1.080, 20, "levadura", None, "comprar botellas"],
            [days(2)[1], 1.052, 22, None, None, "limpiar el serpentín"],
            [days(3)[2], 1.030, 21, None, None, None],
            [days(4)[3], 1.012, 20, None, None, None],
        ]
    },
    {
        ("Hoja1", "A2"): "batch.original_gravity SG",
        ("Hoja1", "A3"): "batch.wash_volume L",
        ("Hoja1", "A5"): "fermentation.taken_at",
        ("Hoja1", "B5"): "fermentation.reading SG",
        ("Hoja1", "C5"): "fermentation.sample_temperature °C",
        ("Hoja1", "D5"): "fermentation.note",
        ("Hoja1", "F5"): "",
    },
)

SEVERAL = Log(
    "quaderno.xlsx",
    {
        "2025": [
            ["Fermentazione pere"],
            ["Data", "Densità", "Temp. campione °C", "Note"],
            *[[d, g, 19, None] for d, g in zip(days(4), [1.058, 1.040, 1.020, 1.004], strict=True)],
            [],
            ["Fermentazione mele"],
            ["Data", "Densità", "Temp. campione °C", "Note"],
            *[[d, g, 18, None] for d, g in zip(days(3), [1.050, 1.033, 1.015], strict=True)],
            [],
            ["Diluizione"],
            ["Lotto", "Volume L", "Gradazione % vol", "Temp. campione °C", "Grado desiderato % vol"],
            ["pere", 2.5, 62, 20, 42],
            ["mele", 1.5, 58, 21, 42],
        ]
    },
    {
        **{
            ("2025", f"{c}{r}"): f"fermentation.{k}"
            for r in (2, 9)
            for c, k in zip("ABCD", ["taken_at", "reading SG", "sample_temperature °C", "note"], strict=True)
        },
        ("2025", "A15"): "strength.lot",
        ("2025", "B15"): "strength.volume L",
        ("2025", "C15"): "strength.reading % vol",
        ("2025", "D15"): "strength.temperature °C",
        ("2025", "E15"): "strength.target_strength % vol",
    },
)

TEXTS = Log(
    "textnumbers.xlsx",
    {
        "Wash 7": [
            ["Taken", "Hydrometer reading", "Sample temp", "Mash temp", "Remarks"],
            ["2025-10-01 08:00", "1,062", "68 F", "72 F", "fruit in"],
            ["2025-10-02 08:00", "1,045", "68 F", "75 F", None],
            ["2025-10-03 08:00", "1,021", "68 F", "75 F", None],
            ["2025-10-04 08:00", "1,006", "68 F", "73 F", None],
        ]
    },
    {
        ("Wash 7", "A1"): "fermentation.taken_at",
        ("Wash 7", "B1"): "fermentation.reading SG",
        ("Wash 7", "C1"): "fermentation.sample_temperature °F",
        ("Wash 7", "D1"): "fermentation.wash_temperature °F",
        ("Wash 7", "E1"): "fermentation.note",
    },
)

POLISH = Log(
    "dziennik.ods",
    {
        "Frakcje": [
            [
                "Gon",
                "Słoik",
                "Objętość [ml]",
                "Moc [% obj.]",
                "Temp. próbki [°C]",
                "Temp. par [°C]",
                "Zapach",
            ],
            ["1", "1", 150, 78, 20, 80.1, "ostry"],
            ["1", "2", 200, 75, 20, 80.9, "czysty"],
            ["1", "3", 200, 70, 20, 82.0, "czysty"],
            ["Razem", None, "=SUM([.C2:.C4])", None, None, None, None],
        ]
    },
    {
        ("Frakcje", "A1"): "cuts.run",
        ("Frakcje", "B1"): "cuts.jar",
        ("Frakcje", "C1"): "cuts.volume mL",
        ("Frakcje", "D1"): "cuts.reading % vol",
        ("Frakcje", "E1"): "cuts.temperature °C",
        ("Frakcje", "F1"): "cuts.vapour_temperature °C",
        ("Frakcje", "G1"): "cuts.smell",
    },
)

DUTCH = Log(
    "stookboek.ods",
    {
        "Vergisting": [
            ["Datum", "Dichtheid (SG)", "Temperatuur monster (°C)", "Opmerkingen"],
            *[[d, g, 20, None] for d, g in zip(days(4), [1.066, 1.044, 1.02, 1.001], strict=True)],
        ],
        "Verdunnen": [
            ["Partij", "Volume (l)", "Alcoholpercentage", "Temp (°C)", "Gewenste sterkte (%)", "Leverancier"],
            ["a", 3, 64, 20, 40, "eigen"],
            ["b", 2, 61, 20, 40, "eigen"],
        ],
    },
    {
        ("Vergisting", "A1"): "fermentation.taken_at",
        ("Vergisting", "B1"): "fermentation.reading SG",
        ("Vergisting", "C1"): "fermentation.sample_temperature °C",
        ("Vergisting", "D1"): "fermentation.note",
        ("Verdunnen", "A1"): "strength.lot",
        ("Verdunnen", "B1"): "strength.volume L",
        ("Verdunnen", "C1"): "strength.reading % vol",
        ("Verdunnen", "D1"): "strength.temperature °C",
        ("Verdunnen", "E1"): "strength.target_strength % vol",
        ("Verdunnen", "F1"): "",
    },
)

CZECH = Log(
    "paleni.xlsx",
    {
        "Kvas švestky": [
            ["Datum", "Cukernatost [°Bx]", "Teplota vzorku [°C]", "Teplota kvasu [°C]", "Poznámka"],
            *[[d, g, 20, 18, None] for d, g in zip(days(4), [18.5, 13, 8, 5], strict=True)],
        ],
        "Stáčení": [
            [
                "Stočeno",
                "Šarže",
                "Objem lahve [ml]",
                "Počet lahví",
                "Síla na etiketě [% obj.]",
                "Změřená síla [% obj.]",
            ],
            [days(1)[0], "S1", 500, 24, 50, 50.1],
            [days(2)[1], "S2", 500, 12, 50, 49.9],
        ],
    },
    {
        ("Kvas švestky", "A1"): "fermentation.taken_at",
        ("Kvas švestky", "B1"): "fermentation.reading °Bx",
        ("Kvas švestky", "C1"): "fermentation.sample_temperature °C",
        ("Kvas švestky", "D1"): "fermentation.wash_temperature °C",
        ("Kvas švestky", "E1"): "fermentation.note",
        ("Stáčení", "A1"): "bottling.bottled_at",
        ("Stáčení", "B1"): "bottling.lot",
        ("Stáčení", "C1"): "bottling.bottle_size mL",
        ("Stáčení", "D1"): "bottling.bottles",
        ("Stáčení", "E1"): "bottling.label_strength % vol",
        ("Stáčení", "F1"): "bottling.measured_strength % vol",
    },
)

PORTUGUESE = Log(
    "alambique.xlsx",
    {
        "Lotes": [
            ["Filtro de carvão", None, None, None, None, None],
            [
                "Lote",
                "Volume antes (L)",
                "Teor antes (% vol)",
                "Carvão (g)",
                "Volume depois (L)",
                "Responsável",
            ],
            ["A", 2.0, 45, 60, 1.95, "eu"],
            ["B", 3.0, 44, 80, 2.93, "eu"],
        ],
        "Mistura": [
            ["Mistura", "Componente", "Volume (L)", "Teor alcoólico"],
            ["M1", "cana A", 2.0, 45.5],
            ["M1", "cana B", 1.0, 41.0],
        ],
    },
    {
        ("Lotes", "A2"): "carbon.lot",
        ("Lotes", "B2"): "carbon.volume_in L",
        ("Lotes", "C2"): "carbon.strength_in % vol",
        ("Lotes", "D2"): "carbon.carbon_mass g",
        ("Lotes", "E2"): "carbon.volume_out L",
        ("Lotes", "F2"): "",
        ("Mistura", "A1"): "blend.lot",
        ("Mistura", "B1"): "blend.part",
        ("Mistura", "C1"): "blend.volume L",
        ("Mistura", "D1"): "blend.strength % vol",
    },
)

CORRECTED = Log(
    "ledger.xlsx",
    {
        "Cuts": [
            ["Run no.", "Jar", "Vol. [mL]", "ABV % @ 20C", "Head temp [°C]", "Cost"],
            ["7", "1", 250, 81.5, 79.9, 1.2],
            ["7", "2", 250, 79.0, 80.2, 1.2],
        ]
    },
    {
        ("Cuts", "A1"): "cuts.run",
        ("Cuts", "B1"): "cuts.jar",
        ("Cuts", "C1"): "cuts.volume mL",
        ("Cuts", "D1"): "cuts.strength_20 % vol",
        ("Cuts", "E1"): "cuts.vapour_temperature °C",
        ("Cuts", "F1"): "",
    },
)

NO_LOG = Log(
    "household.xlsx",
    {
        "Budget": [
            ["Date", "Amount", "Category", "Note"],
            [days(1)[0], 45.2, "food", "market"],
            [days(2)[1], 12.0, "travel", None],
        ],
        "Weather": [
            ["Day", "Temperature (°C)", "Rain (mm)"],
            [days(1)[0], 14.5, 3.0],
            [days(2)[1], 12.0, 0.0],
        ],
    },
    {(tab, f"{c}1"): "" for tab, letters in (("Budget", "ABCD"), ("Weather", "ABC")) for c in letters},
)

BARE = Log(
    "jars.xlsx",
    {
        "Sheet1": [
            ["Jar", "mL", "Reading", "Temp F", "Head", "Smells like"],
            ["1", 200, 160, 68, 175, "glue"],
            ["2", 200, 150, 68, 176, "sweet"],
        ]
    },
    {
        ("Sheet1", "A1"): "cuts.jar",
        ("Sheet1", "B1"): "cuts.volume mL",
        ("Sheet1", "C1"): "cuts.reading proof",
        ("Sheet1", "D1"): "cuts.temperature °F",
        ("Sheet1", "E1"): "cuts.vapour_temperature °F",
        ("Sheet1", "F1"): "cuts.smell",
    },
)

WORDY = Log(
    "wordy.xlsx",
    {
        "Pálení": [
            [
                "Pálení č.",
                "Začátek",
                "Kvas do kotle (l)",
                "Síla kvasu (%)",
                "Destilát (l)",
                "Lihovitost destilátu",
                "Teplota vzorku (°C)",
            ],
            ["1", days(1)[0], 40, 8, 6, 55, 20],
            ["2", days(2)[1], 40, 8.2, 6.1, 54, 20],
        ],
        "Quaderno": [
            ["Giorno", "Densità del mosto", "T. campione (°C)", "T. tino (°C)", "Appunti"],
            *[[d, g, 20, 24, "x"] for d, g in zip(days(3), [1.07, 1.04, 1.01], strict=True)],
        ],
        "Mise au degré": [
            [
                "N° de lot",
                "Volume avant (L)",
                "Degré avant",
                "T° éprouvette",
                "Degré voulu",
                "Eau nécessaire (L)",
                "Volume après (L)",
            ],
            ["A", 10, 60, 20, 42, 4, 14],
            ["B", 10, 62, 20, 42, 4, 14],
        ],
    },
    {
        ("Pálení", "A1"): "runs.run",
        ("Pálení", "B1"): "runs.filled_at",
        ("Pálení", "C1"): "runs.charge_volume L",
        ("Pálení", "D1"): "runs.charge_strength % vol",
        ("Pálení", "E1"): "runs.collected_volume L",
        ("Pálení", "F1"): "runs.collected_reading % vol",
        ("Pálení", "G1"): "runs.collected_temperature °C",
        ("Quaderno", "A1"): "fermentation.taken_at",
        ("Quaderno", "B1"): "fermentation.reading SG",
        ("Quaderno", "C1"): "fermentation.sample_temperature °C",
        ("Quaderno", "D1"): "fermentation.wash_temperature °C",
        ("Quaderno", "E1"): "fermentation.note",
        ("Mise au degré", "A1"): "strength.lot",
        ("Mise au degré", "B1"): "strength.volume L",
        ("Mise au degré", "C1"): "strength.reading % vol",
        ("Mise au degré", "D1"): "strength.temperature °C",
        ("Mise au degré", "E1"): "strength.target_strength % vol",
        ("Mise au degré", "F1"): "strength.water_volume L",
        ("Mise au degré", "G1"): "strength.final_volume L",
    },
)

LOGS = (
    GERMAN,
    US,
    FRENCH,
    TITLED,
    SEVERAL,
    TEXTS,
    POLISH,
    DUTCH,
    CZECH,
    PORTUGUESE,
    CORRECTED,
    BARE,
    WORDY,
    NO_LOG,
)

# Written after the first words and matching, which have been mended since with these in sight.
UNSEEN = (
    Log(
        "unseen-english.xlsx",
        {
            "Strip and spirit": [
                ["Log of the little still (invented)"],
                [],
                [
                    "Still run #",
                    "Wash in (gal)",
                    "Wash ABV",
                    "Started at",
                    "Low wines out (gal)",
                    "Proof off",
                    "Temp at reading (F)",
                ],
                ["14", 6, 9, days(1)[0], 1.6, 66, 68],
                ["15", 6, 9.5, days(2)[1], 1.7, 68, 70],
            ],
            "Cut down": [
                ["Batch #", "Qty (gal)", "Reading (proof)", "Spirit temp °F", "Want (proof)", "H2O (gal)"],
                ["14", 1.2, 131, 68, 80, 0.8],
                ["15", 1.3, 128, 66, 80, 0.8],
            ],
        },
        {
            ("Strip and spirit", "A3"): "runs.run",
            ("Strip and spirit", "B3"): "runs.charge_volume gal",
            ("Strip and spirit", "C3"): "runs.charge_strength % vol",
            ("Strip and spirit", "D3"): "runs.filled_at",
            ("Strip and spirit", "E3"): "runs.collected_volume gal",
            ("Strip and spirit", "F3"): "runs.collected_reading proof",
            ("Strip and spirit", "G3"): "runs.collected_temperature °F",
            ("Cut down", "A1"): "strength.lot",
            ("Cut down", "B1"): "strength.volume gal",
            ("Cut down", "C1"): "strength.reading proof",
            ("Cut down", "D1"): "strength.temperature °F",
            ("Cut down", "E1"): "strength.target_strength proof",
            ("Cut down", "F1"): "strength.water_volume gal",
        },
    ),
    Log(
        "unseen-german.ods",
        {
            "Feinbrand Mai": [
                ["Glas", "ml", "%vol abgelesen", "Temp. Destillat", "Geistrohr °C", "Eindruck", "Zuordnung"],
                ["1", 100, 82, 18, 79, "Klebstoff", "V"],
                ["2", 200, 80, 18, 79.5, "fruchtig", "M"],
                ["3", 200, 77, 19, 80.5, "fruchtig", "M"],
            ],
            "Gärung Williams": [
                ["Gemessen", "Mostgewicht (°Oe)", "Maischetemp. (°C)", "Probe °C", "Was mir auffiel"],
                *[[d, g, 17, 19, None] for d, g in zip(days(3), [58, 35, 12], strict=True)],
            ],
        },
        {
            ("Feinbrand Mai", "A1"): "cuts.jar",
            ("Feinbrand Mai", "B1"): "cuts.volume mL",
            ("Feinbrand Mai", "C1"): "cuts.reading % vol",
            ("Feinbrand Mai", "D1"): "cuts.temperature °C",
            ("Feinbrand Mai", "E1"): "cuts.vapour_temperature °C",
            ("Feinbrand Mai", "F1"): "cuts.smell",
            ("Feinbrand Mai", "G1"): "cuts.fraction",
            ("Gärung Williams", "A1"): "fermentation.taken_at",
            ("Gärung Williams", "B1"): "fermentation.reading points",
            ("Gärung Williams", "C1"): "fermentation.wash_temperature °C",
            ("Gärung Williams", "D1"): "fermentation.sample_temperature °C",
            ("Gärung Williams", "E1"): "fermentation.note",
        },
    ),
    Log(
        "unseen-romance.xlsx",
        {
            "cuve 3": [
                ["Jour/heure", "Densité lue", "T° éprouvette (°C)", "T° cuve (°C)", "Obs."],
                *[[d, g, 19, 24, None] for d, g in zip(days(4), [1072, 1051, 1024, 1003], strict=True)],
            ],
            "embotellado": [
                [
                    "Fecha de embotellado",
                    "Lote nº",
                    "Botella (ml)",
                    "Nº botellas",
                    "% vol etiqueta",
                    "% vol real",
                    "Precio",
                ],
                [days(1)[0], "7", 500, 40, 42, 42.1, 18],
                [days(2)[1], "8", 500, 36, 42, 41.9, 18],
            ],
        },
        {
            ("cuve 3", "A1"): "fermentation.taken_at",
            ("cuve 3", "B1"): "fermentation.reading SG",
            ("cuve 3", "C1"): "fermentation.sample_temperature °C",
            ("cuve 3", "D1"): "fermentation.wash_temperature °C",
            ("cuve 3", "E1"): "fermentation.note",
            ("embotellado", "A1"): "bottling.bottled_at",
            ("embotellado", "B1"): "bottling.lot",
            ("embotellado", "C1"): "bottling.bottle_size mL",
            ("embotellado", "D1"): "bottling.bottles",
            ("embotellado", "E1"): "bottling.label_strength % vol",
            ("embotellado", "F1"): "bottling.measured_strength % vol",
            ("embotellado", "G1"): "",
        },
    ),
)
