"""Workbooks as no library here writes them: parts that Excel alone makes, other spellings of the same XML.

Each holds the log of rich_workbooks.py.
"""

import re
import zipfile
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from files.rich_workbooks import Matter, nothing, xlsx_log
from files.workbook_samples import with_parts, write_ods

SHEET, BOOK = "xl/worksheets/sheet1.xml", "xl/workbook.xml"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
MICROSOFT = "http://schemas.microsoft.com/office/"
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
RELATION = f'xmlns:r="{OFFICE[:-1]}"'
CALCULATION = '<calcPr calcId="124519" fullCalcOnLoad="1"/>'
SHEETML = "application/vnd.openxmlformats-officedocument.spreadsheetml"


def swap(old: str, new: str) -> Callable[[bytes], bytes]:
    """A change of one text in a part for another."""

    def change(content: bytes) -> bytes:
        assert old.encode() in content, old
        return content.replace(old.encode(), new.encode(), 1)

    return change


def grown(
    path: Path,
    parts: Mapping[str, tuple[str, str]],
    points: Mapping[str, list[tuple[str, str, str]]],
    changes: Mapping[str, Callable[[bytes], bytes]],
    matter: Matter = nothing,
) -> Path:
    """A log with more parts: each its content and type; `points` are id, kind and target by owning part."""
    bare = xlsx_log(path.with_suffix(".bare"), matter)
    with zipfile.ZipFile(bare) as archive:
        held = set(archive.namelist())
    overrides = "".join(f'<Override PartName="/{n}" ContentType="{t}"/>' for n, (_, t) in parts.items() if t)
    all_changes = dict(changes) | {"[Content_Types].xml": swap("</Types>", f"{overrides}</Types>")}
    fresh = {}
    for owner, links in points.items():
        folder, name = owner.rsplit("/", 1)
        listing = f"{folder}/_rels/{name}.rels"
        lines = "".join(f'<Relationship Id="{i}" Type="{k}" Target="{t}"/>' for i, k, t in links)
        if listing in held:
            all_changes[listing] = swap("</Relationships>", f"{lines}</Relationships>")
        else:
            space = "http://schemas.openxmlformats.org/package/2006/relationships"
            fresh[listing] = f'<Relationships xmlns="{space}">{lines}</Relationships>'
    with_parts(bare, path, all_changes)
    bare.unlink()
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (fresh | {n: c for n, (c, _) in parts.items()}).items():
            archive.writestr(name, content)
    return path


def threaded_comments(path: Path) -> Path:
    space = f"{MICROSOFT}spreadsheetml/2018/threadedcomments"
    who, what = "{11111111-2222-4333-8444-555555555555}", "{AAAAAAAA-2222-4333-8444-555555555555}"

    def old_comment(book: Any, sheet: Any) -> None:
        sheet.write_comment("B3", "[Threaded comment] Why so little?", {"author": f"tc={what}"})

    return grown(
        path,
        {
            "xl/threadedComments/threadedComment1.xml": (
                f'<ThreadedComments xmlns="{space}"><threadedComment ref="B3" dT="2026-03-02T08:00:00.00" '
                f'personId="{who}" id="{what}"><text>Why so little?</text></threadedComment>'
                "</ThreadedComments>",
                "application/vnd.ms-excel.threadedcomments+xml",
            ),
            "xl/persons/person.xml": (
                f'<personList xmlns="{space}"><person displayName="Ann" id="{who}" userId="Ann" '
                'providerId="None"/></personList>',
                "application/vnd.ms-excel.person+xml",
            ),
        },
        {
            SHEET: [("t1", f"{MICROSOFT}2017/10/relationships/threadedComment",
                     "../threadedComments/threadedComment1.xml")],
            BOOK: [("t2", f"{MICROSOFT}2017/10/relationships/person", "persons/person.xml")],
        },
        {},
        old_comment,
    )  # fmt: skip


