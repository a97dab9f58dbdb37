"""`ropephoto compare-gauge` and `bench-check`: photographs against what can be trusted."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from ui.cli.options import print_set_option


@click.command("compare-gauge")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--template",
    is_flag=True,
    help="Write trusted.csv with a row for each photograph of FOLDER, to be filled in.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Where comparison.html and comparison.csv go. Default: FOLDER.",
)
@click.option(
    "--send",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="ZIP",
    help="Also write FOLDER as a ZIP file that can be given away: names, place and time taken out.",
)
@click.pass_context
def compare_gauge(
    context: click.Context, folder: Path, template: bool, out: Path | None, send: Path | None
) -> None:
    """Compare the photographs in FOLDER with the trusted readings in its trusted.csv.

    FOLDER holds photographs of ropes and bars with the card, one for each trusted reading;
    trusted.csv (columns photo, trusted, u, rope, and gauge, finish, phone, card_set if you
    like; u is the reading's expanded uncertainty, k = 2); and print_checks.json where a print
    was checked. The page says bias, limits of agreement and how often U held, altogether and
    by size, finish, phone and card set, with what a reader must know of how it was done.

    Exit status: 0 compared, 1 no photograph gave a figure or a file can't be written, 2 misuse.

    \b
    Example:
      ropephoto compare-gauge bench/ --send bench.zip
    """
    from ui.cli.atomic_write import atomic_write
    from ui.report.gauge_page import study_csv, study_page, verdict
    from ui.services import gauge_study
    from ui.services.cameras import known_cameras
    from vision.pipeline import Settings, measure_photo

    try:
        if template:
            _write_template(folder, gauge_study.template(folder))
            return
        read = gauge_study.read_study_folder(folder)
        study = gauge_study.studied(read, Settings(cameras=known_cameras(None)), measure_photo)
        files = {
            (out or folder) / "comparison.html": study_page(
                study, left_out=read.without_reading
            ).encode(),
            (out or folder) / "comparison.csv": study_csv(study),
        }
        if send is not None:
            files[send] = gauge_study.to_send(read)
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    for sentence in verdict(study.whole):
        click.echo(sentence)
    for path, data in files.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            atomic_write(path, data)
        except OSError as failed:
            raise click.ClickException(
                f"{path} can't be written: {failed.strerror or failed}."
            ) from failed
        click.echo(f"Wrote {path}.")
    if send is not None:
        click.echo(
            "Before you send it: look at every picture in it (what can be seen stays: people, "
            "signs, number plates), and fill in LETTER.txt."
        )
    context.exit(0 if study.whole.answered else 1)


def _write_template(folder: Path, data: bytes) -> None:
    from ui.cli.atomic_write import atomic_write

    path = folder / "trusted.csv"
    if path.exists():
        raise click.UsageError(f"{path} is there already; it is left as it is.")
    try:
        atomic_write(path, data)
    except OSError as failed:
        raise click.ClickException(
            f"{path} can't be written: {failed.strerror or failed}."
        ) from failed
    click.echo(f"Wrote {path}: fill in trusted, u and rope for each photograph.")


@click.command("bench-check")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--true",
    "true_mm",
    type=float,
    required=True,
    metavar="MM",
    help="Diameter of the bar or pin, mm, as a micrometer or its certificate says.",
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
    help="File with the print checks. Default: print_checks.json in FOLDER, or here.",
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
    """Check one's own printer, card and phone on a bar of known diameter.

    FOLDER holds six or more photographs of one smooth, straight bar or pin on the card, each from
    a new place: nearer and farther, tilted a little, the card taken off and fixed again. The
    result is kept with its date beside card set and phone, and shown with figures and in reports.

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
                f"off by {error:+z.3f}"
            )
        click.echo(
            f"Mean error {check.mean_error_mm:+z.3f} mm, U {2 * check.u_mean_error_mm:.3f}; "
            f"repeatability {check.repeatability_mm:.3f} mm; the whole way of measuring, on this "
            f"bar: U {2 * check.u_process_mm:.3f} mm (ISO 22514-7)."
        )
        click.echo(check.verdict)
        click.echo(f"Kept in {keep_bench_check(check)}.")
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    context.exit(0 if check.holds else 1)
