"""Further parts of what `ropephoto check` shows: severity, history, grooves, what would settle."""

from __future__ import annotations

from rich.table import Table

from inspection.case import Judgement
from inspection.lay_length import lay_words
from inspection.limit_time import NO_CLEARANCE
from inspection.over_time import OverTime
from ui.tables import new_table

GROUPS = {"gauge": "gauge", "person": "person", "print_set": "card set", "camera": "phone"}


def severity_table(judgement: Judgement) -> Table:
    """Return each station's uniform decrease with its severity."""
    by = "photographs" if judgement.photograph_sections else "the gauge"
    table = new_table(f"Uniform decrease of diameter after ISO 4309:2017, by {by}")
    table.add_column("station")
    for heading in ("decrease\nmm", "decrease\n% of nominal", "u\n%"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("band", no_wrap=True)
    table.add_column("towards\ndiscard %", justify="right")
    table.add_column("could also be", ratio=1)
    for station, one in judgement.severities:
        others = ", ".join(
            f"{band} ({p:.0%})" for band, p in one.spread if band != one.band and p >= 0.05
        )
        table.add_row(
            str(station), f"{one.decrease_mm:+z.2f}", f"{one.decrease_pct:+z.2f}",
            f"{one.u_pct:.2f}", one.band, str(one.severity_pct), others,
        )  # fmt: skip
    return table


def over_time_table(stations: tuple[OverTime, ...]) -> Table:
    """Return each station's rate of loss, and when the nearest discard limit would be met."""
    table = new_table("Over the inspections, by the gauge; 95 % intervals")
    table.add_column("station")
    table.add_column("inspections", justify="right")
    table.add_column("mm per year", justify="right", no_wrap=True)
    table.add_column("interval", no_wrap=True)
    table.add_column("limit mm", justify="right", no_wrap=True)
    table.add_column("would be met", ratio=1)
    for one in stations:
        count = str(len({point.on for point in one.points}))
        if one.line is None:
            table.add_row(str(one.station), count, "-", one.why.partition(":")[0])
            continue
        low, high = one.line.rate_interval
        limit, met = "-", "no discard limit applies"
        if one.limit is not None:
            limit, met = f"{one.limit.limit_mm:.2f}", _met(one)
        table.add_row(
            str(one.station), count, f"{one.line.rate_mm_per_year:+z.3f}",
            f"{low:+z.3f} to {high:+z.3f}", limit, met,
        )  # fmt: skip
    return table


def _met(one: OverTime) -> str:
    if one.limit is None or one.limit.earliest is None:
        return "not within 100 years"
    latest = "no latest day" if one.limit.latest is None else f"by {one.limit.latest}"
    return f"from {one.limit.earliest}, {latest}"


def further_lines(judgement: Judgement) -> list[str]:
    """Return what would settle undecided verdicts, who or what differs, chance, grooves."""
    lines = [placed.words for placed in judgement.verdicts if placed.verdict.outcome == "undecided"]
    if judgement.across is not None:
        lines.append(f"Comparisons: {judgement.across.flags.words}")
        lines += [judgement.across.line_words] if judgement.across.line_words else []
        for group, names in judgement.across.groups.items():
            if len(names) > 1:
                said = [
                    f"{name or 'not named'} "
                    + ("too few" if one is None else f"{one.bias_mm:+z.3f} mm ({one.count})")
                    for name, one in names.items()
                ]
                lines.append(f"Mean difference by {GROUPS[group]}: {'; '.join(said)}.")
    for section in (*judgement.photograph_sections, *judgement.gauge_sections):
        if section.ellipse is not None:
            lines.append(f"Station {section.station}. {section.ellipse.words}")
    lines += lay_words(judgement.lays)
    lines += [fit.words for fit in judgement.groove_fits]
    if any(one.line is not None for one in judgement.over_time):
        lines.append(NO_CLEARANCE)
    return lines
