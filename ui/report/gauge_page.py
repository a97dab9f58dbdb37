"""A comparison with a trusted gauge as a page and a table, with what a publication needs."""

from __future__ import annotations

import csv
import io
from base64 import b64encode
from collections import Counter
from collections.abc import Iterable, Sequence
from importlib.metadata import version
from itertools import groupby

from inspection.comparison.bland_altman import FEWEST
from inspection.comparison.gauge_study import GaugeStudy, StudiedPhoto, StudyGroup
from inspection.exchange.spreadsheet import escape_formula
from ui.charts.gauge_study import study_chart
from ui.report.writers.drawings import drawn_svg
from ui.report.writers.html import POLICY, STYLE
from ui.report.writers.letters import escaped
from ui.text import CLEARS_NOTHING, sentence
from vision.results import Estimate

PLOT_WIDTH = 720  # px
SHOULD = 0.95  # share of differences that an expanded uncertainty (k = 2) should hold
SMALL_Z2 = 0.5  # mean square below which U is reported as larger than observed; our choice
HEADINGS = ("ropes", "photographs", "refused", "bias % (95 %)", "sd %", "limits of agreement %",
            "inside U (95 %)", "mean z²")  # fmt: skip
KINDS = ("n", "n", "n", "l", "n", "l", "l", "n")  # "l": long, can be broken
ROWS = (
    "photograph", "rope", "gauge", "finish", "phone", "card set", "trusted reading (mm)",
    "U k = 2 of the trusted reading (mm)", "by photograph (mm)", "U k = 2 of the photograph (mm)",
    "photograph - trusted (mm)", "photograph - trusted (%)", "U k = 2 of the difference (mm)",
    "within U", "why no figure",
)  # fmt: skip


def verdict(group: StudyGroup) -> tuple[str, ...]:
    """Return the conclusions from a group of photographs, no more than its size allows."""
    if not group.answered or group.bias_pct is None or group.coverage_interval is None:
        return (f"None of {group.refused} photographs gave a figure.",)
    low, high = group.coverage_interval
    share = group.inside / group.answered
    said = [
        f"{group.inside} of {group.answered} differences ({_pct(share)}) are within their expanded "
        f"uncertainty (95 % interval {_pct(low)} to {_pct(high)}); {_pct(SHOULD)} are expected."
    ]
    if high < SHOULD:
        said.append("U is therefore too small for photographs like these.")
    elif group.mean_z2 is not None and group.mean_z2 < SMALL_Z2 and low > 0.8:
        said.append("U is larger than the observed differences justify.")
    if group.spread is None:
        ropes = "1 rope" if group.ropes == 1 else f"{group.ropes} ropes"
        said.append(
            f"{ropes}: too few to state more than the mean difference, "
            f"{group.bias_pct:+z.2f} %; at least {FEWEST} are needed."
        )
        return tuple(said)
    spread = group.spread
    below, above = spread.bias_interval_pct
    interval = f"(95 % interval {below:+z.2f} to {above:+z.2f} %)"
    if below <= 0.0 <= above:
        said.append(f"The mean difference, {spread.bias_pct:+z.2f} % {interval}, may be zero.")
    else:
        way = "thicker" if spread.bias_pct > 0 else "thinner"
        said.append(
            f"The photographs read {abs(spread.bias_pct):.2f} % {way} than the trusted gauge "
            f"{interval}."
        )
    said.append(
        f"95 % of single differences lie between {spread.low_pct:+z.2f} and "
        f"{spread.high_pct:+z.2f} %."
    )
    return tuple(said)


def _interval(ends: tuple[float, float]) -> str:
    return f" ({ends[0]:+z.2f} to {ends[1]:+z.2f})"


def group_cells(group: StudyGroup) -> tuple[str, ...]:
    """Return the figures of a group as text, in the order of `HEADINGS`."""
    spread, coverage = group.spread, group.coverage_interval
    bias = "" if group.bias_pct is None else f"{group.bias_pct:+z.2f}"
    limits = ""
    if spread is not None:
        bias += _interval(spread.bias_interval_pct)
        limits = (
            f"{spread.low_pct:+z.2f}{_interval(spread.low_interval_pct)} to "
            f"{spread.high_pct:+z.2f}{_interval(spread.high_interval_pct)}"
        )
    inside = "" if coverage is None else (
        f"{group.inside} of {group.answered} ({_pct(coverage[0])} to {_pct(coverage[1])})"
    )  # fmt: skip
    return (
        str(group.ropes),
        str(group.answered),
        str(group.refused),
        bias,
        "" if spread is None else f"{spread.sd_pct:.2f}",
        limits,
        inside,
        "" if group.mean_z2 is None else f"{group.mean_z2:.2f}",
    )


