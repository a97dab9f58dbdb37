"""`ropephoto bench-check`: your own printer, card and phone checked on a bar of known diameter."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from ui.cli.options import print_set_option


@click.command("bench-check")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--true",
    "true_mm",
    type=float,
    required=True,
    metavar="MM",
    help="Diameter of the bar or pin by micrometer or certificate, mm.",
)
@click.option(
    "--u",
    "u_mm",
    type=float,
    required=True,
    metavar="MM",
    help="Standard uncertainty of that diameter, mm.",
)
@print_set_option
@click.option(
    "--print-checks",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="File with the print checks. Default: print_checks.json in FOLDER or the current folder.",
)
@click.pass_context
def bench_check(
    context: click.Context,
    folder: Path,
    true_mm: float,
    u_mm: float,
    print_set: str | None,
    print_checks: Path | None,
) -> None:
    """Check printer, card and phone on a bar of known diameter.

    FOLDER holds six or more photographs of one smooth, straight bar or pin on the card, each from
    a new place: nearer and farther, tilted a little, the card taken off and fixed again. The
    result is saved with its date for this card set and phone, and shown with their figures and
    in reports.

    Exit status: 0 the uncertainty holds, 1 it does not, 2 misuse.

    \b
    Example:
      ropephoto bench-check bar-photos/ --true 16.002 --u 0.002 --print-set spring
    """
    from inspection.measurement.bench_check import bench_check as checked
    from ui.cli.measure import settings_of
    from ui.cli.progress import BatchRun, find_photographs, measure_files
    from ui.services.bench_checks import keep_bench_check
    from vision.results import Estimate
    from vision.rope.tangent_cylinder import Hold

    checks = print_checks
    if checks is None:
        own = folder / "print_checks.json"
        checks = own if own.exists() else Path("print_checks.json")
    settings = settings_of((), Hold(), 2.0, print_set, checks, None)
    run = BatchRun(None, None, quiet=False)
    results = measure_files(find_photographs((str(folder),)), settings, {}, None, run)
    estimates = [one for one in results if isinstance(one, Estimate)]
    try:
        check = checked(
            estimates,
            true_mm=true_mm,
            u_true_mm=u_mm,
            refused=len(results) - len(estimates),
            on=date.today(),
        )
        for one in estimates:
            error = one.diameter_mm - true_mm
            click.echo(
                f"{one.photo_name}: {one.diameter_mm:.3f} mm, U {one.expanded_mm():.3f}, "
                f"error {error:+z.3f}"
            )
        click.echo(
            f"Mean error {check.mean_error_mm:+z.3f} mm, U {2 * check.u_mean_error_mm:.3f}; "
            f"repeatability {check.repeatability_mm:.3f} mm; measurement process on this bar: "
            f"U {2 * check.u_process_mm:.3f} mm (ISO 22514-7)."
        )
        click.echo(check.verdict)
        click.echo(f"Saved in {keep_bench_check(check)}.")
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    context.exit(0 if check.holds else 1)
