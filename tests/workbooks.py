"""Workbooks as programs save them: rows come in, the bytes of an XLSX, XLS or ODS go out."""

import datetime
import io
import zipfile

import openpyxl
import xlwt

NAMES = {
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "calcext": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
}


def xlsx(rows):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.create_sheet("other").append(["nothing"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def xls(rows):
    book = xlwt.Workbook()
    sheet = book.add_sheet("port")
    styles = {datetime.date: xlwt.easyxf(num_format_str="D-MMM"), datetime.time: xlwt.easyxf(num_format_str="h:mm")}
    for r, row in enumerate(rows):
        for c, value in enumerate(row):
            if value == "#DIV/0!":
                sheet.row(r).set_cell_error(c, value)
            elif value is not None:
                sheet.write(r, c, value, styles.get(type(value), xlwt.easyxf()))
    book.add_sheet("other").write(0, 0, "nothing")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ods_cell(value):
    """Return a cell as LibreOffice writes it (OpenDocument 1.3, part 3, section 19.385: value types)."""
    if value is None:
        return "<table:table-cell/>"
    if value == "#DIV/0!":
        kind = 'table:formula="of:=1/0" office:value-type="string" office:string-value="" calcext:value-type="error"'
    elif isinstance(value, datetime.date):
        kind, value = f'office:value-type="date" office:date-value="{value.isoformat()}"', "1/2"
    elif isinstance(value, datetime.time):
        kind, value = f'office:value-type="time" office:time-value="PT{value:%HH%MM%SS}"', "4:30"
    elif isinstance(value, str):
        kind = 'office:value-type="string"'
    else:
        kind, value = f'office:value-type="float" office:value="{value}"', f"{value:.1f}"  # shown rounded
    return f"<table:table-cell {kind}><text:p>{value}</text:p></table:table-cell>"


def ods_of(body):
    spaces = " ".join(f'xmlns:{name}="{uri}"' for name, uri in NAMES.items())
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.3"><office:body>'
        f'<office:spreadsheet><table:table table:name="port">{body}</table:table><table:table table:name="other">'
        f"<table:table-row>{ods_cell('nothing')}</table:table-row></table:table></office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    return packed({"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": content})


def packed(parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def ods(rows):
    """Return a spreadsheet with blank rows and cells repeated to its edges, as an office suite pads it."""
    blank = '<table:table-cell table:number-columns-repeated="{}"/>'
    lines = [
        f"<table:table-row>{''.join(map(ods_cell, row))}{blank.format(16384 - len(row))}</table:table-row>"
        for row in rows
    ]
    rest = (
        f'<table:table-row table:number-rows-repeated="{1048576 - len(rows)}">{blank.format(16384)}</table:table-row>'
    )
    return ods_of("".join(lines) + rest)


WRITE = {".xlsx": xlsx, ".xls": xls, ".ods": ods}
