"""The columns of the tables that we read and write: their names, alternative names and kinds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

What = Literal["readings", "ropes"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table that we read and write.

    Parameters
    ----------
    name : str
        Its heading in tables that we write.
    meaning : str
        In words, for the template.
    example : str
        An example cell.
    others : tuple of str
        Alternative names, without units, spaces or punctuation.
    needed : bool
        True if a table is useless without it.
    kind : {"text", "length", "angle", "position"}
        Which units its heading may name.
    """

    name: str
    meaning: str
    example: str
    others: tuple[str, ...] = ()
    needed: bool = False
    kind: Literal["text", "length", "angle", "position"] = "text"


READINGS: dict[str, Column] = {
    "inspection": Column(
        "inspection",
        "name of the inspection",
        "2026-11-crane-3",
        ("inspectionid", "inspectionno", "inspectionnumber", "visit", "survey"),
        needed=True,
    ),
    "rope": Column(
        "rope",
        "name of the rope, for a new inspection",
        "hoist rope 1",
        ("ropeid", "ropeno", "ropenumber", "ropename"),
    ),
    "on": Column(
        "on",
        "day of the inspection",
        "2026-11-02",
        ("date", "day", "inspectiondate", "inspectedon"),
    ),
    "station": Column(
        "station",
        "number of the station, from 1",
        "1",
        ("stationno", "stationnumber", "stn", "place", "point"),
        needed=True,
    ),
    "position_m": Column(
        "position_m",
        "place along the rope, m",
        "12.5",
        ("position", "distance", "ropeposition", "alongrope"),
        kind="position",
    ),
    "view_deg": Column(
        "view_deg",
        "direction across the rope, degrees",
        "0",
        ("view", "direction", "angle", "viewangle", "orientation", "axis"),
        needed=True,
        kind="angle",
    ),
    "typed": Column(
        "typed",
        "what the gauge showed: 22.4, 22,4 mm, 0.88 in, 1 3/8",
        "22,41",
        ("astyped", "typedvalue", "typedtext"),
        needed=True,
        kind="length",
    ),
    "value": Column(
        "value_mm",
        "the same in mm, as a check; optional",
        "22.41",
        (
            "value",
            "reading",
            "diameter",
            "measured",
            "measurement",
            "measureddiameter",
            "dia",
            "d",
            "size",
        ),
        kind="length",
    ),
    "gauge": Column(
        "gauge",
        "number of the gauge",
        "C-07",
        ("gaugeid", "gaugeno", "gaugenumber", "instrument", "instrumentno", "caliper", "tool"),
        needed=True,
    ),
    "gauge_kind": Column(
        "gauge_kind",
        "wide-jaw caliper, plain caliper, micrometer or diameter tape",
        "wide-jaw caliper",
        ("gaugetype", "kindofgauge", "instrumenttype", "kind", "type"),
    ),
    "resolution": Column(
        "resolution_mm",
        "smallest step of the gauge, mm",
        "0.01",
        ("resolution", "res", "leastcount", "step", "graduation"),
        kind="length",
    ),
    "permissible_error": Column(
        "permissible_error_mm",
        "largest permissible error of the gauge, mm",
        "0.03",
        (
            "permissibleerror",
            "maxpermissibleerror",
            "maximumpermissibleerror",
            "largestpermissibleerror",
            "mpe",
        ),
        kind="length",
    ),
    "calibration_due": Column(
        "calibration_due",
        "last day of the gauge's calibration",
        "2027-01-31",
        ("caldue", "calibrateduntil", "nextcalibration", "calibrationdate", "duedate"),
    ),
    "person": Column(
        "person",
        "who read it",
        "A. Berg",
        ("readby", "measuredby", "inspector", "operator", "name", "who", "by"),
        needed=True,
    ),
    "note": Column(
        "note",
        "what is at the station",
        "crossover, layer 2",
        ("remark", "remarks", "comment", "comments"),
    ),
    "place": Column("held_at", "where the inspection was held", "quay 4", ("site",)),
    "tension": Column("tension", "tension while measuring", "none", ("load",)),
    "inspector": Column("inspector_name", "who is responsible for the inspection", "A. Berg", ()),
    "reviewer": Column("reviewer", "who reviews it", "R. Two", ("reviewedby",)),
    "supervisor": Column("supervisor", "who supervises", "S. Three", ()),
    "logged_at": Column(
        "logged_at",
        "when it was logged",
        "2026-11-02T09:14",
        ("at", "time", "datetime", "timestamp", "loggedon", "readat", "dateandtime"),
    ),
}

ROPES: dict[str, Column] = {
    "identity": Column(
        "identity",
        "what the site calls the rope",
        "hoist rope 1",
        ("rope", "ropeid", "ropeno", "ropenumber", "ropename", "name", "id"),
        needed=True,
    ),
    "nominal": Column(
        "nominal_mm",
        "nominal diameter, mm",
        "22",
        ("nominal", "nominaldiameter", "diameter", "dia", "d", "size"),
        needed=True,
        kind="length",
    ),
    "outer_strands": Column(
        "outer_strands",
        "strands in the outer layer",
        "8",
        ("strands", "outerlayerstrands", "numberofouterstrands"),
    ),
    "core": Column("core", "fibre or steel", "steel", ("coretype", "kindofcore")),
    "build": Column(
        "build",
        "single-layer, parallel-closed or rotation-resistant",
        "single-layer",
        ("construction", "ropetype", "kind", "type"),
    ),
    "fibre_centred": Column(
        "fibre_centred_strands",
        "yes where strands have fibre centres",
        "no",
        ("fibrecentred", "fibrecentres", "fibercentredstrands"),
    ),
    "duty": Column("duty", "crane, hoist, lift, mine or general", "crane", ("use", "usage")),
    "service": Column("service", "new or in-service", "in-service", ("state", "condition")),
    "reference": Column(
        "reference_mm",
        "reference diameter, mm",
        "22.35",
        ("reference", "referencediameter", "dref"),
        kind="length",
    ),
    "reference_on": Column(
        "reference_on", "day of the reference", "2025-03-01", ("referencedate", "referencetaken")
    ),
    "reference_how": Column(
        "reference_how",
        "how it was obtained",
        "mean of four, run in",
        ("referencenote", "howreference"),
    ),
    "u_reference": Column(
        "u_reference_mm",
        "its standard uncertainty, mm",
        "0.02",
        ("ureference", "referenceuncertainty"),
        kind="length",
    ),
    "reference_tension": Column(
        "reference_tension", "tension at the reference measurement", "none", ("tensionatreference",)
    ),
    "baseline": Column(
        "baseline_mm",
        "baseline diameter of a mine hoist's rope, mm",
        "",
        ("baseline", "baselinediameter"),
        kind="length",
    ),
    "lay": Column(
        "lay_mm",
        "lay length from the certificate, mm",
        "143",
        ("lay", "laylength", "layoftherope"),
        kind="length",
    ),
    "grooves": Column("grooves", "drum and sheaves, as JSON", "", ("drumandsheaves",)),
    "country": Column("country", "whose regulations apply, two letters", "DE", ("regulation",)),
    "sheaves": Column("sheaves", "steel, plastic or not stated", "steel", ("sheavematerial",)),
    "units": Column("units", "mm or inch, for display", "mm", ("shownunits", "unitsystem")),
    "site": Column("site", "where the rope works", "yard, bay 3", ("location", "place", "where")),
}

TABLES: dict[str, dict[str, Column]] = {"readings": READINGS, "ropes": ROPES}
