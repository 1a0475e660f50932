"""A document as one HTML file that needs nothing else and runs nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Mapping
from html import escape as escape_html
from typing import Final

from pitwright.report.charts import HOW_TO_GET_PICTURES
from pitwright.report.document import Block, Document, Note, Picture, Section, Table, clean

__all__ = ["html"]

_SHORT: Final = 14

_STYLE: Final = """
:root { color-scheme: light; }
body { font: 10.5pt/1.4 system-ui, sans-serif; color: #000; background: #fff;
  max-width: 60rem; margin: 1.5rem auto; padding: 0 1rem; }
h1 { font-size: 1.5em; margin: 0; }
h2 { font-size: 1.15em; margin: 1.6em 0 0.4em; border-bottom: 2px solid #000; }
.subtitle, .quiet, caption, figcaption, footer { color: #444; font-size: 0.9em; }
.subtitle { margin: 0.1em 0 0.8em; }
p, ul { margin: 0.35em 0; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; margin: 0.5em 0 0.9em; width: 100%;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; padding-bottom: 0.2em; }
th, td { text-align: left; vertical-align: top; padding: 0.18em 0.7em 0.18em 0;
  border-bottom: 1px solid #bbb; overflow-wrap: break-word; }
thead th { border-bottom: 1.5px solid #000; }
.short { white-space: nowrap; }
.words { overflow-wrap: anywhere; min-width: 9rem; }
tbody th { font-weight: 600; }
.number { text-align: right; white-space: nowrap; }
figure { margin: 0.6em 0 1em; break-inside: avoid; }
img { display: block; width: 100%; max-width: 46rem; height: auto; }
.caution { border: 1.5px solid #000; padding: 0.3em 0.6em; font-weight: 600; }
footer { margin-top: 2em; border-top: 1px solid #000; padding-top: 0.4em; }
@page { margin: 14mm; }
@media print {
  body { font-size: 9pt; max-width: none; margin: 0; padding: 0; }
  .scroll { overflow: visible; }
  h2, caption { break-after: avoid; }
  thead { display: table-header-group; }
  tr, figure, .caution { break-inside: avoid; }
  img { max-width: 100%; }
}
"""

# Nothing may be fetched or run; the one style sheet is named by its digest.
_POLICY: Final = (
    "default-src 'none'; img-src data:; base-uri 'none'; form-action 'none'; style-src "
    f"'sha256-{base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()}'"
)


def html(document: Document, pictures: Mapping[str, bytes] | None) -> str:
    """Return a document as a page; ``pictures`` are SVG by chart name, None when there are none.

    All text is escaped and freed of control and direction signs.
    """
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_escape(_POLICY)}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        f"<title>{_escape(document.title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        "<header>",
        f"<h1>{_escape(document.title)}</h1>",
        f'<p class="subtitle">{_escape(document.subtitle)}</p>',
        *(f"<p>{_escape(fact)}</p>" for fact in document.facts),
        "</header>",
        "<main>",
    ]
    if pictures is None and any(
        isinstance(block, Picture) for section in document.sections for block in section.blocks
    ):
        lines.append(f'<p class="quiet">{_escape(HOW_TO_GET_PICTURES)}</p>')
    for section in document.sections:
        lines += _section(section, pictures or {})
    lines += [
        "</main>",
        f"<footer><p>{_escape(document.footer)}</p></footer>",
        "</body>",
        "</html>",
    ]
    return "\n".join(lines) + "\n"


def _escape(text: str) -> str:
    return escape_html(clean(text), quote=True)


def _section(section: Section, pictures: Mapping[str, bytes]) -> Iterator[str]:
    yield f'<section aria-labelledby="{section.key}">'
    yield f'<h2 id="{section.key}">{_escape(section.title)}</h2>'
    listed = False
    for block in section.blocks:
        point = isinstance(block, Note) and block.kind == "point"
        if point != listed:
            yield "<ul>" if point else "</ul>"
            listed = point
        yield from _block(block, pictures)
    if listed:
        yield "</ul>"
    yield "</section>"


def _block(block: Block, pictures: Mapping[str, bytes]) -> Iterator[str]:
    if isinstance(block, Table):
        yield from _table(block.filled)
    elif isinstance(block, Picture):
        svg = pictures.get(block.chart)
        if svg is not None:
            data = base64.b64encode(svg).decode()
            yield "<figure>"
            yield f'<img src="data:image/svg+xml;base64,{data}" alt="{_escape(block.alt)}">'
            yield f"<figcaption>{_escape(block.caption)}</figcaption>"
            yield "</figure>"
    elif block.kind == "point":
        yield f"<li>{_escape(block.text)}</li>"
    else:
        mark = "" if block.kind == "plain" else f' class="{block.kind}"'
        yield f"<p{mark}>{_escape(block.text)}</p>"


def _table(table: Table) -> Iterator[str]:
    marks = [_mark(table, n) for n in range(len(table.columns))]
    yield '<div class="scroll">'
    yield "<table>"
    yield f"<caption>{_escape(table.caption)}</caption>"
    yield "<thead><tr>"
    for column, mark in zip(table.columns, marks, strict=True):
        yield f'<th scope="col"{mark}>{_escape(column.title)}</th>'
    yield "</tr></thead>"
    yield "<tbody>"
    for row in table.rows:
        cells = [f'<th scope="row"{marks[0]}>{_escape(row[0])}</th>']
        cells += [
            f"<td{mark}>{_escape(cell)}</td>" for cell, mark in zip(row[1:], marks[1:], strict=True)
        ]
        yield f"<tr>{''.join(cells)}</tr>"
    yield "</tbody>"
    yield "</table>"
    yield "</div>"


def _mark(table: Table, column: int) -> str:
    """Return the class of a column's cells: numbers, long words, or too short to be broken."""
    if table.columns[column].numeric:
        return ' class="number"'
    if table.columns[column].long:
        return ' class="words"'
    longest = max((len(row[column]) for row in table.rows), default=0)
    return ' class="short"' if longest <= _SHORT else ""
