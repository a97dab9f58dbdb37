"""`ropephoto measure`: photographs in, diameters out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from ui.cli.options import (
    cameras_option,
    csv_option,
    json_option,
    parse_place,
    print_check_of,
    print_checks_option,
    print_set_option,
    refuse_two_forms,
)

if TYPE_CHECKING:
    from inspection.measurement.measured_diameter import MeasuredDiameter
    from inspection.measurement.section import Section
    from vision.pipeline import Settings
    from vision.results import Result
    from vision.rope.tangent_cylinder import Hold

HOLDS = ("touching", "level", "stand-off")
Given = TypeVar("Given")


def _finite(_: click.Context, parameter: click.Parameter, value: Given) -> Given:
    """Refuse nan and inf, which click accepts as numbers."""
    numbers = value if isinstance(value, tuple) else (value,)
    for number in numbers:
        if isinstance(number, float) and not math.isfinite(number):
            raise click.BadParameter(
                f"{number} is not a finite number of {parameter.metavar or 'diameters'}."
            )
    return value


@click.command()
@click.argument("photos", nargs=-1, required=True)
@click.option(
    "--at",
    "at_mm",
    type=float,
    multiple=True,
    callback=_finite,
    metavar="MM",
    help="Place along the card, mm from its middle; repeat for several. Default: the middle.",
)
@click.option(
    "--hold",
    type=click.Choice(HOLDS),
    default="touching",
    show_default=True,
    help="How the card was held: flat against the rope; cut out and level with the rope's axis "
    "(hold the phone square: the more it is tilted, the more an offset of the axis counts); or at "
    "a known stand-off.",
)
@click.option(
    "--offset",
    "offset_mm",
    type=float,
    default=0.0,
    callback=_finite,
    metavar="MM",
    help="Gap (touching), or height of the rope's axis above the card (stand-off), mm.",
)
@click.option(
    "--u-offset",
    "u_offset_mm",
    type=click.FloatRange(min=0),
    callback=_finite,
    metavar="MM",
    help="Standard uncertainty of that distance, mm.",
)
@click.option(
    "--jaw",
    "jaw_diameters",
    type=click.FloatRange(0.5, 10),
    callback=_finite,
    default=2.0,
    show_default=True,
    help="Length of the virtual jaws, in rope diameters.",
)
@click.option(
    "--nominal",
    "nominal_mm",
    type=click.FloatRange(min=0, min_open=True),
    callback=_finite,
    metavar="MM",
    help="Nominal diameter, mm: shows differences in % of it.",
)
@print_set_option
@print_checks_option
@cameras_option
@click.option(
    "--say",
    multiple=True,
    metavar="FILE=STATION/VIEW",
    help="Station and direction of a photograph whose card can't be read: a.jpg=3/90. "
    "Three or more views of a station, 0 to 359 degrees, give the ellipse of its section.",
)
@click.option(
    "--position",
    multiple=True,
    metavar="STATION=METRES",
    help="Place of a station along the rope, m, e.g. 2=4.5. Two stations at least 1 m apart give "
    "the measured diameter as the mean of four readings; needs --nominal.",
)
@click.option(
    "--strands",
    type=click.IntRange(3, 40),
    metavar="N",
    help="Number of outer strands, for the lay length. Default: counted in the photograph where "
    "possible.",
)
@json_option
@csv_option
@click.option(
    "--overlay",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write pictures with edges, crown lines, jaws and figures into DIR.",
)
@click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="N",
    help="Measure N photographs at a time. Default: one by one for a few, all cores for many.",
)
@click.option(
    "--keep",
    "journal",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Save each result in FILE at once: an interrupted run resumes where it stopped.",
)
@click.pass_context
def measure(
    context: click.Context,
    photos: tuple[str, ...],
    at_mm: tuple[float, ...],
    hold: str,
    offset_mm: float,
    u_offset_mm: float | None,
    jaw_diameters: float,
    nominal_mm: float | None,
    print_set: str | None,
    print_checks: Path,
    cameras: Path | None,
    say: tuple[str, ...],
    position: tuple[str, ...],
    strands: int | None,
    as_json: bool,
    as_csv: bool,
    overlay: Path | None,
    jobs: int | None,
    journal: Path | None,
) -> None:
    """Measure the rope in PHOTOS.

    PHOTOS are files, folders or patterns such as "site/*.jpg". The photographs of one station at 0
    and 90 degrees are paired by their cards' numbers and give the mean diameter and the ovality;
    three or more directions give an ellipse. Every figure comes with its expanded uncertainty U (k
    = 2, about 95 %).

    Exit status: 0 all answered, 1 some refused, 2 misuse.

    \b
    Example:
      ropephoto measure photos/ --print-set spring --nominal 22 --overlay seen/
    """
    from inspection.measurement.section import pair_by_card
    from inspection.screening.checks.lay_length import with_strands
    from ui.cli.output.measure import print_csv, print_json, print_table
    from ui.cli.progress import BatchRun, find_photographs, measure_files
    from vision.results import Refusal
    from vision.rope.tangent_cylinder import Hold, HoldKind

    refuse_two_forms(as_json, as_csv)
    if position and nominal_mm is None:
        raise click.UsageError("--position needs --nominal as well.")
    if hold == "touching" and offset_mm < 0:
        raise click.UsageError(f"a gap can't be negative; got --offset {offset_mm:g}.")
    if hold == "level" and offset_mm:
        raise click.UsageError("--hold level takes no --offset; leave one of them out.")
    paths = find_photographs(photos)
    held = Hold(HoldKind(hold), offset_mm, u_offset_mm)
    settings = settings_of(at_mm, held, jaw_diameters, print_set, print_checks, cameras)
    places = dict(_parse_say(entry) for entry in say)
    unknown = sorted(places.keys() - {path.name for path in paths})
    if unknown:
        raise click.UsageError(f"--say names {unknown[0]}, which is not among the photographs.")
    positions = dict(_position(entry) for entry in position)
    run = BatchRun(jobs, journal, quiet=as_json or as_csv)
    results = measure_files(paths, settings, places, overlay, run)
    results = with_strands(results, strands)
    sections = pair_by_card(results, nominal_mm=nominal_mm)
    measured = _measured(sections, positions, nominal_mm)
    if as_json:
        print_json(results, sections, measured)
    elif as_csv:
        print_csv(results)
    else:
        print_table(results, sections, nominal_mm, measured)
        _print_bench_checks(results)
    context.exit(1 if any(isinstance(result, Refusal) for result in results) else 0)


def _print_bench_checks(results: list[Result]) -> None:
    """Print the verdict of the bench check of this phone and card set, and whether it is old."""
    from datetime import date

    from ui.services.bench_checks import bench_check_for, known_bench_checks

    try:
        for check in bench_check_for(results, known_bench_checks()):
            click.echo(check.reminder(date.today()))
    except ValueError as damaged:
        raise click.ClickException(str(damaged)) from damaged


def settings_of(
    at_mm: tuple[float, ...],
    hold: Hold,
    jaw_diameters: float,
    print_set: str | None,
    print_checks: Path,
    cameras: Path | None,
) -> Settings:
    """Return the settings that the options ask for; misuse raises `click.UsageError`."""
    from ui.services.cameras import known_cameras
    from vision.pipeline import Settings

    try:
        return Settings(
            at_mm or (0.0,),
            hold,
            jaw_diameters,
            print_check_of(print_set, print_checks),
            known_cameras(cameras),
        )
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong


def _parse_say(entry: str) -> tuple[str, tuple[int, int]]:
    name, _, place = entry.rpartition("=")
    wants = "FILE=STATION/VIEW, e.g. a.jpg=3/90"
    return Path(name).name, parse_place(place if name else "", wants=wants, got=entry)


def _position(entry: str) -> tuple[int, float]:
    from inspection.exchange.cells import place_m, whole_number

    station, _, metres = entry.partition("=")
    try:
        return whole_number(station), place_m(metres)
    except ValueError:
        raise click.UsageError(
            f"--position takes STATION=METRES, e.g. 2=4.5; got {entry!r}."
        ) from None


def _measured(
    sections: Sequence[Section], positions: dict[int, float], nominal_mm: float | None
) -> MeasuredDiameter | None:
    """Return the measured diameter where stations have places; print why there is none."""
    from dataclasses import replace

    from inspection.measurement.measured_diameter import measured_diameter

    if not positions or nominal_mm is None:
        return None
    placed = [
        replace(section, position_m=positions[section.station])
        for section in sections
        if section.station in positions and section.at_mm == sections[0].at_mm
    ]
    try:
        return measured_diameter(placed, nominal_mm=nominal_mm)
    except ValueError as wrong:
        # the photographs' own figures are still shown
        click.echo(f"No measured diameter: {wrong}", err=True)
        return None
