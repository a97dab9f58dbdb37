"""`ropephoto report`: one inspection as a PDF worth signing, and as HTML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ui.cli.atomic_write import atomic_write
from ui.cli.check import DECISIONS

if TYPE_CHECKING:
    from inspection.limits.rules import Rule
    from ui.cli.check import Measure
    from ui.report.case import ReportCase


@click.command()
@click.argument("where", metavar="FOLDER|RECORD")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path), metavar="OUT.pdf")
@click.option("--inspection", default="", metavar="NAME", help="Which one; default: the latest.")
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    default="A4",
    show_default=True,
    help="Paper of the PDF.",
)
@click.option("--html", "also_html", is_flag=True, help="Write OUT.html beside it, too.")
@click.option(
    "--decision",
    type=click.Choice(DECISIONS),
    default="guard-band",
    show_default=True,
    help="How uncertainty counts at a limit; as in `check`.",
)
@click.option("--limits", multiple=True, metavar="SET", help="Sets of limits; repeat for several.")
@click.option(
    "--own-limits",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="JSON file with limits of your own.",
)
@click.option("--print-set", metavar="NAME", help="Card set whose print was checked.")
@click.pass_context
def report(
    context: click.Context,
    where: str,
    out: Path,
    inspection: str,
    paper: str,
    also_html: bool,
    decision: str,
    limits: tuple[str, ...],
    own_limits: Path | None,
    print_set: str | None,
) -> None:
    """Write an inspection's report: figures, photographs, verdicts, flags, raw data.

    FOLDER and RECORD are as in `check`. From a folder the photographs are measured first; from
    a record come what they gave, how flags were settled, and the record's fingerprint. A file
    that is there already is not overwritten.

    \b
    Example:
      ropephoto report sample_images crane-2.pdf --html
    """
    wanted = [out] if not also_html else [out, out.with_suffix(".html")]
    if out.suffix.lower() != ".pdf":
        raise click.UsageError(f"the report is a PDF: name it like report.pdf; got {out.name}.")
    for path in wanted:
        if path.exists():
            raise click.UsageError(f"{path} is there already; name another file or move it.")
    try:
        own = () if own_limits is None else _own(own_limits)
        case = _case(where, inspection, decision, limits, own, print_set, context.obj)
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    _write(case, wanted, paper)
    for path in wanted:
        click.echo(f"Wrote {path}.")
    click.echo(case.assessment.first_concern)


def _case(
    where: str,
    inspection: str,
    decision: str,
    limits: tuple[str, ...],
    own: tuple[Rule, ...],
    print_set: str | None,
    measure: Measure | None,
) -> ReportCase:
    from inspection.record.record import open_record
    from ui.cli.check import decision_named, measured_folder, recorded, usual_measure
    from ui.report.case import case_of_folder, case_of_record, record_name

    rule, sets = decision_named(decision), limits or None
    folder = Path(where)
    if folder.is_dir():
        read = measured_folder(
            folder, inspection, print_set, measure or usual_measure(False, False)
        )
        return case_of_folder(folder, read, decision=rule, rule_sets=sets, own=own)
    if print_set is not None:
        raise ValueError("--print-set is for a folder; a record says itself which print was used.")
    read = recorded(where, inspection)
    with open_record(where, create=False) as record:
        return case_of_record(
            record, read, name=record_name(where), decision=rule, rule_sets=sets, own=own
        )


def _own(path: Path) -> tuple[Rule, ...]:
    from inspection.limits.user_rules import rules_from_json

    try:
        return rules_from_json(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"{path} can't be read as text: {error}.") from error


def _write(case: ReportCase, wanted: list[Path], paper: str) -> None:
    from ui.report.report import html_report, pdf_report

    for path in wanted:
        is_pdf = path.suffix.lower() == ".pdf"
        data = (
            pdf_report(case, paper="Letter" if paper == "Letter" else "A4")
            if is_pdf
            else (html_report(case).encode("utf-8"))
        )
        try:
            atomic_write(path, data)
        except OSError as failed:
            raise click.ClickException(
                f"{path} could not be written ({failed.strerror}); choose another place."
            ) from failed
