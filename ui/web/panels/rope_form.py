"""The fields that describe a rope, in the terms of the trade."""

from __future__ import annotations

from typing import get_args

import pandas as pd
import streamlit as st

from inspection.model.rope import Build, Core, Duty, Rope, Service, Sheaves, Tension, Units
from ui.lengths import K
from ui.presenters.rope_form import NOT_WRITTEN, USES, RopeForm, groove_rows, typed_length

GROOVE_COLUMNS = ["name", "radius", "pitch", "layers", "least", "most"]


def rope_inputs(known: Rope | None, key: str) -> RopeForm:
    """Draw the fields of the form, filled with what is known about a rope.

    Parameters
    ----------
    known : Rope or None
        The rope as recorded; None for a new one.
    key : str
        Makes the widgets' keys unique.
    """
    was = known or Rope("", 1.0)
    left, right = st.columns(2)
    identity = left.text_input(
        "Rope",
        was.identity,
        placeholder="quay crane 2, hoist rope, left",
        key=f"{key} name",
        disabled=known is not None,
        help="The name used on site, e.g. machine and rope. Must be unique in this record.",
    )
    nominal = right.text_input(
        "Nominal diameter",
        _length(known, was.nominal_mm),
        placeholder='22 mm or 7/8"',
        key=f"{key} nominal",
        help="As stated on the certificate, not measured. In millimetres with a comma or point, or "
        "in inches with the inch sign.",
    )
    more = "More: site, construction, use, reference diameter, drum and sheaves"
    with st.expander(more) if known is None else st.container():
        return _other_inputs(known, was, key, identity, nominal)


