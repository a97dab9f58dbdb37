"""The tables: every published figure, with its document, edition, clause and how well it is known.

"Confirmed" means that the figures were read in a public copy or on a trade page that quotes the
document; "from memory" that no readable copy was found, with the confidence in the memory. Check
them against a licensed copy before they decide anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from inspection.limits.rules import Limit, NotApplicable, Rule, resolve
from inspection.model.rope import Core, Duty, Rope, Tension

CONFIRMED = "confirmed in a public copy"
INCH = 25.4

GENERAL: tuple[Duty, ...] = ("general", "crane", "hoist", "mine")  # all except lifts
LIFTING: tuple[Duty, ...] = ("general", "crane", "hoist")  # scope of ISO 4309
# nominal from, to (exclusive); excess over nominal, and largest difference, each % of nominal, for
# all-wire strands or strands with solid polymer centres; then both for strands with fibre centres
_NEW_ROPE: tuple[tuple[float, float | None, float, float, float | None, float | None], ...] = (
    (2.0, 4.0, 8.0, 7.0, None, None),
    (4.0, 6.0, 7.0, 6.0, 9.0, 8.0),
    (6.0, 8.0, 6.0, 5.0, 8.0, 7.0),
    (8.0, None, 5.0, 4.0, 7.0, 6.0),
)
FIBRE_CENTRES_SURE = "from memory, confidence 0.6"


def _new_rope(rule_set: str, edition: str, sure: str, tension_note: str) -> tuple[Rule, ...]:
    tolerance = Rule(
        rule_set=rule_set,
        what="tolerance of the diameter",
        quantity="measured diameter",
        purpose="accept",
        source=rule_set,
        edition=edition,
        clause="table of diameter tolerances",
        sure=sure,
        low_pct=0.0,
        duties=GENERAL,
        services=("new",),
        tensions=("none", "up to 5 % of breaking force"),
        note=tension_note,
    )
    difference = replace(
        tolerance,
        what="largest difference",
        quantity="largest difference",
        low_pct=None,
        start="nothing",
        clause="table of differences between readings",
    )
    rows: list[Rule] = []
    for from_mm, to_mm, plus, wire, fibre_plus, fibre in _NEW_ROPE:
        # a separate row: judged by the smaller all-wire figure they could be called outside
        fibre_note = f"Figure for strands with fibre centres. {tension_note}"
        rows += [
            replace(
                tolerance,
                from_mm=from_mm,
                to_mm=to_mm,
                high_pct=fibre_plus,
                low_pct=None if fibre_plus is None else 0.0,
                fibre_centred=True,
                sure=FIBRE_CENTRES_SURE,
                note=fibre_note,
            ),
            replace(tolerance, from_mm=from_mm, to_mm=to_mm, high_pct=plus, fibre_centred=False),
            replace(difference, from_mm=from_mm, to_mm=to_mm, high_pct=fibre, fibre_centred=True),
            replace(difference, from_mm=from_mm, to_mm=to_mm, high_pct=wire, fibre_centred=False),
        ]
    return tuple(rows)


EN_12385_4 = _new_rope(
    "EN 12385-4",
    "edition not named in the copy seen",
    CONFIRMED,
    "Measured without load; in special cases at up to 5 % of the breaking force.",
)
ISO_2408 = _new_rope(
    "ISO 2408",
    "2017",
    "from memory, confidence 0.8: the same table as EN 12385-4",
    "Measured without load; in special cases at up to 5 % of the breaking force.",
)

_LIFT = Rule(
    rule_set="EN 12385-5",
    what="",
    quantity="measured diameter",
    purpose="accept",
    source="EN 12385-5 (lift ropes)",
    edition="edition not named in the copy seen",
    clause="table of diameter tolerances",
    sure=CONFIRMED + "; its size sign is garbled, read as up to and over 10 mm",
    duties=("lift",),
    services=("new",),
)
_AT_5: Tension = "up to 5 % of breaking force"
_AT_10: Tension = "up to 10 % of breaking force"
# core, up to 10 mm or over, largest without load, least at 5 %, least at 10 % of breaking force
_LIFT_ROPE: tuple[tuple[Core, bool, float, float, float], ...] = (
    ("fibre", True, 6.0, 1.0, 0.0),
    ("fibre", False, 5.0, 1.0, 0.0),
    ("steel", True, 3.0, 0.0, -1.0),
    ("steel", False, 2.0, 0.0, -1.0),
)


def _lift_ropes() -> tuple[Rule, ...]:
    rows: list[Rule] = []
    for core, small, unloaded, at_5, at_10 in _LIFT_ROPE:
        row = replace(
            _LIFT,
            cores=(core,),
            size_edge="(]",
            from_mm=None if small else 10.0,
            to_mm=10.0 if small else None,
        )
        rows += [
            replace(row, what="largest without load", high_pct=unloaded, tensions=("none",)),
            replace(row, what="least at 5 % of breaking force", low_pct=at_5, tensions=(_AT_5,)),
            replace(row, what="least at 10 % of breaking force", low_pct=at_10, tensions=(_AT_10,)),
        ]
    for from_mm, to_mm, ovality, variation in ((None, 8.0, 4.0, 3.0), (8.0, None, 3.0, 2.0)):
        row = replace(
            _LIFT, start="nothing", from_mm=from_mm, to_mm=to_mm, tensions=(_AT_5, _AT_10)
        )
        rows += [
            replace(row, what="ovality", quantity="ovality", high_pct=ovality),
            replace(
                row,
                what="variation of the mean diameter",
                quantity="variation of the mean",
                high_pct=variation,
            ),
        ]
    return tuple(rows)


EN_12385_5 = _lift_ropes()

# A lift rope in service, even where it is thin over a short section only.
LIFT_IN_SERVICE = (
    replace(
        _LIFT,
        rule_set="lift ropes in service",
        what="decrease below nominal",
        quantity="mean diameter",
        purpose="discard",
        source="guidance to EN 12385-5 and ISO 4344",
        edition="edition not named on the page seen",
        clause="decrease of diameter, even over a short section",
        sure="confirmed on one trade page only, confidence 0.6",
        services=("in-service",),
        low_pct=-6.0,
        note="More than 6 % of nominal, even over a short section.",
    ),
)

# Upper edge of each band except the last, % decrease: below the first none, then slight, medium,
# high, very high, and from the last edge upwards discard. From memory, confidence 0.9.
BAND_EDGES_PCT: dict[str, tuple[float, ...]] = {
    "single layer, fibre core": (6.0, 7.0, 8.0, 9.0, 10.0),
    "single layer, steel core, or parallel-closed": (3.5, 4.5, 5.5, 6.5, 7.5),
    "rotation-resistant": (1.0, 2.0, 3.0, 4.0, 5.0),
}
BANDS: tuple[tuple[str, int], ...] = (
    ("none", 0), ("slight", 20), ("medium", 40), ("high", 60), ("very high", 80),
    ("discard", 100),
)  # fmt: skip
BANDS_SURE = "from memory, confidence 0.9: no readable copy was found"


def discard_category(rope: Rope) -> str:
    """Return the column of the table of uniform decrease that a rope belongs to."""
    if rope.build == "rotation-resistant":
        return "rotation-resistant"
    if rope.build == "single-layer" and rope.core == "fibre":
        return "single layer, fibre core"
    return "single layer, steel core, or parallel-closed"


_DECREASE = Rule(
    rule_set="ISO 4309:2017",
    what="uniform decrease",
    quantity="mean diameter",
    purpose="discard",
    source="ISO 4309",
    edition="2017 (2010 has the same figures)",
    clause="uniform decrease of diameter",
    sure=BANDS_SURE,
    start="reference",
    at_limit="outside",
    services=("in-service",),
    duties=LIFTING,
    plain_winding=True,
    note="The reference is the rope's diameter directly after running in.",
)
_INCREASE = replace(
    _DECREASE,
    what="increase of diameter",
    purpose="look",
    plain_winding=False,
    clause="increase of diameter",
    sure="from memory, confidence 0.85",
    note="Find the cause of the increase, and consider discard.",
)
ISO_4309_2017 = (
    replace(_DECREASE, low_pct=-10.0, builds=("single-layer",), cores=("fibre",)),
    replace(_DECREASE, low_pct=-7.5, builds=("single-layer",), cores=("steel",)),
    replace(_DECREASE, low_pct=-7.5, builds=("parallel-closed",)),
    replace(_DECREASE, low_pct=-5.0, builds=("rotation-resistant",)),
    replace(_INCREASE, high_pct=5.0, cores=("steel",)),
    replace(_INCREASE, high_pct=10.0, cores=("fibre",)),
)
_OLD_DECREASE = replace(
    _DECREASE,
    rule_set="ISO 4309 to 2004",
    edition="to 2004",  # from memory, confidence 0.85
    start="nominal",
    sure=CONFIRMED + " (trade pages that still quote it)",
    note="Superseded; its base is the nominal diameter, not the reference.",
)
_OTHER_CAUSES = replace(_OLD_DECREASE, what="decrease by other causes")
ISO_4309_TO_2004 = (
    replace(_OLD_DECREASE, what="decrease by outer wear", low_pct=-7.0),
    replace(_OTHER_CAUSES, low_pct=-3.0, builds=("rotation-resistant",)),
    replace(_OTHER_CAUSES, low_pct=-10.0, builds=("single-layer", "parallel-closed")),
)

_US_SERVICE = replace(
    _DECREASE, start="nominal", at_limit="inside", sure=CONFIRMED, note="", plain_winding=False
)
CFR_1926_1413 = (
    replace(
        _US_SERVICE,
        rule_set="29 CFR 1926.1413",
        what="decrease below nominal",
        low_pct=-5.0,
        source="US Code of Federal Regulations, title 29",
        edition="as in force 2025",
        clause="1926.1413(a)(2)(ii)(B)",
        note="Cranes and derricks in construction.",
        duties=("general", "crane"),
    ),
)
ASME_B30 = (
    replace(
        _US_SERVICE,
        rule_set="ASME B30.5",
        what="decrease below nominal",
        low_pct=-5.0,
        source="ASME B30.5 and B30.30",
        edition="recent editions",
        clause="rope removal criteria",
        sure="from memory, confidence 0.8",
    ),
)
CFR_56_19024 = (
    replace(
        _US_SERVICE,
        rule_set="30 CFR 56.19024",
        what="decrease below baseline",
        low_pct=-6.0,
        start="baseline",
        percent_of="baseline",
        source="US Code of Federal Regulations, title 30",
        edition="as in force 2025",
        clause="56.19024(g); 77.1434(g) is the same",
        duties=("general", "mine"),
        note="The baseline is the mean of readings after first stretch (56.19022).",
    ),
)
# Sizes from, to (both included), mm, and the decrease in inches that must not be exceeded. The
# table's sizes are inches; 8 and 13 mm are the metric sizes for 5/16 and 1/2 in and go with them.
_US_OLDER = (
    (0.0, 8.0, 1 / 64), (3 / 8 * INCH, 13.0, 1 / 32), (9 / 16 * INCH, 3 / 4 * INCH, 3 / 64),
    (7 / 8 * INCH, 9 / 8 * INCH, 1 / 16), (5 / 4 * INCH, 3 / 2 * INCH, 3 / 32),
)  # fmt: skip
US_OLDER_TABLE = tuple(
    replace(
        _US_SERVICE,
        rule_set="US consensus table (older)",
        what="decrease below nominal",
        source="US Army technical manuals TM 10-3950-672-10 and TM 5-3810-302-10",
        edition="as quoted there",
        clause="table of reductions",
        low_mm=-less * INCH,
        from_mm=low,
        to_mm=high,
        size_edge="[]",
        size_slack_mm=0.05,
        note="Looser than the 5 % rule in most sizes: check both.",
    )
    for low, high, less in _US_OLDER
)
# Sizes over, up to (included), mm, and oversize %. The third row goes through 8.0 mm (5/16 in).
_US_NEW: tuple[tuple[float, float | None, float], ...] = (
    (0.0, 1 / 8 * INCH, 8.0), (1 / 8 * INCH, 3 / 16 * INCH, 7.0), (3 / 16 * INCH, 8.0, 6.0),
    (8.0, None, 5.0),
)  # fmt: skip
_WIRE = next(rule for rule in EN_12385_4 if rule.fibre_centred is False)
US_NEW_ROPE = tuple(
    replace(
        _WIRE,
        rule_set="US handbook, new rope",
        source="US wire rope handbook",
        edition="edition not named in the copy seen",
        clause="table of oversize limits",
        what="oversize",
        high_pct=plus,
        tensions=(),
        from_mm=low,
        to_mm=high,
        size_edge="(]",
        size_slack_mm=0.05,
        fibre_centred=None,
        note="A disputed size is measured under 10 % to 20 % of nominal strength.",
    )
    for low, high, plus in _US_NEW
)

RULE_SETS: dict[str, tuple[Rule, ...]] = {
    rules[0].rule_set: rules
    for rules in (
        EN_12385_4,
        ISO_2408,
        EN_12385_5,
        LIFT_IN_SERVICE,
        ISO_4309_2017,
        ISO_4309_TO_2004,
        CFR_1926_1413,
        ASME_B30,
        CFR_56_19024,
        US_OLDER_TABLE,
        US_NEW_ROPE,
    )
}
USUAL_SETS = ("EN 12385-4", "EN 12385-5", "lift ropes in service", "ISO 4309:2017")


def usual_sets(rope: Rope) -> tuple[str, ...]:
    """Return the documents that a rope is checked against unless others are named.

    They follow from its country and its use. In the United States the country's own are used
    in addition to the international ones. Exactly 8.0 mm is +5 % in EN 12385-4 and +6 % in the
    US handbook ("through 8.0"): both are shown. A baseline diameter is required by 30 CFR
    56.19022; a rope that has one is checked against the clause that starts from it.

    Examples
    --------
    >>> usual_sets(Rope("R-1", 32.0, baseline_mm=32.6))[-1]
    '30 CFR 56.19024'
    >>> usual_sets(Rope("R-1", 22.0, country="US", duty="crane"))[-2:]
    ('29 CFR 1926.1413', 'ASME B30.5')
    """
    sets = list(USUAL_SETS)
    american = rope.country == "US"
    if american or rope.nominal_mm == 8.0:
        sets.append("US handbook, new rope")
    if american and rope.duty in CFR_1926_1413[0].duties:
        sets.append("29 CFR 1926.1413")
    if american and rope.duty in ASME_B30[0].duties:
        sets.append("ASME B30.5")
    if rope.baseline_mm is not None or (american and rope.duty == "mine"):
        sets.append("30 CFR 56.19024")
    return tuple(sets)


Unstated = Literal["country", "use", "drum layers", "sheaves"]
_TAKEN_WITHOUT: dict[Unstated, str] = {
    "country": "The country whose regulations apply is not stated: international and European "
    "limits were used.",
    "use": "What the rope is used for (crane, hoist, lift, mine) is not stated: limits for cranes "
    "and hoists were used.",
    "drum layers": "How many layers the drum holds is not stated.",
    "sheaves": "What the sheaves are made of is not stated.",
}


def unstated(rope: Rope) -> tuple[Unstated, ...]:
    """Return what decides which limits apply but was not stated for a rope."""
    lifts = rope.service == "in-service" and rope.duty in LIFTING
    missing: dict[Unstated, bool] = {
        "country": not rope.country,
        "use": rope.duty == "general",
        "drum layers": lifts and rope.drum_layers is None,
        "sheaves": lifts and rope.sheaves == "not stated",
    }
    return tuple(name for name, lacks in missing.items() if lacks)


def not_asked(rope: Rope) -> tuple[str, ...]:
    """Return the same as a sentence each, and which limits this program does not contain.

    Examples
    --------
    >>> not_asked(Rope("R-1", 22.0, service="new", country="DE", duty="crane"))
    ()
    """
    sentences = [_TAKEN_WITHOUT[name] for name in unstated(rope)]
    if rope.duty == "mine" and rope.service == "in-service" and rope.country != "US":
        sentences.append(
            "This program has no limit for mine hoist ropes outside the United States: enter the "
            "local rule as a limit of your own."
        )
    return tuple(sentences)


def limits_for(
    rope: Rope,
    *,
    rule_sets: Sequence[str] = USUAL_SETS,
    own: Sequence[Rule] = (),
    tension: Tension = "none",
) -> tuple[Limit | NotApplicable, ...]:
    """Return the limits of the named documents, and the user's own, for one rope.

    Parameters
    ----------
    rope : Rope
        The rope.
    rule_sets : sequence of str, optional
        Keys of `RULE_SETS`.
    own : sequence of Rule, optional
        The user's own rules (`inspection.limits.user_rules`).
    tension : str, optional
        As in `inspection.limits.rules.resolve`.

    Raises
    ------
    ValueError
        If a document is not known, or a diameter is not more than 0.

    Examples
    --------
    >>> rope = Rope("R-1", 40.0, reference_mm=41.2)
    >>> limits_for(rope, rule_sets=["ISO 4309:2017"])[0].low_mm
    38.2
    >>> limits_for(rope, rule_sets=["EN 12385-4"])[0].reason
    'EN 12385-4, tolerance of the diameter: it is for new ropes, this rope is in service.'
    """
    unknown = [name for name in rule_sets if name not in RULE_SETS]
    if unknown:
        raise ValueError(
            f"'{unknown[0]}' is not a known set of limits: choose from {', '.join(RULE_SETS)}."
        )
    rules = [rule for name in rule_sets for rule in RULE_SETS[name]]
    # apart: one of the user's own with a published limit's name is applied beside it
    return (*resolve(rules, rope, tension=tension), *resolve(own, rope, tension=tension))
