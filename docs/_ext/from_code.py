"""Pages that are written from the package itself at every build: tables of records, codes, and keys of `--json`."""

import json
import re
from pathlib import Path

from sphinx.application import Sphinx

from trunkwatch.cli.json_schema import schema_of, verbs_with_schema
from trunkwatch.vineyard.glossary import TERMS
from trunkwatch.vineyard.tables import TABLES

_KINDS = {"text": "text", "number": "number", "whole": "whole number", "date": "day", "code": "code"}


def _cell(text: str) -> str:
    return re.sub(r"\s+", " ", text).replace("|", "\\|")


def _table(head: tuple[str, ...], lines: list[tuple[str, ...]]) -> list[str]:
    rows = [head, tuple("---" for _ in head), *lines]
    return ["| " + " | ".join(row) + " |" for row in rows] + [""]


def tables_page() -> str:
    """Return the page of the tables and their columns, in MyST."""
    page = [
        "# Tables and columns",
        "",
        (
            "A vineyard is a folder of these tables as CSV files, or one GeoPackage that holds them. A table or a column that is not needed "
            "may be left out, unless it says required. Days are written YYYY-MM-DD."
        ),
        "",
    ]
    for table in TABLES.values():
        page += [f"(table-{table.name})=", f"## {table.name}.csv", "", f"One line is {_cell(table.row_is)}.", ""]
        page.append(f"A record without an id gets one made of: {', '.join(f'`{name}`' for name in table.key)}.")
        page.append("")
        lines = []
        for column in table.columns:
            meaning = _cell(column.meaning) + (" (required)" if column.required else "")
            if column.codes:
                meaning += ": " + ", ".join(f"`{code}`" for code in column.codes)
            bounds = [
                f"{way} {bound:g}" for way, bound in (("from", column.low), ("to", column.high)) if bound is not None
            ]
            kind = " ".join([_KINDS.get(column.kind, column.kind), *bounds])
            lines.append((f"`{column.name}`", kind, _cell(column.unit or ""), meaning))
        page += _table(("column", "kind", "unit", "meaning"), lines)
    return "\n".join(page)


def keys_page(verb: str) -> str:
    """Return the page of the JSON Schema of one verb, in MyST."""
    schema = json.dumps(schema_of(verb), indent=2, ensure_ascii=False)
    return f"# trunkwatch {verb} --json\n\n`trunkwatch {verb} --json-schema` prints this schema.\n\n```json\n{schema}\n```\n"


def words_page() -> str:
    """Return the page of the words, in MyST."""
    lines = [(_cell(term.says), _cell(term.meaning)) for term in sorted(TERMS, key=lambda term: term.says.casefold())]
    return "\n".join(
        [
            "# Words",
            "",
            "One word a thing, on all pages, in the terminal and in errors.",
            "",
            *_table(("word", "what it means"), lines),
        ]
    )


def write_pages(folder: Path) -> None:
    """Write all pages that come from the package into a folder."""
    pages = {"tables.md": tables_page(), "words.md": words_page()}
    pages |= {f"json/{verb}.md": keys_page(verb) for verb in verbs_with_schema()}
    for name, text in pages.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists() or path.read_text("utf-8") != text:
            path.write_text(text, "utf-8")


def _on_start(app: Sphinx) -> None:
    write_pages(Path(app.srcdir) / "generated")


def setup(app: Sphinx) -> dict[str, bool]:
    """Write the pages before sources are read."""
    app.connect("builder-inited", _on_start)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
