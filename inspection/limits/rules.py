"""Published limits as data, and their values for one rope, in mm.

A `Rule` is a row of a published table (or one that the user wrote). `limits_for` turns the
rows into a `Limit` in mm for a given rope, or into a `NotApplicable` that says why not: a limit
that does not apply is an answer, never an error. Local rules and the maker's instructions take
precedence over every figure here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from inspection.model.quantity import Quantity
from inspection.model.rope import Build, Core, Duty, Rope, Service, Tension

Base = Literal["nominal", "reference", "baseline", "nothing"]
Purpose = Literal["accept", "discard", "look", "fit"]
SizeEdge = Literal["[)", "(]", "[]"]
ENTERED = "entered by the user"  # `Rule.sure` of the user's own limits


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of a table of limits.

    The limit is ``start + pct / 100 * percent_of + mm``, below (`low_...`) or above
    (`high_...`); where both figures of a side are None there is no limit on that side.

    Parameters
    ----------
    rule_set : str
        The document, e.g. "EN 12385-4"; rows of one document and `what` are alternatives.
    what : str
        What is limited, in words; unique in its document.
    quantity : str
        The figure that is compared with it: "measured diameter" is the mean of four readings,
        "mean diameter" the mean of two at right angles at one station.
    purpose : {"accept", "discard", "look", "fit"}
        New-rope acceptance; discard; find the cause; fit of rope and groove.
    source, edition, clause : str
        Where it is published.
    sure : str
        How well the figure is known: confirmed in a public copy, from memory, or the user's.
    start, percent_of : {"nominal", "reference", "baseline", "nothing"}
        What the limit starts from, and what its percentage is of.
    low_pct, high_pct, low_mm, high_mm : float or None
        The figures, % and mm.
    at_limit : {"inside", "outside"}
        What a figure exactly at the limit is: "more than 5 %" leaves 5 % inside, "7.5 % or
        more" does not.
    from_mm, to_mm : float or None
        Nominal diameters it applies to, mm.
    size_edge : {"[)", "(]", "[]"}
        Which of `from_mm` and `to_mm` belongs to the row.
    size_slack_mm : float
        Tolerance for inch sizes rounded to mm (5/16 in is 7.9375, called 7.94).
    cores, builds, duties, services, tensions : tuple of str
        Ropes and states it applies to; empty for all.
    fibre_centred : bool or None
        Only for strands with (True) or without (False) fibre centres; None for both.
    plain_winding : bool
        True if the figures apply only to single-layer drums and steel sheaves, and not where
        the rope crosses over itself.
    note : str
        What else must be known to use it.
    ropes : tuple of str
        Names of the ropes it applies to; empty for all. For the user's own limits only.
    """

    rule_set: str
    what: str
    quantity: Quantity
    purpose: Purpose
    source: str
    edition: str
    clause: str
    sure: str
    start: Base = "nominal"
    percent_of: Base = "nominal"
    low_pct: float | None = None
    high_pct: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None
    at_limit: Literal["inside", "outside"] = "inside"
    from_mm: float | None = None
    to_mm: float | None = None
    size_edge: SizeEdge = "[)"
    size_slack_mm: float = 0.0
    cores: tuple[Core, ...] = ()
    builds: tuple[Build, ...] = ()
    duties: tuple[Duty, ...] = ()
    services: tuple[Service, ...] = ()
    tensions: tuple[Tension, ...] = ()
    fibre_centred: bool | None = None
    plain_winding: bool = False
    note: str = ""
    ropes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """The limit that a rule gives for one rope.

    Parameters
    ----------
    rule : Rule
        The row.
    low_mm, high_mm : float or None
        Least and largest allowed value, mm.
    u_base_mm : float
        Standard uncertainty of what the limit starts from (a measured reference), mm.
    note : str
        What else must be known to use it.
    out_of_scope : str
        Why the table does not apply to this rope although it has a figure; empty if it does.
        Such a limit can give "outside", never "within".
    """

    rule: Rule
    low_mm: float | None
    high_mm: float | None
    u_base_mm: float = 0.0
    note: str = ""
    out_of_scope: str = ""