def _pct(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _cells_of(photo: StudiedPhoto) -> tuple[str, ...]:
    """Return a photograph's row, in the order of `ROWS`."""
    trusted, result = photo.trusted, photo.result
    named = (trusted.photo, trusted.rope, trusted.gauge, trusted.finish,
             trusted.phone or result.camera, trusted.card_set)  # fmt: skip
    read = (f"{trusted.diameter_mm:.3f}", f"{trusted.expanded_mm:.3f}")
    if not isinstance(result, Estimate):
        return (*named, *read, *("",) * 6, " ".join(map(sentence, result.findings)))
    return (
        *named,
        *read,
        f"{result.diameter_mm:.3f}",
        f"{result.expanded_mm():.3f}",
        f"{photo.difference_mm:+z.3f}",
        f"{photo.difference_pct:+z.3f}",
        f"{photo.expanded_difference_mm:.3f}",
        "yes" if photo.inside else "no",
        "",
    )


def study_csv(study: GaugeStudy) -> bytes:
    """Return a row for each photograph as CSV, refused ones with their reasons."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(ROWS)
    for photo in study.photos:
        cells = _cells_of(photo)
        texts = (*map(escape_formula, cells[:6]), *cells[6:-1], escape_formula(cells[-1]))
        writer.writerow(texts)
    return out.getvalue().encode()


def study_page(study: GaugeStudy, *, left_out: Sequence[str] = ()) -> str:
    """Return the whole page, which loads nothing from outside.

    Parameters
    ----------
    study : GaugeStudy
        The comparison.
    left_out : sequence of str, optional
        Photographs in the folder without a trusted reading.
    """
    whole = study.whole
    parts = [
        f"<p class='caution'>{escaped(CLEARS_NOTHING)}</p>",
        *(f"<p class='strong'>{escaped(one)}</p>" for one in verdict(whole)),
        f"<figure class='plot'>{_plot(study)}<figcaption>Each difference with the combined "
        "expanded uncertainty of photograph and reading; dashed: bias and limits of agreement."
        "</figcaption></figure>",
        "<h2>By size, finish, phone and card set</h2>",
        _groups_table(study),
        "<p class='small'>The intervals of bias and limits come from the scatter between ropes; "
        "that of the share inside U treats photographs as independent. Groups differ in more than "
        "the factor that names them: it need not be the cause of what a group shows.</p>",
        "<h2>How it was done</h2>",
        *(f"<p>{escaped(one)}</p>" for one in methods(study)),
        "<h2>What was left out</h2>",
        *(f"<p>{escaped(one)}</p>" for one in _left_out(study, left_out)),
        "<h2>All photographs</h2>",
        _photos_table(study),
    ]
    title = "Photographs compared with a trusted gauge"
    head = (
        "<!DOCTYPE html><html lang='en'><head><meta charset='utf-8'>"
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{title}</title><style>{STYLE}</style></head>"
    )
    return f"{head}<body><h1>{title}</h1>{''.join(parts)}</body></html>\n"


def _plot(study: GaugeStudy) -> str:
    """Return differences against diameters as a picture within the page; empty without a figure."""
    if not study.whole.answered:
        return ""
    svg = drawn_svg(study_chart(study).properties(width=PLOT_WIDTH).to_dict(validate=False))
    data = b64encode(svg.encode()).decode()
    return f"<img alt='Differences against diameters' src='data:image/svg+xml;base64,{data}'>"


def methods(study: GaugeStudy) -> tuple[str, ...]:
    """Return what readers must know about how the comparison was made, as paragraphs."""
    photos, whole = study.photos, study.whole
    gauges = Counter(one.trusted.gauge or "one gauge" for one in photos)
    per_rope = Counter(one.trusted.rope for one in photos)
    sizes = [one.trusted.diameter_mm for one in photos]
    share = [100.0 * one.trusted.expanded_mm / one.trusted.diameter_mm for one in photos]
    checked = sum(bool(one.trusted.card_set) for one in photos)
    named = ", ".join(f"{name} ({count})" for name, count in sorted(gauges.items()))
    return (
        f"{len(photos)} photographs of {len(per_rope)} ropes or bars, {min(per_rope.values())} to "
        f"{max(per_rope.values())} of each, {min(sizes):.1f} to {max(sizes):.1f} mm in diameter, "
        f"were measured by Rope Photo Check {version('rope-photo-check')}, each separately and "
        "without knowledge of its trusted reading; "
        f"{whole.answered} gave a figure. The print was checked for {checked} of them.",
        f"The trusted readings, with a stated expanded uncertainty (k = 2) of {min(share):.2f} to "
        f"{max(share):.2f} %, were taken with: {named}. All readings of one gauge are assumed to "
        "share its error.",
        "Differences are photograph minus trusted reading, in % of the reading. Limits of "
        "agreement are bias ± 1.96 standard deviations of a single difference, from the variances "
        "between and within ropes (Bland and Altman 2007, J. Biopharm. Stat. 17: 571-582). A "
        "difference is inside U if it is at most the combined expanded uncertainty (k = 2) of "
        "photograph and reading (JCGM 100:2008, 5.1.2); the interval of that share is that of "
        "Clopper and Pearson (1934). z is a difference divided by its standard uncertainty.",
        "A publication should add: how the ropes were chosen and whether any was left out "
        "afterwards; who took photographs and readings, and whether either knew the other's "
        "figure; the gauge's jaws, calibration and repeatability; the rope's load and cleaning.",
    )


def _left_out(study: GaugeStudy, without_reading: Sequence[str]) -> Iterable[str]:
    refused = [one for one in study.photos if not isinstance(one.result, Estimate)]
    codes = Counter(one.result.findings[0].code for one in refused)
    if refused:
        yield (
            f"Refused by the program: {len(refused)} of {len(study.photos)}; reasons: "
            + ", ".join(f"{code} ({count})" for code, count in codes.most_common())
            + "."
        )
    else:
        yield "No photograph was refused by the program."
    if without_reading:
        yield (
            f"In the folder without a trusted reading: {len(without_reading)} "
            f"({', '.join(without_reading[:20])}{' ...' if len(without_reading) > 20 else ''})."
        )


def _groups_table(study: GaugeStudy) -> str:
    head = "".join(f"<th>{escaped(one)}</th>" for one in ("group", *HEADINGS))
    rows = []
    for factor, groups in groupby(study.groups, key=lambda one: one.factor):
        if factor != "all":
            rows.append(f"<tr class='strong'><td colspan='9'>by {escaped(factor)}</td></tr>")
        for one in groups:
            cells = "".join(
                f"<td class='{kind}'>{escaped(cell)}</td>"
                for kind, cell in zip(KINDS, group_cells(one), strict=True)
            )
            rows.append(f"<tr><td class='l'>{escaped(one.name)}</td>{cells}</tr>")
    return f"<div class='wide'><table><tr>{head}</tr>{''.join(rows)}</table></div>"


def _photos_table(study: GaugeStudy) -> str:
    """Return the rows of the CSV, each figure with its U in one cell to fit on a page."""
    headings = ("photo", "rope", "gauge", "finish", "phone", "card set", "trusted, mm",
                "photograph, mm", "difference, mm", "%", "inside U", "reason")  # fmt: skip
    head = "".join(f"<th>{one}</th>" for one in headings)
    rows = []
    for photo in study.photos:
        *named, trusted, u_trusted, seen, u_seen, off, off_pct, u_off, inside, why = _cells_of(
            photo
        )
        pairs = ((trusted, u_trusted), (seen, u_seen), (off, u_off))
        figures = [f"{one} ± {u}" if one else "" for one, u in pairs] + [off_pct, inside]
        rows.append(
            "<tr>"
            + "".join(f"<td>{escaped(one)}</td>" for one in named)
            + "".join(f"<td class='n'>{one}</td>" for one in figures)
            + f"<td>{escaped(why)}</td></tr>"
        )
    return f"<div class='wide'><table><tr>{head}</tr>{''.join(rows)}</table></div>"