def slicers(path: Path) -> Path:
    """A slicer, in a workbook that says nothing about computing."""
    x14, x15 = (f"{MICROSOFT}spreadsheetml/{year}/main" for year in ("2009/9", "2010/11"))
    sheet_end = (
        f'<extLst><ext uri="{{3A4CF648-6AED-40f4-86FF-DC5316D8AED3}}" xmlns:x15="{x15}">'
        f'<x14:slicerList xmlns:x14="{x14}"><x14:slicer r:id="s1"/></x14:slicerList></ext></extLst>'
        "</worksheet>"
    )
    book_end = (
        f'<extLst><ext uri="{{46BE6895-7355-4a93-B00E-2C351335B9C9}}" xmlns:x15="{x15}"><x15:slicerCaches '
        f'xmlns:x14="{x14}"><x14:slicerCache r:id="s2"/></x15:slicerCaches></ext></extLst></workbook>'
    )

    def jars(book: Any, sheet: Any) -> None:
        sheet.add_table("F1:G3", {"name": "Jars", "data": [["a", 1], ["b", 2]]})

    return grown(
        path,
        {
            "xl/slicers/slicer1.xml": (
                f'<slicers xmlns="{x14}"><slicer name="Jar" cache="Slicer_Jar" rowHeight="9"/></slicers>',
                "application/vnd.ms-excel.slicer+xml",
            ),
            "xl/slicerCaches/slicerCache1.xml": (
                f'<slicerCacheDefinition xmlns="{x14}" name="Slicer_Jar" sourceName="Column1"><extLst>'
                f'<x:ext xmlns:x="{MAIN[7:-1]}" uri="{{2F2917AC-EB37-4324-AD4E-5DD8C200BD13}}" '
                f'xmlns:x15="{x15}"><x15:tableSlicerCache tableId="1" column="1"/></x:ext></extLst>'
                "</slicerCacheDefinition>",
                "application/vnd.ms-excel.slicerCache+xml",
            ),
        },
        {
            SHEET: [("s1", f"{MICROSOFT}2007/relationships/slicer", "../slicers/slicer1.xml")],
            BOOK: [("s2", f"{MICROSOFT}2007/relationships/slicerCache", "slicerCaches/slicerCache1.xml")],
        },
        {SHEET: swap("</worksheet>", sheet_end), BOOK: swap(f"{CALCULATION}</workbook>", book_end)},
        jars,
    )


def pivot_table(path: Path) -> Path:
    fields = (
        '<pivotField axis="axisRow" showAll="0"><items count="1"><item t="default"/></items></pivotField>'
    )
    return grown(
        path,
        {
            "xl/pivotCache/pivotCacheDefinition1.xml": (
                f'<pivotCacheDefinition {MAIN} refreshOnLoad="1" createdVersion="6" recordCount="0">'
                '<cacheSource type="worksheet"><worksheetSource ref="B1:C7" sheet="Data"/></cacheSource>'
                '<cacheFields count="2"><cacheField name="Litres" numFmtId="0"><sharedItems/></cacheField>'
                '<cacheField name="Note" numFmtId="0"><sharedItems/></cacheField></cacheFields>'
                "</pivotCacheDefinition>",
                f"{SHEETML}.pivotCacheDefinition+xml",
            ),
            "xl/pivotTables/pivotTable1.xml": (
                f'<pivotTableDefinition {MAIN} name="PivotTable1" cacheId="1" dataCaption="Values">'
                '<location ref="A1:B3" firstHeaderRow="1" firstDataRow="1" firstDataCol="1"/>'
                f'<pivotFields count="2">{fields}<pivotField dataField="1" showAll="0"/></pivotFields>'
                '<rowFields count="1"><field x="0"/></rowFields>'
                '<dataFields count="1"><dataField name="Notes" fld="1" subtotal="count"/></dataFields>'
                "</pivotTableDefinition>",
                f"{SHEETML}.pivotTable+xml",
            ),
        },
        {
            "xl/worksheets/sheet2.xml": [("p1", f"{OFFICE}pivotTable", "../pivotTables/pivotTable1.xml")],
            BOOK: [("p2", f"{OFFICE}pivotCacheDefinition", "pivotCache/pivotCacheDefinition1.xml")],
            "xl/pivotTables/pivotTable1.xml": [
                ("c1", f"{OFFICE}pivotCacheDefinition", "../pivotCache/pivotCacheDefinition1.xml")
            ],
        },
        {
            BOOK: swap(
                "</workbook>", '<pivotCaches><pivotCache cacheId="1" r:id="p2"/></pivotCaches></workbook>'
            )
        },
        lambda book, sheet: book.add_worksheet("Pivot"),
    )