def _other_inputs(known: Rope | None, was: Rope, key: str, identity: str, nominal: str) -> RopeForm:
    """Draw the fields that may be filled in later."""
    left, right = st.columns(2)
    site = left.text_input(
        "Site", was.site, key=f"{key} site", placeholder="quay 4", help="Where the rope works."
    )
    units = right.selectbox(
        "Unit of readings",
        get_args(Units),
        index=get_args(Units).index(was.units),
        key=f"{key} units",
        help="Unit of a figure typed without one. The record also keeps the value in millimetres.",
    )
    left, right = st.columns(2)
    strands = left.number_input(
        "Outer strands",
        3,
        24,
        was.outer_strands,
        key=f"{key} strands",
        help="Number of strands in the outer layer: their crowns bear on the jaws of the gauge.",
    )
    core = right.selectbox(
        "Core",
        get_args(Core),
        index=get_args(Core).index(was.core),
        key=f"{key} core",
        help="Fibre, or steel (wire rope or strand core). The discard limits differ.",
    )
    left, right = st.columns(2)
    build = left.selectbox(
        "Construction",
        get_args(Build),
        index=get_args(Build).index(was.build),
        key=f"{key} build",
        help="As classified in the discard tables: single-layer, parallel-closed or "
        "rotation-resistant.",
    )
    duty = right.selectbox(
        "Use",
        get_args(Duty),
        format_func=USES.__getitem__,
        index=get_args(Duty).index(was.duty),
        key=f"{key} duty",
        help="Decides which limits apply: cranes and hoists (ISO 4309), lifts (EN 12385-5), mine "
        "hoists (in the United States 30 CFR 56.19024).",
    )
    left, right = st.columns(2)
    country = left.text_input(
        "Country",
        was.country,
        placeholder="DE, FR, US",
        key=f"{key} country",
        max_chars=2,
        help="Country whose regulations apply: two letters (ISO 3166-1).",
    )
    sheaves = right.selectbox(
        "Sheaves",
        get_args(Sheaves),
        index=get_args(Sheaves).index(was.sheaves),
        key=f"{key} sheaves",
        help="The table of uniform decrease in ISO 4309 applies to steel sheaves.",
    )
    left, right = st.columns(2, vertical_alignment="bottom")
    service = left.selectbox(
        "New or in service",
        get_args(Service),
        index=get_args(Service).index(was.service),
        key=f"{key} service",
        help="New ropes are checked against the tolerances for new ropes, ropes in service against "
        "the discard limits.",
    )
    fibre = right.checkbox(
        "Strands have fibre centres",
        was.fibre_centred_strands,
        key=f"{key} fibre",
        help="The permitted ovality of new ropes with fibre centres is larger (EN 12385-4).",
    )
    st.markdown(
        "**Reference and baseline**  \nThe diameters from which wear is counted. Leave unknown "
        "fields blank."
    )
    left, right = st.columns(2)
    reference = left.text_input(
        "Reference diameter",
        _length(known, was.reference_mm),
        placeholder="22.44",
        key=f"{key} reference",
        help="Measured directly after running in, on a length that does not run over a sheave: "
        "mean of two readings at right angles. Discard limits are counted from it and can't be "
        "applied without it.",
    )
    u_reference = right.text_input(
        "Expanded uncertainty U",
        _length(known, None if was.u_reference_mm is None else K * was.u_reference_mm),
        placeholder="0.08",
        key=f"{key} u",
        help="Of the reference or baseline diameter, k = 2. If left blank it is not included, and "
        "every verdict counted from that diameter says so.",
    )
    left, right = st.columns(2)
    tensions = (NOT_WRITTEN, *get_args(Tension))
    tension = left.selectbox(
        "Tension during that measurement",
        tensions,
        index=tensions.index(was.reference_tension or NOT_WRITTEN),
        key=f"{key} tension",
        help="A rope under load is thinner. A reference measured at a different tension from "
        "today's can't be compared, and the limit says so.",
    )
    taken = right.date_input(
        "Measured on",
        was.reference_on,
        key=f"{key} taken",
        help="Date of that measurement.",
    )
    left, right = st.columns(2)
    how = left.text_input(
        "How it was measured",
        was.reference_how,
        key=f"{key} how",
        placeholder="caliper 7, end stop to drum",
        help="Gauge, place and method, as stated in the rope's log.",
    )
    baseline = right.text_input(
        "Baseline diameter (mine hoists)",
        _length(known, was.baseline_mm),
        placeholder="32.6",
        key=f"{key} baseline",
        help="Mean of the readings after first stretch (30 CFR 56.19022); not the reference "
        "diameter. If entered, the rope is also checked against 30 CFR 56.19024.",
    )
    lay = left.text_input(
        "Lay length from the certificate",
        _length(known, was.lay_mm),
        placeholder="143",
        key=f"{key} lay",
        help="Distance along the new rope for one turn of a strand. The lay length from "
        "photographs is compared with it; if left blank, stations are compared with each other.",
    )
    st.markdown(
        "**Drum and sheaves**  \nOne row for each groove that the rope runs in. Leave the table "
        "blank if nothing is known."
    )
    table = st.data_editor(
        pd.DataFrame(
            groove_rows(was.grooves, was.units) or [[""] * 6],
            columns=GROOVE_COLUMNS,
            dtype="string",
        ),
        key=f"{key} grooves",
        num_rows="dynamic",
        hide_index=True,
        column_config={
            "name": st.column_config.TextColumn("Drum or sheave", help="e.g. drum, head sheave"),
            "radius": st.column_config.TextColumn(
                "Groove radius", help="Measured with a groove gauge, or from the drawing."
            ),
            "pitch": st.column_config.TextColumn(
                "Pitch", help="Distance from groove to groove on a drum; blank for a sheave."
            ),
            "layers": st.column_config.TextColumn(
                "Layers", help="Number of rope layers on the drum."
            ),
            "least": st.column_config.TextColumn(
                "Minimum rope", help="Smallest measured rope diameter allowed by the drum's maker."
            ),
            "most": st.column_config.TextColumn(
                "Maximum rope", help="Largest measured rope diameter allowed by the drum's maker."
            ),
        },
    )
    grooves = [
        ["" if pd.isna(cell) else str(cell).strip() for cell in row]
        for row in table.itertuples(index=False)
    ]
    return RopeForm(
        identity,
        nominal,
        units,
        int(strands),
        core,
        build,
        fibre,
        duty,
        service,
        site,
        reference,
        u_reference,
        taken,
        how,
        tension,
        baseline,
        grooves,
        lay,
        country,
        sheaves,
    )


def _length(known: Rope | None, value: float | None) -> str:
    return "" if known is None else typed_length(value, known.units)
