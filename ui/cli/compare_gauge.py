"""`ropephoto compare-gauge`: photographs against readings that can be trusted."""

from __future__ import annotations

from pathlib import Path

import click


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
