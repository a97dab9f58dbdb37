"""Grooves, and whether the rope fits what it runs on.

There are two separate questions: how the *groove* compares with the rope's nominal diameter
(`groove_fit`, from the radius as stated), and how thick the *rope* as measured may be for this
groove, this pitch or this drum (compared with the mean diameter of every station).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from inspection.limits.rules import ENTERED, Limit, NotApplicable, Rule, resolve
from inspection.model.rope import Groove, Rope

# Trade pages differ from the standard, so each range has a name to choose it by.
GROOVE_RANGES_PCT: dict[str, tuple[float, float, str]] = {
    "ISO 16625": (5.0, 10.0, "ISO 16625, as a trade page quotes it; confirmed there"),
    "practice, 0.53 to 0.55 d": (6.0, 10.0, "trade page on sheave and drum dimensions"),
    "practice, 0.54 to 0.57 d": (8.0, 14.0, "trade page on sheaves; differs from ISO 16625"),
}
OVER_MEASURED_PCT = 1.0  # least groove diameter over the measured rope, at installation
PITCH_PER_RADIUS = (2.065, 2.18)  # drum pitch over groove radius; trade page, not a standard

# Compared with every station's mean, so that the thickest (or thinnest) decides: an average over
# the rope would hide the one place that climbs.
_FIT = Rule(
    rule_set="",
    what="",
    quantity="mean diameter",
    purpose="fit",
    source="",
    edition="",
    clause="",
    sure="",
    start="nothing",
)


@dataclass(frozen=True, slots=True)
class GrooveFit:
    """A groove's own figures against a rope's nominal diameter.

    Parameters
    ----------
    groove : Groove
        The groove.
    range_name : str
        Key of `GROOVE_RANGES_PCT`.
    excess_pct : float
        Groove diameter over nominal rope diameter, minus 1, %.
    outcome : {"within", "too tight", "too wide"}
        Compared with the range, which includes its edges.
    pitch_per_radius : float or None
        Pitch over groove radius; None without a pitch.
    pitch_fits : bool or None
        Whether that is within `PITCH_PER_RADIUS`; None without a pitch.
    """

    groove: Groove
    range_name: str
    excess_pct: float
    outcome: str
    pitch_per_radius: float | None
    pitch_fits: bool | None

    @property
    def words(self) -> str:
        """The fit in one or two sentences."""
        least, most, _ = GROOVE_RANGES_PCT[self.range_name]
        sentence = (
            f"Groove of {self.groove.name}: {self.excess_pct:.1f} % wider than the nominal "
            f"diameter, {self.outcome if self.outcome != 'within' else 'within the range'} "
            f"({self.range_name}: {least:g} % to {most:g} %)."
        )
        if self.pitch_fits is False:
            low, high = PITCH_PER_RADIUS
            sentence += (
                f" Its pitch is {self.pitch_per_radius:.2f} times the radius; {low:g} to {high:g} "
                "is usual."
            )
        return sentence


def groove_fit(rope: Rope, groove: Groove, *, range_name: str = "ISO 16625") -> GrooveFit:
    """Return how a groove's stated radius and pitch compare with the nominal diameter.

    The groove is taken as stated: its wear is not known here. Measure it with a groove gauge.

    Raises
    ------
    ValueError
        If the range is not known, or a figure of the groove is not more than 0.

    References
    ----------
    ISO 16625: groove diameter 5 % to 10 % over the rope's, so radius 0.525 d to 0.55 d.

    Examples
    --------
    >>> groove_fit(Rope("R-1", 20.0), Groove("sheave", 10.5)).outcome
    'within'
    """
    if range_name not in GROOVE_RANGES_PCT:
        raise ValueError(
            f"'{range_name}' is not a known range: choose from {', '.join(GROOVE_RANGES_PCT)}."
        )
    _check(groove)
    least, most, _ = GROOVE_RANGES_PCT[range_name]
    excess = round(200.0 * groove.radius_mm / rope.nominal_mm - 100.0, 9)
    outcome = "within" if least <= excess <= most else "too tight" if excess < least else "too wide"
    ratio = None if groove.pitch_mm is None else round(groove.pitch_mm / groove.radius_mm, 9)
    fits = None if ratio is None else PITCH_PER_RADIUS[0] <= ratio <= PITCH_PER_RADIUS[1]
    return GrooveFit(groove, range_name, excess, outcome, ratio, fits)


def groove_limits(rope: Rope, groove: Groove) -> tuple[Limit | NotApplicable, ...]:
    """Return the limits that a groove or a drum sets for its rope, wherever that is thickest.

    There are three: the groove must be at least 1 % wider than the measured rope; on a drum the
    turns must not crowd, so the rope must be thinner than the pitch; and a drum with several
    layers has its maker's own limits. No standard gives a tolerance for several layers.

    Parameters
    ----------
    rope : Rope
        The rope.
    groove : Groove
        One of its grooves.

    Raises
    ------
    ValueError
        If a figure of the groove is not more than 0.

    References
    ----------
    ISO 16625 (at installation at least 1 % over the measured diameter, confirmed on trade
    pages). Crowding: handbook text on drum grooves (1/4 in rope that measures 0.265 in on a
    pitch of 0.250 in crowds and climbs).
    """
    _check(groove)
    room = replace(
        _FIT,
        rule_set="ISO 16625",
        what=f"room in the groove of {groove.name}",
        source="ISO 16625, as trade pages quote it",
        clause="groove at installation",
        sure="confirmed in a public copy",
        services=("new",),
        high_mm=2.0 * groove.radius_mm / (1.0 + OVER_MEASURED_PCT / 100.0),
        note="At installation: a used groove has worn to its rope.",
    )
    pitch = replace(
        _FIT,
        rule_set="handbook",
        what=f"pitch of {groove.name}",
        source="handbook text on drum grooves",
        sure="confirmed in a public copy",
        high_mm=groove.pitch_mm,
        at_limit="outside",
        note="A rope as thick as the pitch crowds and climbs.",
    )
    own = replace(
        _FIT,
        rule_set="drum's own limits",
        what=f"rope for {groove.name}",
        source="the drum's maker",
        sure=ENTERED,
        low_mm=groove.rope_min_mm,
        high_mm=groove.rope_max_mm,
        note="Thin ropes leave gaps between the turns, thick ones climb.",
    )
    results: list[Limit | NotApplicable] = list(resolve([room], rope))
    if groove.pitch_mm is None:
        results.append(_none(pitch, f"no pitch is recorded for {groove.name}"))
    else:
        results += resolve([pitch], rope)
    if own.low_mm is None and own.high_mm is None:
        missing = f"the maker's limits for {groove.name} are not recorded"
        if groove.layers > 1:
            missing += f", and with {groove.layers} layers they matter: ask for them"
        results.append(_none(own, missing))
    else:
        results += resolve([own], rope)
    return tuple(results)


def all_groove_limits(rope: Rope) -> tuple[Limit | NotApplicable, ...]:
    """Return the limits of all grooves of a rope, without those that need no mention.

    A sheave has no pitch, and a single-layer drum needs no limits of its own: nothing is missing.
    """
    return tuple(
        limit
        for groove in rope.grooves
        for limit in groove_limits(rope, groove)
        if isinstance(limit, Limit) or limit.rule.services or groove.layers > 1
    )


def _none(rule: Rule, reason: str) -> NotApplicable:
    return NotApplicable(rule, f"{rule.rule_set}, {rule.what}: {reason}.")


def _check(groove: Groove) -> None:
    figures = {
        "radius": groove.radius_mm,
        "pitch": groove.pitch_mm,
        "least rope diameter": groove.rope_min_mm,
        "largest rope diameter": groove.rope_max_mm,
    }
    for name, value in figures.items():
        if value is not None and not 0 < value < math.inf:
            raise ValueError(f"the {name} of {groove.name} must be more than 0 mm; got {value}.")
    low, high = groove.rope_min_mm, groove.rope_max_mm
    if low is not None and high is not None and low > high:
        raise ValueError(
            f"the rope limits of {groove.name} are the wrong way round: least {low} mm, largest "
            f"{high} mm."
        )