def outside(path: Path) -> Path:
    """Cells of another workbook, a connection, custom XML, and the order in which Excel computed last."""

    def fill(book: Any, sheet: Any) -> None:
        sheet.write_formula("F2", "=[1]Prices!$A$1*B2", None, 30)

    chain = "".join(f'<c r="{name}" i="1"/>' for name in ("F2", *(f"D{row}" for row in range(2, 8))))
    return grown(
        path,
        {
            "xl/externalLinks/externalLink1.xml": (
                f'<externalLink {MAIN}><externalBook {RELATION} r:id="e1"><sheetNames>'
                '<sheetName val="Prices"/></sheetNames><sheetDataSet><sheetData sheetId="0"><row r="1">'
                '<cell r="A1"><v>3</v></cell></row></sheetData></sheetDataSet></externalBook></externalLink>',
                f"{SHEETML}.externalLink+xml",
            ),
            "xl/externalLinks/_rels/externalLink1.xml.rels": (
                '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
                f'<Relationship Id="e1" Type="{OFFICE}externalLinkPath" Target="prices.xlsx" '
                'TargetMode="External"/></Relationships>',
                "",
            ),
            "xl/calcChain.xml": (f"<calcChain {MAIN}>{chain}</calcChain>", f"{SHEETML}.calcChain+xml"),
            "customXml/item1.xml": ("<batch><code>P-7</code></batch>", ""),
            "customXml/itemProps1.xml": (
                '<ds:datastoreItem ds:itemID="{00000000-2222-4333-8444-555555555555}" xmlns:ds='
                '"http://schemas.openxmlformats.org/officeDocument/2006/customXml"/>',
                "application/vnd.openxmlformats-officedocument.customXmlProperties+xml",
            ),
            "xl/connections.xml": (
                f'<connections {MAIN}><connection id="1" name="scale" type="4" refreshedVersion="6">'
                '<webPr xml="1" url="https://example.org"/></connection></connections>',
                f"{SHEETML}.connections+xml",
            ),
        },
        {
            BOOK: [
                ("x1", f"{OFFICE}externalLink", "externalLinks/externalLink1.xml"),
                ("x2", f"{OFFICE}calcChain", "calcChain.xml"),
                ("x3", f"{OFFICE}customXml", "../customXml/item1.xml"),
                ("x4", f"{OFFICE}connections", "connections.xml"),
            ],
            "customXml/item1.xml": [("c1", f"{OFFICE}customXmlProps", "itemProps1.xml")],
        },
        {
            BOOK: swap(
                "<calcPr", '<externalReferences><externalReference r:id="x1"/></externalReferences><calcPr'
            )
        },
        fill,
    )


def extensions(path: Path) -> Path:
    """Validations and formats that look at another sheet, and choices between two spellings."""
    x14, mc = (
        f"{MICROSOFT}spreadsheetml/2009/9/main",
        "http://schemas.openxmlformats.org/markup-compatibility/2006",
    )
    ac, xm = f"{MICROSOFT}spreadsheetml/2009/9/ac", f"{MICROSOFT}excel/2006/main"
    rules = (
        '<ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"><x14:dataValidations count="1" '
        f'xmlns:xm="{xm}"><x14:dataValidation type="list" allowBlank="1"><x14:formula1><xm:f>Lists!$A$1:$A$2'
        "</xm:f></x14:formula1><xm:sqref>C2:C9</xm:sqref></x14:dataValidation></x14:dataValidations></ext>"
        '<ext uri="{78C0D931-6437-407d-A8EE-F0AAD7539E65}"><x14:conditionalFormattings>'
        f'<x14:conditionalFormatting xmlns:xm="{xm}">'
        '<x14:cfRule type="expression" priority="9" id="{{0}}"><xm:f>Lists!$B$1&gt;B2</xm:f>'
        "<x14:dxf><font><b/></font></x14:dxf></x14:cfRule><xm:sqref>B2:B7</xm:sqref>"
        "</x14:conditionalFormatting></x14:conditionalFormattings></ext>"
    )

    def mark(content: bytes) -> bytes:
        content = swap(
            "<worksheet ", f'<worksheet xmlns:mc="{mc}" mc:Ignorable="x14ac unused" xmlns:x14ac="{ac}" '
            f'xmlns:x14="{x14}" xmlns:unused="urn:unused" x14ac:kept="yes" ',
        )(content)  # fmt: skip
        content = swap('<row r="2"', '<row r="2" x14ac:dyDescent="0.25"')(content)
        return swap(
            "</worksheet>", '<mc:AlternateContent><mc:Choice Requires="x14"><controls/></mc:Choice>'
            f"<mc:Fallback/></mc:AlternateContent><extLst>{rules}</extLst></worksheet>",
        )(content)  # fmt: skip

    def lists(book: Any, sheet: Any) -> None:
        book.add_worksheet("Lists").write_column("A1", ["a", "b"])

    return grown(path, {}, {}, {SHEET: mark}, lists)