@dataclass(frozen=True, slots=True)
class NotApplicable:
    """A limit that does not apply to this rope, and why.

    Parameters
    ----------
    rule : Rule
        The row that comes closest to applying.
    reason : str
        One sentence.
    """

    rule: Rule
    reason: str


def resolve(
    rules: Iterable[Rule],
    rope: Rope,
    *,
    tension: Tension = "none",
) -> tuple[Limit | NotApplicable, ...]:
    """Return the limit that each rule gives for this rope, in the rules' order.

    Parameters
    ----------
    rules : iterable of Rule
        Rows; of those of one document and one `what` each that applies gives a limit, and where
        none does, the one that comes closest says why.
    rope : Rope
        The rope, with its reference and baseline diameters and their state of tension. Where
        that is not recorded the limit applies with a note.
    tension : str, optional
        State of tension while the rope was measured.

    Raises
    ------
    ValueError
        If the rope's nominal, reference or baseline diameter is not more than 0.
    """
    u_mm = rope.u_reference_mm
    if u_mm is not None and not 0 <= u_mm < math.inf:
        raise ValueError(f"the reference's uncertainty must be 0 mm or more; got {u_mm}.")
    bases: dict[Base, float | None] = {
        "nominal": rope.nominal_mm,
        "reference": rope.reference_mm,
        "baseline": rope.baseline_mm,
        "nothing": 0.0,
    }
    for name, value in bases.items():
        if name != "nothing" and value is not None and not 0 < value < math.inf:
            raise ValueError(f"the {name} diameter must be more than 0 mm; got {value}.")
    rows: dict[tuple[str, str], list[Rule]] = {}
    for rule in dict.fromkeys(rules):
        rows.setdefault((rule.rule_set, rule.what), []).append(rule)
    results: list[Limit | NotApplicable] = []
    for alternatives in rows.values():
        judged = [
            (_reasons(rule, rope, tension, rope.reference_tension, bases), rule)
            for rule in alternatives
        ]
        reasons, closest = min(judged, key=lambda pair: len(pair[0]))
        if reasons:
            results.append(NotApplicable(closest, f"{_name(closest)}: {'; '.join(reasons)}."))
        for why_not, rule in judged:
            if not why_not:
                limit = _limit(rule, bases, tension, rope.reference_tension, u_mm)
                results.append(_with_scope(limit, rope) if rule.plain_winding else limit)
    return tuple(results)


def exact(value: float) -> Decimal:
    """Return the decimal number that a float stands for as written: 16.4, not 16.399999..."""
    return Decimal(repr(float(value)))


def _limit(
    rule: Rule,
    bases: Mapping[Base, float | None],
    tension: Tension,
    reference_tension: Tension | None,
    u_reference_mm: float | None,
) -> Limit:
    start, whole = (exact(bases[name] or 0.0) for name in (rule.start, rule.percent_of))

    def side(pct: float | None, offset_mm: float | None) -> float | None:
        if pct is None and offset_mm is None:
            return None
        return float(start + exact(pct or 0.0) * whole / 100 + exact(offset_mm or 0.0))

    notes = [rule.note] if rule.note else []
    measured_base = rule.start in ("reference", "baseline")
    if measured_base and u_reference_mm is None:
        notes.append(f"The {rule.start} diameter's own uncertainty is not known and not included.")
    if measured_base and reference_tension is None:
        notes.append(f"The tension at the {rule.start} measurement was not recorded.")
    if rule.purpose == "discard" and not measured_base and tension not in ("none", ""):
        notes.append(
            "Tension makes a rope thinner: the unloaded rope may be thicker than measured."
        )
    return Limit(
        rule,
        side(rule.low_pct, rule.low_mm),
        side(rule.high_pct, rule.high_mm),
        u_reference_mm or 0.0 if measured_base else 0.0,
        " ".join(notes),
    )


