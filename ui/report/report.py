"""The report worth signing: one inspection as PDF and as HTML.

==================  =====================================================================
module              does
==================  =====================================================================
report_case         gathers what is shown: assessment, pictures, flags, the record's facts
report_changes      what was changed after it was entered
report_content      puts it in order, as blocks (`report_blocks`)
report_short        the first page: the job, and all findings in short
report_stations     the list of stations
report_tables       tables of what was measured
report_judged       tables of what that was held against
report_history      earlier inspections
report_record       fingerprint, decisions, what a signature stands for
report_raw          the appendix
report_pictures     photographs with their marks
report_plots        figures (`drawings`), for both writers
report_pdf          sets the blocks as PDF (`report_pdf_tables`, `report_pdf_words`)
report_html         sets the same blocks as HTML
report_fonts        fonts, and letters that none of them has
report_letters      letters that run from right to left
==================  =====================================================================
"""

from __future__ import annotations

from ui.report.case import ReportCase, case_of_folder, case_of_record, record_name
from ui.report.content import blocks_of
from ui.report.html import html_of
from ui.report.pdf import PAPERS, Paper, pdf_of
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
        head=_identity(case),
        foot=foot,
        caution=CLEARS_NOTHING,
    )


def html_report(case: ReportCase) -> str:
    """Return the report as the text of one HTML file."""
    return html_of(blocks_of(case), title=_title(case), caution=CLEARS_NOTHING)


def _title(case: ReportCase) -> str:
    return ", ".join(_identity(case))


def _identity(case: ReportCase) -> tuple[str, str]:
    log = case.assessment.log
    return log.rope.identity, f"inspection {log.inspection.identity}"