def shared_formulas(path: Path) -> Path:
    """Formulas that share their text, the first of them not the first in the part."""
    rows = "".join(
        f'<row r="{row}"><c r="A{row}"><v>{row}</v></c><c r="B{row}"><f t="shared" '
        + ('ref="B1:B4" si="0">A4*2</f>' if row == 4 else 'si="0"/>')
        + f"<v>{2 * row}</v></c></row>"
        for row in (1, 2, 3, 4)
    )
    return spelled(path, lambda text: put_rows(text, rows))


# By hand: other ways to write the same XML.


def spelled(
    path: Path, change: Callable[[str], str], encoding: str = "utf-8", parts: tuple[str, ...] = (SHEET,)
) -> Path:
    """A log some of whose parts are written differently."""

    def respell(content: bytes) -> bytes:
        return change(content.decode()).encode(encoding)

    return grown(path, {}, {}, dict.fromkeys(parts, respell))


def put_rows(text: str, rows: str) -> str:
    """The sheet's part with other rows and no dimension."""
    head, tail = text.split("<sheetData>")[0], text.split("</sheetData>")[1]
    return re.sub("<dimension[^>]*/>", "", head) + f"<sheetData>{rows}</sheetData>{tail}"


def prefixed(text: str) -> str:
    """Every name with a prefix."""
    return re.sub(r"<(/?)(?=[a-zA-Z])", r"<\1x:", text).replace(" xmlns=", " xmlns:x=", 1)


def strict(text: str) -> str:
    """The namespaces of the strict variant."""
    return re.sub(
        r"http://schemas.openxmlformats.org/(officeDocument|spreadsheetml)/2006/(main|relationships)",
        r"http://purl.oclc.org/ooxml/\1/\2",
        text,
    )


def without_names(text: str) -> str:
    """Rows and cells that are told by their order."""
    return re.sub(r'<(row|c) r="\w+"', r"<\1", text)


def without_row_names(text: str) -> str:
    """Rows that only their cells tell, the last one further down."""
    return re.sub(r'<row r="\w+"', "<row", re.sub(r'(?<=<c r="[A-D])7"', '17"', text))


def upside_down(text: str) -> str:
    """Rows in falling order."""
    return put_rows(text, "".join(reversed(re.findall(r"<row .*?</row>", text))))


def spaced(text: str) -> str:
    """Blanks, comments and processing instructions between the elements."""
    text = re.sub(r">(?=<(?!/?(?:v|t|is|f)\b))", ">\r\n  ", text)
    text = text.replace("<sheetData>", "<?keep this?><!-- the log --><sheetData><!-- rows -->")
    return text.replace("<worksheet", "<!-- before -->\r\n<?and that?><worksheet", 1) + "\n<!-- after -->\n"


def undeclared(text: str) -> str:
    return text.split("?>", 1)[1].lstrip()


def not_standalone(text: str) -> str:
    return text.replace('standalone="yes"', 'standalone="no"')


def in_utf16(text: str) -> str:
    return text.replace("UTF-8", "UTF-16")


STRICT = (
    *("_rels/.rels", "xl/_rels/workbook.xml.rels", SHEET, BOOK, "xl/styles.xml", "xl/sharedStrings.xml"),
)


# By hand: OpenDocument.

OFFICE_SPACE = "urn:oasis:names:tc:opendocument:xmlns:office:1.0"


