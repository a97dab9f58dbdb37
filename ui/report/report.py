"""The report to be signed: one inspection as PDF and as HTML.

==================  =====================================================================
module              does
==================  =====================================================================
case                collects the content: assessment, pictures, findings, the record's facts
content             puts it in order, as blocks (`blocks`): one content for both writers
summary_page        the job, a summary of all findings, the list of stations
measurements        tables of measurements
assessment          tables of limits, severity and neighbours; earlier inspections
record_section      fingerprint and decisions
appendix            raw data
photos              photographs with their marks
drawings            the pages' charts as SVG, for both writers
pdf                 writes the blocks as PDF: data for the template `report.typ`
typeset             typesets that, in a separate process
html                writes the same blocks as HTML
letters             typefaces, and characters that none of them has
==================  =====================================================================
"""

from __future__ import annotations

from ui.report.case import ReportCase, case_of_folder, case_of_record, record_name
from ui.report.content import blocks_of
from ui.report.html import html_of
from ui.report.pdf import PAPERS, PageEdges, Paper, pdf_of
from ui.text import CLEARS_NOTHING

__all__ = [
    "PAPERS",
    "Paper",
    "ReportCase",
    "case_of_folder",
    "case_of_record",
    "html_report",
    "pdf_report",
    "record_name",
]


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
