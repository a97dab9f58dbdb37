"""`ropephoto report`: an inspection's report as a PDF to sign, and as HTML."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ui.cli.atomic_write import atomic_write
from ui.cli.inspected import (
    applied_limits,
    log_in_record,
    measured_folder,
    named_record,
    refusal,
    usual_measure,
)
from ui.cli.options import (
    decision_option,
    inspection_option,
    limits_option,
    own_limits_option,
    print_set_option,
)
from ui.environment import LETTERHEAD

if TYPE_CHECKING:
    from ui.cli.inspected import Measure
    from ui.report.blocks import Letterhead
    from ui.report.case import ReportCase
    from ui.services.assess_record import AppliedLimits


@click.command()
@click.argument("where", metavar="FOLDER|RECORD")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path), metavar="OUT.pdf")
@inspection_option
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    default="A4",
    show_default=True,
    help="Paper size of the PDF.",
)
@click.option("--number", default="", metavar="TEXT", help="The report's number.")
@click.option(
    "--letterhead",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.json",
    envvar=LETTERHEAD,
    help='Company and logo: {"company": ..., "lines": [...], "logo": "logo.png"}.',
)
@click.option("--html", "also_html", is_flag=True, help="Write OUT.html as well.")
@decision_option
@limits_option
@own_limits_option
@print_set_option
@click.pass_context
def report(
    context: click.Context,
    where: str,
    out: Path,
    inspection: str,
    paper: str,
    number: str,
    letterhead: Path | None,
    also_html: bool,
    decision: str,
    limits: tuple[str, ...],
    own_limits: Path | None,
    print_set: str | None,
) -> None:
    """Write an inspection's report as PDF, and as HTML.

    It is one page to sign, followed by an annex. The page shows the worst station with its
    photographs, the open entries, the decision and space for signatures; the annex contains
    figures, verdicts, findings and raw data.

    FOLDER and RECORD are as in `check`. For a folder, the photographs are measured first; for a
    record, its stored results are used, and the report adds how findings were closed and the
    record's fingerprint. An existing file is not overwritten.

    \b
    Example:
      ropephoto report sample_images crane-2.pdf --html
    """
    from inspection.folder import rejected_words

    wanted = [out] if not also_html else [out, out.with_suffix(".html")]
    if out.suffix.lower() != ".pdf":
        raise click.UsageError(
            f"the report is a PDF, so its name must end in .pdf; got {out.name}."
        )
    for path in wanted:
        if path.exists():
            raise click.UsageError(f"{path} already exists; name another file or move it.")
    try:
        whose = _letterhead(letterhead)
        applied = applied_limits(decision, limits, own_limits)
        case = _case(where, inspection, applied, print_set, context.obj)
    except ValueError as wrong:
        raise refusal(wrong) from wrong
    _write(replace(case, letterhead=whose, number=number), wanted, paper)
    for path in wanted:
        click.echo(f"Wrote {path}.")
    click.echo(case.assessment.first_line(rejected_words(case.rejected)))


def _letterhead(file: Path | None) -> Letterhead:
    from ui.report.blocks import NO_LETTERHEAD
    from ui.report.letterhead import read_letterhead

    return NO_LETTERHEAD if file is None else read_letterhead(file)


def _case(
    where: str,
    inspection: str,
    limits: AppliedLimits,
    print_set: str | None,
    measure: Measure | None,
) -> ReportCase:
    from ui.report.case import case_of_folder, case_of_record, record_name

    folder = Path(where)
    if folder.is_dir():
        read = measured_folder(
            folder, inspection, print_set, measure or usual_measure(False, False)
        )
        return case_of_folder(folder, read, limits=limits)
    if print_set is not None:
        raise ValueError("--print-set is for a folder; a record states which print check was used.")
    read = log_in_record(where, inspection)
    with named_record(where) as record:
        return case_of_record(record, read, name=record_name(where), limits=limits)


def _write(case: ReportCase, wanted: list[Path], paper: str) -> None:
    from ui.report.report import html_report, pdf_report

    for path in wanted:
        is_pdf = path.suffix.lower() == ".pdf"
        try:
            data = (
                pdf_report(case, paper="Letter" if paper == "Letter" else "A4")
                if is_pdf
                else (html_report(case).encode("utf-8"))
            )
        except ValueError as wrong:
            raise click.ClickException(str(wrong)) from wrong
        try:
            atomic_write(path, data)
        except OSError as failed:
            raise click.ClickException(
                f"{path} could not be written ({failed.strerror}); choose another place."
            ) from failed