def ods_log(path: Path, change: Callable[[str], str] = str, encoding: str = "utf-8") -> Path:
    """A log with what LibreOffice and Excel write into ods files, its content written differently."""
    number = 'office:value-type="float" office:value="{0}" calcext:value-type="float"><text:p>{0}</text:p>'
    rows = "".join(
        '<table:table-row table:style-name="ro1"><table:table-cell office:value-type="string" '
        f'calcext:value-type="string"><text:p>day <text:span>{day}</text:span></text:p></table:table-cell>'
        f"<table:table-cell {number.format(day)}</table:table-cell>"
        f'<table:table-cell table:formula="of:=[.B{day}]*2" {number.format(2 * day)}</table:table-cell>'
        f'<table:table-cell table:formula="msoxl:=SUM(B1:B9)" {number.format(9)}</table:table-cell>'
        "</table:table-row>"
        for day in range(1, 7)
    )
    content = (
        '<table:content-validations><table:content-validation table:name="v1" '
        'table:condition="of:cell-content-is-in-list(&quot;a&quot;;&quot;b&quot;)"/></table:content-validations>'
        '<table:table table:name="Data" table:print="false"><table:shapes><draw:custom-shape draw:name="box">'
        "<text:p>Clean first</text:p></draw:custom-shape></table:shapes>"
        f'<table:table-column table:number-columns-repeated="4"/>{rows}<text:soft-page-break/>'
        '<table:table-row table:number-rows-repeated="1048570"><table:table-cell '
        'table:number-columns-repeated="16384"/></table:table-row>'
        '<table:named-expressions><table:named-range table:name="here" '
        'table:cell-range-address="$Data.$B$1"/></table:named-expressions>'
        "<calcext:conditional-formats><calcext:conditional-format "
        'calcext:target-range-address="Data.B1:Data.B6"><calcext:condition calcext:value="&gt;3"/>'
        "</calcext:conditional-format></calcext:conditional-formats></table:table>"
        '<table:table table:name="Bare"/><table:table table:name="Pivot"/>'
        '<table:table table:name="\'file:///prices.ods\'#Prices" table:style-name="ta_extref">'
        '<table:table-source xlink:href="prices.ods" table:table-name="Prices"/><table:table-row>'
        f"<table:table-cell {number.format(3)}</table:table-cell></table:table-row></table:table>"
        '<table:data-pilot-tables><table:data-pilot-table table:name="DataPilot1" table:target-range-address='
        '"Pivot.A1:Pivot.B4"><table:source-cell-range table:cell-range-address="Data.A1:Data.B6"/>'
        '<table:data-pilot-field table:source-field-name="day 1" table:orientation="row"/>'
        "</table:data-pilot-table></table:data-pilot-tables>"
    )
    hidden = (
        '<style:style style:name="ta_extref" style:family="table"><style:table-properties '
        'table:display="false"/></style:style>'
    )
    bare = write_ods(path.with_suffix(".bare"), content, hidden)
    with_parts(bare, path, {"content.xml": lambda data: change(data.decode()).encode(encoding)})
    bare.unlink()
    return path


def utf16_content(text: str) -> str:
    return f'<?xml version="1.0" encoding="UTF-16"?>{text}'


def spaced_content(text: str) -> str:
    """Blanks, comments and processing instructions between the elements."""
    text = re.sub(r">(?=</?table:)", ">\r\n  ", text)
    return (
        f"<!-- before --><?keep this?>{text.replace('<table:table-row', '<!-- row --><table:table-row', 2)}"
    )


def own_namespace(text: str) -> str:
    """The office namespace without a prefix, the others with one of their own."""
    text = re.sub(r"(</?)office:", r"\1", text)
    text = text.replace(" xmlns:office=", f' xmlns="{OFFICE_SPACE}" xmlns:office=')
    return re.sub(r"((?:</?|\s)(?:xmlns:)?)table(?=[:=])", r"\1t", text)


# By name: all of them.
ODD: dict[str, Callable[[Path], Path]] = {
    **{
        f"parts_{make.__name__}.xlsx": make
        for make in (threaded_comments, slicers, pivot_table, outside, extensions, shared_formulas)
    },
    **{
        f"spelled_{change.__name__}.xlsx": partial(spelled, change=change)
        for change in (without_names, without_row_names, upside_down, spaced, undeclared, not_standalone)
    },
    "spelled_prefixed.xlsx": partial(spelled, change=prefixed, parts=(SHEET, BOOK)),
    "spelled_strict.xlsx": partial(spelled, change=strict, parts=STRICT),
    "spelled_in_utf16.xlsx": partial(spelled, change=in_utf16, encoding="utf-16", parts=(SHEET, BOOK)),
    "spelled_with_byte_order_mark.xlsx": partial(spelled, change=str, encoding="utf-8-sig"),
    "parts_all.ods": ods_log,
    "spelled_spaced.ods": partial(ods_log, change=spaced_content),
    "spelled_in_utf16.ods": partial(ods_log, change=utf16_content, encoding="utf-16"),
    "spelled_own_namespace.ods": partial(ods_log, change=own_namespace),
}
