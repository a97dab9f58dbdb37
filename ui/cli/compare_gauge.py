"""`ropephoto compare-gauge`: photographs compared with the readings of a trusted gauge."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("compare-gauge")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--template",
    is_flag=True,
    help="Write trusted.csv with a row to fill in for each photograph in FOLDER.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder for comparison.html and comparison.csv. Default: FOLDER.",
)
@click.option(
    "--send",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="ZIP",
    help="Also write FOLDER as a ZIP file to pass on, with names, place and time removed.",
)
@click.pass_context
def compare_gauge(
    context: click.Context, folder: Path, template: bool, out: Path | None, send: Path | None
) -> None:
    """Compare photographs with the readings of a trusted gauge.

    FOLDER holds photographs of ropes and bars with the card, one for each trusted reading;
    trusted.csv (columns photo, trusted, u, rope and, optionally, gauge, finish, phone, card_set;
    u is the reading's expanded uncertainty, k = 2); and print_checks.json if a print was
    checked. The page gives the bias, the limits of agreement and how often U held, overall and
    by size, finish, phone and card set, and what a reader must know about how it was done.

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
            "Before you send it, look at every picture in it (people, signs and number plates "
            "stay visible), and fill in LETTER.txt."
        )
    context.exit(0 if study.whole.answered else 1)


def _write_template(folder: Path, data: bytes) -> None:
    from ui.cli.atomic_write import atomic_write

    path = folder / "trusted.csv"
    if path.exists():
        raise click.UsageError(f"{path} already exists and was left unchanged.")
    try:
        atomic_write(path, data)
    except OSError as failed:
        raise click.ClickException(
            f"{path} can't be written: {failed.strerror or failed}."
        ) from failed
    click.echo(f"Wrote {path}: fill in trusted, u and rope for each photograph.")
