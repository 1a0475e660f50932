"""A document as Markdown, with everything a user wrote escaped."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pitwright.report.document import Block, Document, Note, Picture, Table, clean

__all__ = ["escape", "markdown"]

_SIGNS = re.compile(r"([\\`*_\[\]<>#|~&$])")
_LINE_START = re.compile(r"^([-+=](?=[\s=-]|$)|\d{1,9}(?=[.)](?:\s|$)))")
_LINKS = re.compile(r"(:)(?=//)|(?<=\bwww)(\.)|(@)", re.IGNORECASE)


def escape(text: str) -> str:
    r"""Return text that Markdown shows as it is: one line, no marks, no links, no HTML.

    >>> escape("# a *b* <i>c</i> | d")
    '\\# a \\*b\\* \\<i\\>c\\</i\\> \\| d'
    >>> escape("1. first")
    '1\\. first'
    """
    line = _SIGNS.sub(r"\\\1", clean(text))
    line = _LINKS.sub(lambda found: f"\\{found.group()}", line)
    start = _LINE_START.match(line)
    if start is None:
        return line
    if start.group()[0].isdigit():
        return f"{start.group()}\\{line[start.end() :]}"
    return f"\\{line}"


def markdown(document: Document) -> str:
    """Return a document as Markdown; pictures are replaced by what they show in words."""
    lines = [f"# {escape(document.title)}", "", f"*{escape(document.subtitle)}*", ""]
    for fact in document.facts:
        lines += [escape(fact), ""]
    for section in document.sections:
        lines += [f"## {escape(section.title)}", ""]
        listed = False
        for block in section.blocks:
            point = isinstance(block, Note) and block.kind == "point"
            if listed and not point:
                lines.append("")
            lines += _block(block)
            listed = point
        if listed:
            lines.append("")
    lines += ["---", "", escape(document.footer)]
    return "\n".join(lines) + "\n"


def _block(block: Block) -> Iterator[str]:
    if isinstance(block, Table):
        yield escape(f"{block.caption}:")
        yield ""
        table = block.filled
        yield _row([column.title for column in table.columns])
        yield "|" + "|".join("---:" if c.numeric else "---" for c in table.columns) + "|"
        for row in table.rows:
            yield _row(row)
        yield ""
    elif isinstance(block, Picture):
        return
    elif block.kind == "point":
        yield f"- {escape(block.text)}"
    elif block.kind == "caution":
        yield f"**{escape(block.text)}**"
        yield ""
    else:
        yield escape(block.text)
        yield ""


def _row(cells: list[str] | tuple[str, ...]) -> str:
    return "| " + " | ".join(escape(cell) for cell in cells) + " |"
