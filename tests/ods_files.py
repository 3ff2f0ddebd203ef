"""OpenDocument spreadsheets for tests, as an office program writes them: repeated cells, covered cells of merged areas."""

import datetime as dt
import zipfile
from xml.sax.saxutils import escape, quoteattr

from openpyxl.utils import range_boundaries

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?><office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" '
    'office:version="1.3"><office:body><office:spreadsheet>'
)
_TAIL = "</office:spreadsheet></office:body></office:document-content>"


def write_ods(path, sheets, merge):
    """Write sheets of rows of cells; merged areas by the name of the sheet."""
    parts = [_HEAD]
    for name, rows in sheets.items():
        spans = {}
        for area in merge.get(name, ()):
            left, top, right, bottom = range_boundaries(area)
            spans[top, left] = (
                f' table:number-columns-spanned="{right - left + 1}" table:number-rows-spanned="{bottom - top + 1}"'
            )
        parts.append(f"<table:table table:name={quoteattr(name)}>")
        for line, row in enumerate(rows, start=1):
            cells = "".join(_cell(cell, spans.get((line, column), "")) for column, cell in enumerate(row, start=1))
            parts.append(
                f'<table:table-row>{cells}<table:table-cell table:number-columns-repeated="1000"/></table:table-row>'
            )
        parts.append(
            '<table:table-row table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated="1024"/></table:table-row></table:table>'
        )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("content.xml", "".join(parts) + _TAIL)


def _cell(cell, span):
    if cell is None:
        return f"<table:table-cell{span}/>"
    if isinstance(cell, dt.datetime):
        return f'<table:table-cell{span} office:value-type="date" office:date-value="{cell.date().isoformat()}"><text:p>{cell:%d/%m/%y}</text:p></table:table-cell>'
    if isinstance(cell, (int, float)):
        return f'<table:table-cell{span} office:value-type="float" office:value="{cell}"><text:p>{cell}</text:p></table:table-cell>'
    return f'<table:table-cell{span} office:value-type="string"><text:p>{escape(str(cell))}</text:p></table:table-cell>'
