"""`ropephoto scale`: measure a photograph without the card, by a rule or known length in it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ui.cli.options import (
    csv_option,
    json_option,
    open_record_or_fail,
    parse_place,
    refuse_two_forms,
)
from ui.environment import PERSON

if TYPE_CHECKING:
    from vision.scale_rule.measure import ScaledResult
    from vision.scale_rule.scale import ScaleRequest

LIES = ("unsaid", "beside", "on", "level")
PixelPoint = tuple[float, float]


class PointType(click.ParamType[PixelPoint]):
    """A place in the photograph, typed as X,Y in px."""

    name = "x,y"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> PixelPoint:
        """Return (x, y) from ``"812,440.5"``."""
        if isinstance(value, tuple):
            return float(value[0]), float(value[1])
        parts = str(value).replace(";", ",").split(",")
        try:
            x, y = (float(part) for part in parts)
        except ValueError:
            self.fail(f"{value!r} is not a point; type X,Y in px, e.g. 812,440.", param, ctx)
        if not (math.isfinite(x) and math.isfinite(y)):
            self.fail(f"{value!r} is not a point in a photograph.", param, ctx)
        return x, y


class LengthType(click.ParamType[float]):
    """A length as people type it: 50mm, 5 cm, 2 in, 1 3/8 in."""

    name = "length"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the length in mm."""
        from inspection.model.length_text import parse_length

        if isinstance(value, float):
            return value
        try:
            return parse_length(str(value))
        except ValueError as wrong:
            self.fail(str(wrong), param, ctx)


POINT, LENGTH = PointType(), LengthType()


@click.command()
@click.argument("photo", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--rule",
    "rule_px",
    type=POINT,
    nargs=2,
    required=True,
    metavar="X,Y X,Y",
    help="Two points a known distance apart on one row of graduations of a rule or tape, px.",
)
@click.option(
    "--length",
    "length_mm",
    type=LENGTH,
    required=True,
    metavar="LENGTH",
    help="The length between them: 50mm, 5 cm, 2 in.",
)
@click.option(
    "--u-length",
    "u_length_mm",
    type=LENGTH,
    metavar="LENGTH",
    help="Standard uncertainty of that length, with --two-points. Default: 0.2 % of it.",
)
@click.option(
    "--two-points", is_flag=True, help="No rule: use the two points and the length alone."
)
@click.option(
    "--across",
    "across_px",
    type=POINT,
    nargs=2,
    metavar="X,Y X,Y",
    help="A line square across the rope, from plain background to plain background, px.",
)
@click.option(
    "--edges",
    "edges_px",
    type=POINT,
    nargs=4,
    metavar="X,Y X,Y X,Y X,Y",
    help="Instead of --across: two points on one edge, then two on the other, px.",
)
@click.option(
    "--lies",
    type=click.Choice(LIES),
    default="unsaid",
    show_default=True,
    help="Where the rope lies: beside the rule on the same surface, on the rule's face, "
    "or with its axis level with that face.",
)
@click.option(
    "--height",
    "height_mm",
    type=float,
    metavar="MM",
    help="Instead of --lies: height of the rope's axis above the rule's face, mm.",
)
@click.option(
    "--u-height",
    "u_height_mm",
    type=LENGTH,
    metavar="LENGTH",
    help="Standard uncertainty of that height.",
)
@click.option(
    "--jaw",
    "jaw_mm",
    type=LENGTH,
    metavar="LENGTH",
    help="Length of the virtual jaws. Default: the rope in view, at most two diameters.",
)
@click.option(
    "--say",
    metavar="STATION/VIEW",
    help="Station and view (0 to 359 degrees) in the photograph: 3/90.",
)
@click.option(
    "--nominal",
    "nominal_mm",
    type=LENGTH,
    metavar="LENGTH",
    help="Nominal diameter: shows differences in % of it.",
)
@json_option
@csv_option
@click.option(
    "--overlay",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write a picture with the rule's graduations and the edges into DIR.",
)
@click.option(
    "--record", "where", metavar="RECORD", help="Add photograph and result to this record."
)
@click.option("--inspection", help="Inspection in RECORD to add it to.")
@click.option(
    "--by",
    envvar=PERSON,
    metavar="NAME",
    help="Your name, with --record. Or set ROPE_PHOTO_PERSON.",
)
@click.pass_context
def scale(
    context: click.Context,
    photo: Path,
    rule_px: tuple[PixelPoint, PixelPoint],
    length_mm: float,
    u_length_mm: float | None,
    two_points: bool,
    across_px: tuple[PixelPoint, PixelPoint] | None,
    edges_px: tuple[PixelPoint, PixelPoint, PixelPoint, PixelPoint] | None,
    lies: str,
    height_mm: float | None,
    u_height_mm: float | None,
    jaw_mm: float | None,
    say: str | None,
    nominal_mm: float | None,
    as_json: bool,
    as_csv: bool,
    overlay: Path | None,
    where: str | None,
    inspection: str | None,
    by: str | None,
) -> None:
    """Measure the rope in PHOTO by a rule, without the card.

    The scale comes from a rule, a tape or a known length in the picture. Mark two points on a row
    of graduations and give the length between them: the graduations are found with their
    perspective. A line across the rope shows where to measure. Such figures are less certain than
    those with the card; height and tilt are named terms of their budget.

    Exit status: 0 answered, 1 refused, 2 misuse.

    \b
    Example:
      ropephoto scale old.jpg --rule 394,846 778,839 --length 40mm --across 213,545 213,680
    """
    from vision.scale_rule.scale import Placement, ScaleRequest

    refuse_two_forms(as_json, as_csv)
    if not across_px and not edges_px:
        raise click.UsageError("say where to measure: --across with a line, or --edges.")
    if across_px and edges_px:
        raise click.UsageError("take one of --across and --edges, not both.")
    if height_mm is not None and lies != "unsaid":
        raise click.UsageError("take one of --lies and --height, not both.")
    if where and not (inspection and by):
        raise click.UsageError("--record needs --inspection and --by as well.")
    station, view = None, None
    if say is not None:
        station, view = parse_place(say, wants="STATION/VIEW, e.g. 3/90", got=say)
    request = ScaleRequest(
        rule_px,
        length_mm,
        u_length_mm,
        not two_points,
        across_px or None,
        edges_px or None,
        Placement.AT_HEIGHT if height_mm is not None else Placement(lies),
        height_mm or 0.0,
        u_height_mm,
        jaw_mm,
        station,
        view,
    )
    answer = _answer(photo, request, overlay)
    if where and inspection and by:
        _keep(where, inspection, by, photo, answer)
    _print(answer, nominal_mm, as_json=as_json, as_csv=as_csv)
    from vision.results import Refusal

    context.exit(1 if isinstance(answer.result, Refusal) else 0)


