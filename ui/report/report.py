"""The report to be signed: one inspection as PDF and as HTML."""

from __future__ import annotations

from ui.report.case import ReportCase
from ui.report.pages.content import blocks_of
from ui.report.writers.html import html_of
from ui.report.writers.pdf import PageEdges, Paper, pdf_of
from ui.text import CLEARS_NOTHING


def pdf_report(case: ReportCase, *, paper: Paper = "A4") -> bytes:
    """Return the report as the bytes of a PDF.

    Parameters
    ----------
    case : ReportCase
        What to show.
    paper : {"A4", "Letter"}, optional
        The paper.
    """
    record = case.record
    foot = (case.source,) if record is None else (record.name, f"fingerprint {record.fingerprint}")
    return pdf_of(
        blocks_of(case),
        title=_title(case),
        paper=paper,
        edges=PageEdges(_identity(case), foot, CLEARS_NOTHING),
        made_at=case.made_at,
    )


def html_report(case: ReportCase) -> str:
    """Return the report as the text of one HTML file."""
    return html_of(blocks_of(case), title=_title(case), caution=CLEARS_NOTHING)


def _title(case: ReportCase) -> str:
    return ", ".join(_identity(case))


def _identity(case: ReportCase) -> tuple[str, str]:
    log = case.assessment.log
    return log.rope.identity, f"inspection {log.inspection.identity}"
