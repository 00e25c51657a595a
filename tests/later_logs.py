"""More logs as people keep them, all invented: what the words and matching of the first sets did not know.

Written before anything was mended by them, but for the last one: bottles in cL, temperatures that are not the
sample's, batch cards, stock lists, tastings, carbon filters and runs, in all languages of synonyms.toml.
"""

from collections.abc import Sequence
from typing import Any

from own_logs import Log, Row, days

from sheetcalc.findings import address

Tab = tuple[list[Row], dict[int, Sequence[str]]]


def log(name: str, **tabs: Tab) -> Log:
    """A log of tabs, each its rows and, by the row of the headings, what they mean from column A on.

    A meaning of None is a cell without a heading.
    """
    truth = {
        (tab, address(row, column)): meaning
        for tab, (_, by_row) in tabs.items()
        for row, meanings in by_row.items()
        for column, meaning in enumerate(meanings, start=1)
        if meaning is not None
    }
    return Log(name, {tab: rows for tab, (rows, _) in tabs.items()}, truth)


def table(headings: Row, meanings: Sequence[str], *records: Row, above: Sequence[Row] = ()) -> Tab:
    """A tab with one table, perhaps below a few lines of something else."""
    return [*above, headings, *records], {len(above) + 1: meanings}


def card(lines: Sequence[tuple[str, Any, str]], below: Tab) -> Tab:
    """A tab with lines of label and value, a blank row and a table."""
    rows, truth = below
    moved = {row + len(lines) + 1: meanings for row, meanings in truth.items()}
    named = {row: [meaning] for row, (_, _, meaning) in enumerate(lines, start=1)}
    return [*[[label, value] for label, value, _ in lines], [], *rows], named | moved


D = days(4)
BOTTLES = ["bottling.bottled_at", "bottling.lot", "bottling.bottle_size cL", "bottling.bottles"]
LABEL = "bottling.label_strength % vol"
READ = ["fermentation.taken_at", "fermentation.reading SG"]
JARS = ["cuts.jar", "cuts.volume mL", "cuts.reading % vol"]
VAPOUR = "cuts.vapour_temperature °C"
TASTED = ["tasting.sample", "tasting.taster", "tasting.aroma", "tasting.taste", "tasting.smoothness"]
FERMENTED: Tab = table(
    ["Date", "SG", "Sample temp (°C)"],
    [*READ, "fermentation.sample_temperature °C"],
    *[[d, g, 20] for d, g in zip(D, [1.07, 1.05, 1.02, 1.0], strict=True)],
)


def tasted(*headings: str) -> Tab:
    """A tasting of two samples by two tasters, under somebody's headings."""
    meanings = [*TASTED, "tasting.note"][: len(headings)]
    records = [["A", "1", 6, 7, 5, "x"], ["B", "1", 4, 5, 5, ""], ["A", "2", 7, 7, 6, ""]]
    records.append(["B", "2", 3, 4, 6, "y"])
    return table(list(headings), meanings, *[record[: len(headings)] for record in records])


def filtered(*headings: str) -> Tab:
    """A carbon filter: lot, volume and strength before, carbon in grams, volume and strength after."""
    keys = ["lot", "volume_in L", "strength_in % vol", "carbon_mass g", "volume_out L", "strength_out % vol"]
    meanings = [f"carbon.{key}" for key in keys][: len(headings)]
    records: list[Row] = [["A1", 10, 45, 200, 9.8, 44.8], ["A2", 12, 44, 200, 11.7, 43.9]]
    return table(list(headings), meanings, *[record[: len(headings)] for record in records])


def distilled(*headings: str) -> Tab:
    """Runs: number, date, charge in litres and % vol, distillate in litres and % vol, the sample's °C."""
    keys = ["run", "filled_at", "charge_volume L", "charge_strength % vol", "collected_volume L"]
    keys += ["collected_reading % vol", "collected_temperature °C"]
    meanings = [f"runs.{key}" for key in keys][: len(headings)]
    records: list[Row] = [["1", D[0], 40, 8, 6, 55, 20], ["2", D[1], 40, 8.2, 6.1, 54, 19]]
    return table(list(headings), meanings, *[record[: len(headings)] for record in records])


