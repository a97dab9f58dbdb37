"""`ropephoto card` and `ropephoto print-check`: print the cards, and check their scale."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from ui.cli.atomic_write import atomic_write

PAPERS = ("A4", "A5", "A6", "Letter")


@click.command()
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path), required=False)
@click.option(
    "--rope",
    "rope_mm",
    type=float,
    metavar="MM",
    help="Diameter of the rope, mm; required for cards.",
)
@click.option(
    "--paper",
    type=click.Choice(PAPERS, case_sensitive=False),
    default="A5",
    show_default=True,
    help="Paper size.",
)
@click.option(
    "--stations",
    type=click.IntRange(1, 425),
    default=2,
    show_default=True,
    help="Number of stations; each gets a card for 0 and one for 90 degrees.",
)
@click.option(
    "--first",
    type=click.IntRange(1, 425),
    default=1,
    show_default=True,
    help="Number of the first station.",
)
@click.option(
    "--board",
    is_flag=True,
    help="Write the calibration board for `ropephoto calibrate` instead; A4 or Letter is best.",
)
def card(
    out: Path | None,
    rope_mm: float | None,
    paper: str,
    stations: int,
    first: int,
    board: bool,
) -> None:
    """Write numbered cards, true to size, as the PDF file OUT.

    Print them at 100 % ("actual size"), never "fit to page". Then measure the two bars of one
    card with a caliper and enter them with `ropephoto print-check`.

    \b
    Example:
      ropephoto card --rope 22 --paper A5 --stations 4 cards.pdf
    """
    from vision.target.layout import layout_for
    from vision.target.pdf import card_pdf

    if board:
        _write_board(out or Path("calibration-board.pdf"), paper)
        return
    if rope_mm is None:
        raise click.UsageError("a card is made for one rope: give its diameter with --rope, in mm.")
    out = out or Path("rope-cards.pdf")
    try:
        layout = layout_for(rope_mm, paper)
        pdf = card_pdf(layout, stations=range(first, first + stations))
        atomic_write(out, pdf)
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    except OSError as failed:
        raise click.ClickException(
            f"{out} could not be written ({failed.strerror or failed}); choose another place."
        ) from failed
    click.echo(
        f"{out}: {2 * stations} cards, {layout.name}, for ropes up to {layout.rope_max_mm:g} mm. "
        f"Print at 100 %, then measure the bars: {layout.along_bar_mm:g} mm along, "
        f"{layout.across_bar_mm:g} mm across."
    )


def _write_board(out: Path, paper: str) -> None:
    from vision.calibration.board import COLUMNS, ROWS, board_pdf, square_side_mm

    side = square_side_mm(paper)
    try:
        atomic_write(out, board_pdf(paper))
    except OSError as failed:
        raise click.ClickException(
            f"{out} could not be written ({failed.strerror or failed}); choose another place."
        ) from failed
    click.echo(
        f"{out}: calibration board, {paper}. Print at 100 %, glue it to something flat, then "
        f"measure the chequered field: {COLUMNS * side:g} mm along, {ROWS * side:g} mm across."
    )


@click.command(name="print-check")
@click.argument("name")
@click.option("--layout", required=True, help='Layout as printed on the card, e.g. "A5 middle".')
@click.option(
    "--along",
    "along_mm",
    type=float,
    required=True,
    metavar="MM",
    help="Measured length of the bar along the rope, mm.",
)
@click.option(
    "--across",
    "across_mm",
    type=float,
    required=True,
    metavar="MM",
    help="Measured length of the bar across the rope, mm.",
)
@click.option(
    "--u",
    "u_mm",
    type=float,
    default=0.05,
    show_default=True,
    metavar="MM",
    help="Standard uncertainty of these readings, mm: 0.05 for a hand-held caliper, "
    "0.2 for a steel rule.",
)
@click.option(
    "--file",
    "path",
    type=click.Path(dir_okay=False, path_type=Path),
    default="print_checks.json",
    show_default=True,
    help="File with the print checks.",
)
def print_check(
    name: str, layout: str, along_mm: float, across_mm: float, u_mm: float, path: Path
) -> None:
    """Save the measured bars of a printed card as a print check.

    NAME is the card set's name; photographs of these cards are measured with --print-set NAME.

    \b
    Example:
      ropephoto print-check spring --layout "A5 middle" --along 180.62 --across 109.71
    """
    from vision.json_files import NotSavedError
    from vision.target.layout import layout_named
    from vision.target.print_scale import PrintCheck, checked_card, save_print_check

    try:
        check = PrintCheck(name, layout_named(layout), along_mm, across_mm, u_mm, date.today())
        printed = checked_card(check)
        save_print_check(path, check)
    except NotSavedError as failed:
        raise click.ClickException(str(failed)) from failed
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    click.echo(
        f"{name}: printed {100 * (printed.scale_x - 1):+z.2f} % along and "
        f"{100 * (printed.scale_y - 1):+z.2f} % across; saved in {path}. "
        f"Measure with --print-set {name}."
    )
