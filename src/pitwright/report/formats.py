"""A sheet in one of the formats it can be written in."""

from __future__ import annotations

from pitwright.desk.sheet.day_sheet import DaySheet
from pitwright.report.charts import charts
from pitwright.report.html import html
from pitwright.report.markdown import markdown
from pitwright.report.sheet import document
from pitwright.report.text import text

__all__ = ["FORMATS", "formatted"]

FORMATS = ("text", "md", "html")


def formatted(sheet: DaySheet, form: str) -> str:
    """Return the sheet as text, Markdown (``md``) or one HTML page.

    Raises ValueError for another format.
    """
    found = document(sheet)
    if form == "text":
        return text(found)
    if form == "md":
        return markdown(found)
    if form == "html":
        return html(found, charts(sheet))
    raise ValueError(f"'{form}' is not one of {', '.join(FORMATS)}")
