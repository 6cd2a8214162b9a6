"""A report written as a page and as a PDF."""

from __future__ import annotations

from typing import TYPE_CHECKING

from finishlab.files import write_atomically
from finishlab.report.story import report_pages
from finishlab.show.html import pages_html

if TYPE_CHECKING:
    from pathlib import Path

    from finishlab.imaging.strip import Paper
    from finishlab.report.contents import ReportContent

__all__ = ["report_html", "report_pdf", "write_report"]


def report_html(content: ReportContent) -> str:
    """Return a report as the text of a page."""
    return pages_html(report_pages(content))


def report_pdf(content: ReportContent, *, paper: Paper = "a4") -> tuple[bytes, str]:
    """Return a report as the bytes of a PDF, and the letters that stand as ``?`` in it, as no font here has them."""
    from finishlab.photos.profiles import matrix_profile
    from finishlab.show.pdf.flow import REPORT
    from finishlab.show.pdf.pages import pages_pdf
    from finishlab.show.pdf.text import letters_missing

    pages = report_pages(content, across=4)
    return pages_pdf(pages, REPORT, matrix_profile("sRGB"), paper=paper), letters_missing(pages)


def write_report(
    content: ReportContent, *, page: Path | None = None, pdf: Path | None = None, paper: Paper = "a4"
) -> str:
    """Write a report; return the letters that no font could print in its PDF.

    Parameters
    ----------
    content
        What it holds.
    page
        Where the HTML page goes; None writes none.
    pdf
        Where the PDF goes; None writes none.
    paper
        Size of the PDF's pages.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    if page is not None:
        write_atomically(page, report_html(content).encode("utf-8", "replace"))
    if pdf is None:
        return ""
    data, missing = report_pdf(content, paper=paper)
    write_atomically(pdf, data)
    return missing