def _with_scope(limit: Limit, rope: Rope) -> Limit:
    """Return a limit with why it does not apply to the rope, and what was not stated."""
    wrong = []
    missing = []
    if rope.drum_layers is None:
        missing.append("how many layers the drum holds")
    elif rope.drum_layers > 1:
        wrong.append(f"the drum holds {rope.drum_layers} layers")
    if rope.sheaves == "not stated":
        missing.append("what the sheaves are made of")
    elif rope.sheaves != "steel":
        wrong.append(f"the sheaves are of {rope.sheaves}")
    notes = [limit.note, "It applies to single-layer drums and steel sheaves, not at crossovers."]
    if missing:
        notes.append(f"Not stated: {' and '.join(missing)}.")
    return replace(limit, note=" ".join(filter(None, notes)), out_of_scope=" and ".join(wrong))


def _reasons(
    rule: Rule,
    rope: Rope,
    tension: Tension,
    reference_tension: Tension | None,
    bases: Mapping[Base, float | None],
) -> list[str]:
    """Return why the rule does not apply to this rope; empty if it does."""
    reasons = []
    if rule.ropes and rope.identity not in rule.ropes:
        reasons.append(f"it is for {' and '.join(rule.ropes)} only")
    if rule.services and rope.service not in rule.services:
        wanted = "new ropes" if rule.services == ("new",) else "ropes in service"
        reasons.append(f"it is for {wanted}, this rope is {rope.service.replace('-', ' ')}")
    if rule.duties and rope.duty not in rule.duties:
        named = " or ".join(duty for duty in rule.duties if duty != "general")
        reasons.append(f"it is for {named} ropes, this one is used as {rope.duty}")
    if rule.builds and rope.build not in rule.builds:
        reasons.append(f"it is for {' or '.join(rule.builds)} ropes, this one is {rope.build}")
    if rule.cores and rope.core not in rule.cores:
        reasons.append(f"it is for a {' or '.join(rule.cores)} core, this rope's is {rope.core}")
    if rule.fibre_centred is not None and rope.fibre_centred_strands != rule.fibre_centred:
        centres = "with" if rule.fibre_centred else "without"
        reasons.append(f"it is for strands {centres} fibre centres")
    if not _size_fits(rule, rope.nominal_mm):
        reasons.append(f"the table has no row for a nominal diameter of {rope.nominal_mm:g} mm")
    elif all(x is None for x in (rule.low_pct, rule.high_pct, rule.low_mm, rule.high_mm)):
        reasons.append("the table gives no figure for this size and kind of rope")
    if rule.tensions and tension not in rule.tensions:
        reasons.append(
            f"it needs the tension '{' or '.join(rule.tensions)}', not '{tension}' as measured"
        )
    for base in sorted({rule.start, rule.percent_of}):
        if bases[base] is None:
            reasons.append(f"it needs a {base} diameter, but none is recorded")
        elif (
            base in ("reference", "baseline")
            and reference_tension is not None
            and reference_tension != tension
        ):
            reasons.append(
                f"the {base} was measured at the tension '{reference_tension}', the rope now at "
                f"'{tension}', which can't be compared"
            )
    return reasons


def _size_fits(rule: Rule, nominal_mm: float) -> bool:
    slack = rule.size_slack_mm
    if rule.from_mm is not None:
        above = nominal_mm - rule.from_mm
        if above < -slack if rule.size_edge[0] == "[" else above <= slack:
            return False
    if rule.to_mm is not None:
        over = nominal_mm - rule.to_mm
        if over >= -slack if rule.size_edge[1] == ")" else over > slack:
            return False
    return True


def _name(rule: Rule) -> str:
    return f"{rule.rule_set}, {rule.what}"