def _answer(path: Path, request: ScaleRequest, overlay: Path | None) -> ScaledResult:
    from vision.photo.photo import PhotoError, open_photo
    from vision.scale_rule.measure import measure_with_scale

    try:
        photo = open_photo(path)
        answer = measure_with_scale(photo, request)
    except PhotoError as unreadable:
        raise click.ClickException(str(unreadable)) from unreadable
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    if overlay is not None:
        from PIL import Image

        from vision.overlay import draw_scaled_result

        try:
            overlay.mkdir(parents=True, exist_ok=True)
            drawn = Image.fromarray(draw_scaled_result(photo.pixels, answer))
            drawn.save(overlay / f"{path.stem}-measured.jpg", quality=88)
        except OSError as failed:
            raise click.ClickException(
                f"the picture could not be written to {overlay} ({failed.strerror or failed}); "
                "choose another folder with --overlay."
            ) from failed
    return answer


def _keep(where: str, inspection: str, by: str, path: Path, answer: ScaledResult) -> None:
    import hashlib

    from ui.services.assess_record import screen_inspection
    from ui.services.measure_archive import Shown, add_figure
    from vision.photo.preview import preview_of

    with open_record_or_fail(where, None) as record:
        data = path.read_bytes()
        sha256 = hashlib.sha256(data).hexdigest()
        photo = Shown(path.name, sha256, data, *preview_of(data, path.name))
        add_figure(record, inspection, photo, answer.result, by=by)
        screen_inspection(record, inspection, by=by)


def _print(answer: ScaledResult, nominal_mm: float | None, *, as_json: bool, as_csv: bool) -> None:
    from inspection.measurement.section import pair_by_card
    from ui.cli.output.measure import print_csv, print_json, print_table

    results = [answer.result]
    if as_csv:
        print_csv(results)
    elif as_json:
        print_json(results, pair_by_card(results, nominal_mm=nominal_mm))
    else:
        print_table(results, pair_by_card(results, nominal_mm=nominal_mm), nominal_mm)