LATER = (
    log(
        "later-bottles.xlsx",
        Tirage=table(
            ["Date", "Lot", "Contenance (cl)", "Nb bouteilles", "TAV étiquette (% vol)"],
            [*BOTTLES, LABEL],
            [D[0], "P7", 70, 40, 42],
            [D[1], "P8", 50, 36, 42],
        ),
        Füllung=table(
            ["Abgefüllt am", "Los", "Flasche [cl]", "Stück", "Etikett % vol"],
            [*BOTTLES, LABEL],
            [D[0], "L1", 35, 40, 40],
            [D[1], "L2", 50, 36, 40],
        ),
        Rozlew=table(
            ["Data rozlewu", "Partia", "Butelka (cl)", "Szt.", "Moc na etykiecie (%)"],
            [*BOTTLES, LABEL],
            [D[0], "a", 50, 12, 45],
            [D[1], "b", 50, 14, 45],
        ),
        Palackozás=table(
            ["Dátum", "Tétel", "Palack (dl)", "Darab", "Címke szeszfok (%)"],
            [*BOTTLES[:2], "bottling.bottle_size dL", BOTTLES[3], LABEL],
            [D[0], "a", 5, 12, 45],
            [D[1], "b", 5, 14, 45],
        ),
    ),
    log(
        "later-air.xlsx",
        Wash=table(
            ["Date", "SG", "Room temp (°C)", "Wash temp (°C)", "Notes"],
            [*READ, "", "fermentation.wash_temperature °C", "fermentation.note"],
            *[[d, g, 17, 24, None] for d, g in zip(D, [1.07, 1.05, 1.02, 1.0], strict=True)],
        ),
        Cellar=table(
            ["Date", "SG", "Air °C"],
            [*READ, ""],
            *[[d, g, 17] for d, g in zip(D, [1.07, 1.05, 1.02, 1.0], strict=True)],
        ),
        Maische=table(
            ["Datum", "Dichte", "Lufttemperatur (°C)", "Bemerkung"],
            [*READ, "", "fermentation.note"],
            *[[d, g, 17, "x"] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Keller=table(
            ["Datum", "Dichte", "Raumtemp.", "Temp."],
            [*READ, "", "fermentation.sample_temperature °C"],
            *[[d, g, 17, 20] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Cuve=table(
            ["Date", "Densité", "T° cave (°C)", "T° cuve (°C)"],
            [*READ, "", "fermentation.wash_temperature °C"],
            *[[d, g, 15, 22] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Mosto=table(
            ["Fecha", "Densidad", "Temperatura ambiente (°C)", "Notas"],
            [*READ, "", "fermentation.note"],
            *[[d, g, 22, ""] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Nastaw=table(
            ["Data", "Blg", "Temp. otoczenia [°C]", "Temp. nastawu [°C]"],
            [READ[0], "fermentation.reading °P", "", "fermentation.wash_temperature °C"],
            *[[d, g, 19, 24] for d, g in zip(D, [18, 12, 6, 1], strict=True)],
        ),
        Kvas=table(
            ["Datum", "Hustota", "Teplota vzduchu (°C)", "Teplota sklepa (°C)"],
            [*READ, "", ""],
            *[[d, g, 12, 14] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Beslag=table(
            ["Datum", "Dichtheid", "Omgevingstemperatuur (°C)", "Vattemperatuur (°C)"],
            [*READ, "", "fermentation.wash_temperature °C"],
            *[[d, g, 18, 23] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Cefre=table(
            ["Dátum", "Sűrűség", "Levegő hőmérséklet (°C)"],
            [*READ, ""],
            *[[d, g, 18] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
        Mäsk=table(
            ["Datum", "Densitet", "Rumstemperatur (°C)"],
            [*READ, ""],
            *[[d, g, 18] for d, g in zip(D, [1.06, 1.04, 1.02, 1.0], strict=True)],
        ),
    ),
    log(
        "later-still.ods",
        Feinbrand=table(
            ["Glas", "ml", "% vol", "Kühlwasser °C", "Geistrohr °C"],
            [*JARS, "", VAPOUR],
            ["1", 100, 82, 18, 79],
            ["2", 200, 80, 19, 79.5],
        ),
        Tagli=table(
            ["Vasetto", "Volume (ml)", "Grado", "T. acqua di raffreddamento (°C)", "T. testa (°C)"],
            [*JARS, "", VAPOUR],
            ["1", 100, 82, 18, 79],
            ["2", 200, 80, 19, 79.5],
        ),
        Cuts=table(
            ["Jar", "mL", "ABV", "Coolant out C", "Head temp C"],
            [*JARS, "", VAPOUR],
            ["1", 100, 82, 28, 79],
            ["2", 200, 80, 29, 79.5],
        ),
        Frakce=table(
            ["Sklenice", "Objem (ml)", "Síla (%)", "Teplota chladicí vody", "Teplota páry"],
            [*JARS, "", VAPOUR],
            ["1", 100, 82, 18, 79],
            ["2", 200, 80, 19, 79.5],
        ),
        Bocaux=table(
            ["Bocal", "Volume (mL)", "Degré lu", "T° eau réfrigérant", "T° col de cygne"],
            [*JARS, "", VAPOUR],
            ["1", 100, 72, 18, 81],
            ["2", 200, 70, 19, 82],
        ),
        Fracciones=table(
            ["Frasco", "Volumen (ml)", "Grado", "Temp. refrigerante (°C)", "Temp. cabeza (°C)"],
            [*JARS, "", VAPOUR],
            ["1", 100, 72, 18, 81],
            ["2", 200, 70, 19, 82],
        ),
        Frakcje=table(
            ["Słoik", "Objętość (ml)", "Moc (%)", "Temp. wody chłodzącej", "Temp. głowicy"],
            [*JARS, "", VAPOUR],
            ["1", 100, 72, 18, 81],
            ["2", 200, 70, 19, 82],
        ),
        Réduction=table(
            ["Lot", "Volume (L)", "Degré lu", "T° pièce", "Degré voulu"],
            [
                "strength.lot",
                "strength.volume L",
                "strength.reading % vol",
                "",
                "strength.target_strength % vol",
            ],
            ["A", 10, 62, 18, 42],
            ["B", 10, 60, 18, 42],
        ),
        Proofing=table(
            ["Lot", "Volume (L)", "ABV", "Ambient (°C)", "Temp (°C)", "Target ABV"],
            [
                *("strength.lot", "strength.volume L", "strength.reading % vol", ""),
                *("strength.temperature °C", "strength.target_strength % vol"),
            ],
            ["A", 10, 62, 18, 20, 42],
            ["B", 10, 60, 18, 20, 42],
        ),
        Brände=table(
            ["Brand Nr.", "Füllmenge (L)", "Destillat (L)", "% vol", "Außentemperatur (°C)"],
            [
                "runs.run",
                "runs.charge_volume L",
                "runs.collected_volume L",
                "runs.collected_reading % vol",
                "",
            ],
            ["1", 40, 6, 55, 12],
            ["2", 40, 6.1, 54, 13],
        ),
    ),
    log(
        "later-cards.xlsx",
        Ansatz=card(
            [
                ("Ansatz Nr.:", "2025-07", "batch.batch_code"),
                ("Gärbeginn", D[0], "batch.started_at"),
                ("Maischevolumen (L)", 120, "batch.wash_volume L"),
                ("Stammwürze (SG)", 1.072, "batch.original_gravity SG"),
                ("Hefe", "Reinzucht", "batch.yeast"),
                ("Kesselinhalt (L)", 150, "batch.still_capacity L"),
                ("Zielstärke (% vol)", 43, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Cuvée=card(
            [
                ("N° de lot", "P-12", "batch.batch_code"),
                ("Mise en fermentation le", D[0], "batch.started_at"),
                ("Volume de moût (L)", 80, "batch.wash_volume L"),
                ("Densité initiale", 1.07, "batch.original_gravity SG"),
                ("Levure", "sèche", "batch.yeast"),
                ("Contenance de l'alambic (L)", 100, "batch.still_capacity L"),
                ("Degré final souhaité (% vol)", 45, "batch.target_strength % vol"),
                ("Fournisseur", "le verger", ""),
            ],
            FERMENTED,
        ),
        Lote=card(
            [
                ("Lote", "7", "batch.batch_code"),
                ("Fecha de inicio", D[0], "batch.started_at"),
                ("Volumen del mosto (L)", 60, "batch.wash_volume L"),
                ("Densidad inicial (DI)", 1.075, "batch.original_gravity SG"),
                ("Levadura", "de panadero", "batch.yeast"),
                ("Capacidad del alambique (L)", 30, "batch.still_capacity L"),
                ("Grado objetivo (% vol)", 40, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Lotto=card(
            [
                ("Lotto n.", "M3", "batch.batch_code"),
                ("Data inizio", D[0], "batch.started_at"),
                ("Quantità mosto (L)", 60, "batch.wash_volume L"),
                ("Densità iniziale (OG)", 1.066, "batch.original_gravity SG"),
                ("Lievito", "secco", "batch.yeast"),
                ("Capacità caldaia (L)", 50, "batch.still_capacity L"),
                ("Gradazione desiderata (% vol)", 42, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Nastaw=card(
            [
                ("Nr nastawu", "9", "batch.batch_code"),
                ("Data nastawienia", D[0], "batch.started_at"),
                ("Objętość nastawu (L)", 25, "batch.wash_volume L"),
                ("BLG początkowe", 20, "batch.original_gravity °P"),
                ("Drożdże", "winne", "batch.yeast"),
                ("Pojemność kotła (L)", 30, "batch.still_capacity L"),
                ("Moc docelowa (% vol)", 45, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Várka=card(
            [
                ("Číslo várky", "4", "batch.batch_code"),
                ("Zakvašeno dne", D[0], "batch.started_at"),
                ("Množství kvasu (L)", 200, "batch.wash_volume L"),
                ("Počáteční cukernatost (°Bx)", 16, "batch.original_gravity °Bx"),
                ("Kvasinky", "vinné", "batch.yeast"),
                ("Objem kotle (L)", 100, "batch.still_capacity L"),
                ("Cílová síla (% obj.)", 50, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Partij=card(
            [
                ("Batchnummer", "11", "batch.batch_code"),
                ("Startdatum", D[0], "batch.started_at"),
                ("Hoeveelheid beslag (L)", 50, "batch.wash_volume L"),
                ("Begin SG", 1.065, "batch.original_gravity SG"),
                ("Gist", "korrelgist", "batch.yeast"),
                ("Ketelinhoud (L)", 25, "batch.still_capacity L"),
                ("Gewenst alcoholpercentage", 40, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Dorna=card(
            [
                ("Nº do lote", "2", "batch.batch_code"),
                ("Início da fermentação", D[0], "batch.started_at"),
                ("Volume do mosto (L)", 500, "batch.wash_volume L"),
                ("Densidade inicial", 1.06, "batch.original_gravity SG"),
                ("Levedura", "selvagem", "batch.yeast"),
                ("Capacidade do alambique (L)", 300, "batch.still_capacity L"),
                ("Teor pretendido (% vol)", 42, "batch.target_strength % vol"),
            ],
            FERMENTED,
        ),
        Batch=card(
            [
                ("Batch #", "26", "batch.batch_code"),
                ("Date started", D[0], "batch.started_at"),
                ("Volume of wash (L)", 50, "batch.wash_volume L"),
                ("O.G.", 1.08, "batch.original_gravity SG"),
                ("Yeast used", "bread", "batch.yeast"),
                ("Yeast max ABV", 14, "batch.yeast_tolerance % vol"),
                ("Size of still (L)", 30, "batch.still_capacity L"),
                ("Bottle at (% vol)", 43, "batch.target_strength % vol"),
                ("Still", "copper pot", "batch.still"),
                ("Price per bottle", 1.2, "batch.bottle_price"),
                ("Sugar (kg)", 12, ""),
                ("Location", "shed", ""),
            ],
            FERMENTED,
        ),
        Sats=card(
            [
                ("Satsnummer", "26", "batch.batch_code"),
                ("Jäsning startad", D[0], "batch.started_at"),
                ("Mäskvolym (L)", 50, "batch.wash_volume L"),
                ("Startdensitet", 1.08, "batch.original_gravity SG"),
                ("Jäst", "torr", "batch.yeast"),
            ],
            FERMENTED,
        ),
        Tétel=card(
            [
                ("Tételszám", "26", "batch.batch_code"),
                ("Erjesztés kezdete", D[0], "batch.started_at"),
                ("Cefre mennyisége (L)", 50, "batch.wash_volume L"),
                ("Kezdeti cukorfok (°Bx)", 15, "batch.original_gravity °Bx"),
                ("Élesztő", "fajélesztő", "batch.yeast"),
            ],
            FERMENTED,
        ),
    ),
    log(
        "later-stock.xlsx",
        Wash=FERMENTED,
        Warehouse=table(
            ["Cask", "Filled", "In (L)", "Out (L)", "Volume (L)", "ABV", "Place"],
            [""] * 7,
            ["7", D[0], 50, 10, 40, 62, "left wall"],
            ["8", D[1], 50, 0, 50, 63, "left wall"],
        ),
        Lager=table(
            ["Fass Nr.", "Eingelagert am", "Zugang (L)", "Abgang (L)", "Inhalt (L)", "% vol"],
            [""] * 6,
            ["1", D[0], 30, 5, 25, 60],
            ["2", D[1], 30, 0, 30, 61],
        ),
        Chai=table(
            ["Fût", "Entrée (L)", "Sortie (L)", "Volume (L)", "TAV (% vol)"],
            [""] * 5,
            ["1", 30, 5, 25, 60],
            ["2", 30, 0, 30, 61],
        ),
        Bodega=table(
            ["Lote", "Barrica", "Entrada (L)", "Salida (L)", "Existencias (L)", "Grado (% vol)"],
            [""] * 6,
            ["a", "1", 30, 5, 25, 60],
            ["b", "2", 30, 0, 30, 61],
        ),
        Cantina=table(
            ["Botte", "Carico (L)", "Scarico (L)", "Giacenza (L)", "Gradazione"],
            [""] * 5,
            ["1", 30, 5, 25, 60],
            ["2", 30, 0, 30, 61],
        ),
        Magazyn=table(
            ["Beczka", "Partia", "Przyjęto (L)", "Wydano (L)", "Stan (L)", "Moc (%)"],
            [""] * 6,
            ["1", "a", 30, 5, 25, 60],
            ["2", "b", 30, 0, 30, 61],
        ),
        Containers=table(
            ["Container", "Product", "Volume (L)", "ABV", "Date"],
            [""] * 5,
            ["D1", "low wines", 30, 28, D[0]],
            ["D2", "heads", 5, 80, D[1]],
        ),
        Blends=table(
            ["Blend", "Cask", "Volume (L)", "ABV"],
            ["blend.lot", "blend.part", "blend.volume L", "blend.strength % vol"],
            ["B1", "7", 20, 62],
            ["B1", "8", 10, 63],
        ),
        Verschnitt=table(
            ["Verschnitt", "aus Fass", "Entnommen (L)", "% vol"],
            ["blend.lot", "blend.part", "blend.volume L", "blend.strength % vol"],
            ["V1", "1", 20, 60],
            ["V1", "2", 10, 61],
        ),
    ),
    log(
        "later-tastings.xlsx",
        Tasting=tasted("Sample", "Taster", "Nose", "Taste", "Smoothness", "Comment"),
        Verkostung=tasted("Probe", "Verkoster", "Geruch", "Geschmack", "Milde", "Bemerkung"),
        Dégustation=tasted("Échantillon", "Dégustateur", "Nez", "Bouche", "Rondeur", "Commentaire"),
        Cata=tasted("Muestra", "Catador", "Aroma", "Sabor", "Suavidad", "Notas"),
        Assaggio=tasted("Campione", "Assaggiatore", "Profumo", "Gusto", "Morbidezza", "Note"),
        Degustacja=tasted("Próbka", "Degustator", "Zapach", "Smak", "Łagodność", "Uwagi"),
        Ochutnávka=tasted("Vzorek", "Degustátor", "Vůně", "Chuť", "Jemnost", "Poznámka"),
        Proeverij=tasted("Monster", "Proever", "Geur", "Smaak", "Zachtheid", "Opmerking"),
        Prova=tasted("Amostra", "Provador", "Aroma", "Sabor", "Maciez", "Observações"),
        Provning=tasted("Prov", "Provare", "Doft", "Smak", "Mjukhet"),
        Kóstolás=tasted("Minta", "Kóstoló", "Illat", "Íz", "Lágyság"),
        Party=table(["Guest", "Dish", "Sugar", "Score"], [""] * 4, ["a", "cake", 3, 7], ["b", "soup", 1, 5]),
    ),
    log(
        "later-filters.xlsx",
        Filter=filtered("Batch", "Vol in (L)", "ABV in", "Charcoal (g)", "Vol out (L)", "ABV out"),
        Kohle=filtered("Charge", "Menge vor (L)", "% vol vor", "Kohle (g)", "Menge nach (L)", "% vol nach"),
        Charbon=filtered(
            "Lot", "Volume entrée (L)", "TAV entrée", "Charbon (g)", "Volume sortie (L)", "TAV sortie"
        ),
        Carbón=filtered(
            "Lote", "Litros entrada", "Grado entrada", "Carbón (g)", "Litros salida", "Grado salida"
        ),
        Carbone=filtered(
            "Lotto", "Litri in ingresso", "Grado iniziale", "Carbone (g)", "Litri in uscita", "Grado finale"
        ),
        Węgiel=filtered("Partia", "Wlano (L)", "Moc przed (%)", "Węgiel (g)", "Odebrano (L)", "Moc po (%)"),
        Uhlí=filtered(
            "Šarže", "Objem vstup (L)", "Síla vstup (%)", "Uhlí (g)", "Objem výstup (L)", "Síla výstup (%)"
        ),
        Kool=filtered("Partij", "Liters voor", "Sterkte voor (%)", "Kool (g)", "Liters na", "Sterkte na (%)"),
        Carvão=filtered("Lote", "Litros antes", "Grau antes", "Carvão (g)", "Litros depois", "Grau depois"),
        Kol=filtered(
            "Sats", "Volym före (L)", "Styrka före (%)", "Kol (g)", "Volym efter (L)", "Styrka efter (%)"
        ),
        Szén=filtered("Tétel", "Előtte (L)", "Szeszfok előtte", "Szén (g)", "Utána (L)", "Szeszfok utána"),
    ),
    log(
        "later-runs.xlsx",
        Stilling=distilled("Run", "Date", "Charge (L)", "Charge ABV", "Take-off (L)", "ABV", "Temp °C"),
        Brände=distilled(
            "Nr.", "Brenntag", "Maische (L)", "% vol Maische", "Ausbeute (L)", "% vol", "Temp. (°C)"
        ),
        Chauffes=distilled(
            "Chauffe", "Jour", "Vin chargé (L)", "Degré du vin", "Brouillis (L)", "Degré", "T° (°C)"
        ),
        Destilación=distilled(
            "Nº", "Fecha", "Cargado (L)", "Grado del mosto", "Obtenido (L)", "Grado", "Temp. (°C)"
        ),
        Cotte=distilled(
            "Cotta", "Data", "Caricato (L)", "Grado mosto", "Ottenuto (L)", "Grado", "Temp. (°C)"
        ),
        Pędzenie=distilled("Gon", "Data", "Wsad (L)", "Moc wsadu (%)", "Urobek (L)", "Moc (%)", "Temp. (°C)"),
        Pálení=distilled(
            "Pálení", "Datum", "Náplň (L)", "Síla náplně (%)", "Vypáleno (L)", "Síla (%)", "Teplota (°C)"
        ),
        Stoken=distilled(
            "Stook", "Datum", "Ketel (L)", "Sterkte ketel (%)", "Opbrengst (L)", "Sterkte (%)", "Temp. (°C)"
        ),
        Alambicada=distilled(
            "Alambicada", "Data", "Carga (L)", "Grau da carga", "Cachaça (L)", "Grau", "Temp. (°C)"
        ),
        Bränning=distilled(
            "Körning", "Datum", "Mäsk in (L)", "Styrka in (%)", "Ut (L)", "Styrka (%)", "Temp. (°C)"
        ),
        Főzés=distilled(
            "Főzés", "Dátum", "Cefre (L)", "Cefre szeszfok", "Párlat (L)", "Szeszfok", "Hőfok (°C)"
        ),
    ),
    log(
        "later-lines.xlsx",
        Gläser=table(
            ["Nr.", "ml", "% vol", "Temp. °C", "Temp. °C", "Temp. °C"],
            [*JARS, "cuts.temperature °C", VAPOUR, ""],
            ["1", 100, 82, 20, 79, 17],
            ["2", 200, 80, 20, 79.5, 17],
            above=[["Glas", None, "Probe", "Probe", "Geist", "Raum"]],
        ),
        Jars=table(
            ["Jar", "mL", "ABV", "Temp 1 (°C)", "Temp 2 (°C)"],
            [*JARS, "", ""],
            ["1", 100, 62, 20, 18],
            ["2", 200, 60, 20, 19],
        ),
        Charges=table(
            ["Run", "Charge (L)", "Charge ABV", "Pot temp (°C)", "Collected (L)", "ABV", "Vapour temp (°C)"],
            [
                *("runs.run", "runs.charge_volume L", "runs.charge_strength % vol", ""),
                *("runs.collected_volume L", "runs.collected_reading % vol", ""),
            ],
            ["1", 40, 8, 20, 6, 55, 36],
            ["2", 40, 8, 20, 6, 54, 37],
        ),
        Let_down=table(
            ["Lot", "Volume (L)", "ABV", "Vat temp (°C)", "Target ABV"],
            [
                "strength.lot",
                "strength.volume L",
                "strength.reading % vol",
                "",
                "strength.target_strength % vol",
            ],
            ["1", 40, 68, 20, 45],
            ["2", 40, 68, 20, 45],
        ),
    ),
)
