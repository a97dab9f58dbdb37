"""`ropephoto calibrate` and `ropephoto cameras`: calibrate a phone's camera, list calibrations."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ui.cli.options import cameras_option, print_check_of, print_checks_option, print_set_option

if TYPE_CHECKING:
    from vision.calibration.from_cards import CardCalibration
    from vision.calibration.library import CalibratedCamera
    from vision.calibration.session import Calibrated
    from vision.photo.photo import Photo


@click.command()
@click.argument("photos", nargs=-1, required=True)
@click.option(
    "--along",
    "along_mm",
    type=float,
    metavar="MM",
    help="Measured length of the chequered field along its 11 squares, mm.",
)
@click.option(
    "--across",
    "across_mm",
    type=float,
    metavar="MM",
    help="Measured length of the chequered field across its 7 squares, mm.",
)
@click.option(
    "--u",
    "u_mm",
    type=float,
    default=0.1,
    show_default=True,
    metavar="MM",
    help="Standard uncertainty of these two readings, mm.",
)
@click.option(
    "--try",
    "tried",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="PHOTO",
    help="Photograph of a rope with the card by this phone: shows U without and with calibration.",
)
@click.option(
    "--cards",
    "by_cards",
    is_flag=True,
    help="PHOTOS show ropes with the card: four or more by one phone, solved together.",
)
@print_set_option
@print_checks_option
@cameras_option
def calibrate(
    photos: tuple[str, ...],
    along_mm: float | None,
    across_mm: float | None,
    u_mm: float,
    tried: Path | None,
    by_cards: bool,
    print_set: str | None,
    print_checks: Path,
    cameras: Path | None,
) -> None:
    """Calibrate a phone's camera from PHOTOS of the board.

    Print the calibration board with `ropephoto card --board`, and photograph it eight times or
    more. With --cards, the photographs of an inspection will do instead. From then on `measure`,
    `check` and the pages use the calibration for every photograph by the same camera with the same
    picture size and zoom.

    \b
    Example:
      ropephoto calibrate board-photos/ --along 275.3 --across 174.9
      ropephoto calibrate --cards inspection/ --print-set spring
    """
    from ui.cli.progress import find_photographs
    from ui.services.cameras import cameras_file
    from vision.calibration.adjustment import U_STRETCH
    from vision.calibration.from_cards import calibrate_from_cards
    from vision.calibration.library import save_camera
    from vision.calibration.session import calibrate_photographs, measured_stretch

    if by_cards and (along_mm is not None or across_mm is not None):
        raise click.UsageError(
            "--along and --across belong to the board; for cards use --print-set."
        )
    if print_set is not None and not by_cards:
        raise click.UsageError("--print-set applies to cards only: add --cards.")
    if (along_mm is None) != (across_mm is None):
        raise click.UsageError(
            "give both --along and --across, or neither: only their ratio is used."
        )
    paths = find_photographs(photos)
    try:
        printed = (0.0, U_STRETCH)
        if along_mm is not None and across_mm is not None:
            printed = measured_stretch(along_mm, across_mm, u_mm)
        check = print_check_of(print_set, print_checks)
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    place = cameras or cameras_file()
    photo = None if tried is None else _opened(tried)  # opened first: a mistyped name fails early
    try:
        if by_cards:
            by_card = calibrate_from_cards(paths, check, on=date.today())
            camera = by_card.camera
            _print_by_cards(by_card)
        else:
            done = calibrate_photographs(
                paths, stretch=printed[0], u_stretch=printed[1], on=date.today()
            )
            camera = done.camera
            _print_calibration(done)
    except ValueError as refused:
        raise click.ClickException(f"no calibration: {refused}") from refused
    try:
        save_camera(place, camera, unless_surer=by_cards)
    except ValueError as failed:
        raise click.ClickException(str(failed)) from failed
    click.echo(f"Saved in {place}; new photographs are measured with it.")
    if photo is not None:
        _print_trial(photo, camera)


def _print_calibration(done: Calibrated) -> None:
    camera, calibration = done.camera, done.calibration
    u = calibration.covariance.u
    click.echo(f"{camera.key}: {camera.photographs} photographs, {calibration.corners} corners")
    rows = [
        ("focal length, px", camera.focal_px, camera.focal_px * u("log_focal"), 2),
        ("principal point x, px", camera.centre_px[0], u("centre_x_px"), 2),
        ("principal point y, px", camera.centre_px[1], u("centre_y_px"), 2),
        ("k1, radial", camera.k1, u("k1"), 5),
        ("k2, radial", camera.k2, u("k2"), 5),
        ("p1, tangential", camera.p1, u("p1"), 5),
        ("p2, tangential", camera.p2, u("p2"), 5),
        ("print longer across, %", 100 * calibration.stretch, 100 * calibration.u_stretch, 3),
    ]
    click.echo(f"{'':24s}{'value':>12s}{'u':>10s}")
    for name, value, u_value, digits in rows:
        small = abs(value) < 2 * u_value
        note = "  not distinguishable from 0" if small else ""
        click.echo(f"{name:24s}{value:12.{digits}f}{u_value:10.{digits}f}{note}")
    worst = max(range(len(done.used)), key=lambda i: calibration.rms_px[i])
    click.echo(
        f"Residuals {camera.rms_px:.2f} px, worst {calibration.rms_px[worst]:.2f} px "
        f"({done.used[worst]}); the board covers "
        f"{100 * calibration.coverage:.0f} % of the picture; "
        f"tilts {min(calibration.tilts_deg):.0f} to {max(calibration.tilts_deg):.0f} degrees."
    )
    for why in done.left_out:
        click.echo(f"Left out: {why}.")


def _print_by_cards(done: CardCalibration) -> None:
    camera, (x, y) = done.camera, done.camera.centre_px
    click.echo(f"{camera.key}: {camera.photographs} photographs of ropes with the card")
    stated = "" if done.stated_px is None else f"; the file states {done.stated_px:.0f} px"
    click.echo(f"Focal length {camera.focal_px:.0f} px, u {100 * done.u_log_focal:.1f} %{stated}.")
    click.echo(f"Principal point {x:.0f}, {y:.0f} px, u {done.u_centre_px:.0f} px each.")
    low, high = min(done.tilts_deg), max(done.tilts_deg)
    click.echo(f"The cards were tilted by {low:.0f} to {high:.0f} degrees.")
    for why in done.left_out:
        click.echo(f"Left out: {why}.")


def _opened(path: Path) -> Photo:
    from vision.photo.photo import PhotoError, open_photo

    try:
        return open_photo(path)
    except PhotoError as wrong:
        raise click.ClickException(f"--try: {wrong}") from wrong


def _print_trial(photo: Photo, camera: CalibratedCamera) -> None:
    """Show a photograph's figures without and with the calibration."""
    from ui.text import refused
    from vision.calibration.library import camera_key
    from vision.pipeline import Settings, measure_photo
    from vision.results import Estimate
    from vision.uncertainty import Influence, combined_u_mm

    if camera_key(photo) != camera.key:
        raise click.ClickException(
            f"--try: {photo.name} was taken with another camera, picture size or lens "
            f"({camera_key(photo) or 'its file does not say which'}) than the calibrated one "
            f"({camera.key}); name a photograph taken with that one."
        )
    settings = {"without": Settings(), "with": Settings(cameras={camera.key: camera})}
    for word, chosen in settings.items():
        for result in measure_photo(photo, chosen):
            if isinstance(result, Estimate):
                lens = [term for term in result.budget if term.influence is Influence.LENS]
                click.echo(
                    f"{photo.name} {word} calibration: {result.diameter_mm:.3f} mm, U "
                    f"{result.expanded_mm():.3f} mm, contribution of the lens "
                    f"{2 * combined_u_mm(lens):.3f} mm"
                )
            else:
                click.echo(f"{photo.name} {word} calibration: {refused(result)}")


@click.command()
@click.option("--remove", metavar="CAMERA", help="Remove this camera, named as in the list.")
@cameras_option
def cameras(remove: str | None, cameras: Path | None) -> None:
    """List the calibrated cameras, or remove one.

    \b
    Example:
      ropephoto cameras --remove "Lantern L4, 4000 x 3000, 26 mm"
    """
    from ui.services.cameras import cameras_file, known_cameras
    from vision.calibration.library import forget_camera

    place = cameras or cameras_file()
    try:
        if remove is not None:
            forget_camera(place, remove)
            click.echo(f"{remove} was removed.")
            return
        known = known_cameras(place)
    except ValueError as wrong:
        raise click.ClickException(str(wrong)) from wrong
    if not known:
        click.echo("No camera has been calibrated yet; see `ropephoto calibrate --help`.")
    for key, camera in sorted(known.items()):
        click.echo(
            f"{key}: focal length {camera.focal_px:.1f} px, from {camera.photographs} photographs"
            f", {camera.on or 'date unknown'}"
        )
