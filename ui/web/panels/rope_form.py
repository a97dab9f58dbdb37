"""The fields that describe a rope, asked for in the trade's words."""

from __future__ import annotations

from typing import get_args

import pandas as pd
import streamlit as st

from inspection.model.rope import Build, Core, Duty, Rope, Service, Sheaves, Tension, Units
from ui.presenters.rope_form import NOT_WRITTEN, USES, K, RopeForm, groove_rows, typed_length

GROOVE_COLUMNS = ["name", "radius", "pitch", "layers", "least", "most"]


def rope_inputs(known: Rope | None, key: str) -> RopeForm:
    """Draw the fields of a form, filled with what is known of a rope.

    Parameters
    ----------
    known : Rope or None
        What stands there now; None for a new rope.
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
        help="What the site calls it, e.g. machine and rope; unique in this record.",
    )
    nominal = right.text_input(
        "Nominal diameter",
        _length(known, was.nominal_mm),
        placeholder='22 mm or 7/8"',
        key=f"{key} nominal",
        help="The diameter that the certificate names, not one that was measured. Millimetres "
        "with comma or point, or inches with their sign.",
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
        "Unit of the readings",
        get_args(Units),
        index=get_args(Units).index(was.units),
        key=f"{key} units",
        help="The unit of a figure typed without one. The record keeps millimetres beside what "
        "was typed.",
    )
    left, right = st.columns(2)
    strands = left.number_input(
        "Outer strands",
        3,
        24,
        was.outer_strands,
        key=f"{key} strands",
        help="Strands in the outer layer: their crowns bear on the gauge's jaws.",
    )
    core = right.selectbox(
        "Core",
        get_args(Core),
        index=get_args(Core).index(was.core),
        key=f"{key} core",
        help="Fibre, or steel: a wire rope or a strand as core. The discard tables differ.",
    )
    left, right = st.columns(2)
    build = left.selectbox(
        "Construction",
        get_args(Build),
        index=get_args(Build).index(was.build),
        key=f"{key} build",
        help="As the discard tables divide ropes: single-layer, parallel-closed, or "
        "rotation-resistant.",
    )
    duty = right.selectbox(
        "Used as",
        get_args(Duty),
        format_func=USES.__getitem__,
        index=get_args(Duty).index(was.duty),
        key=f"{key} duty",
        help="It decides which limits hold: cranes and hoists (ISO 4309), lifts (EN 12385-5), mine "
        "hoists (in the United States 30 CFR 56.19024).",
    )
    left, right = st.columns(2)
    country = left.text_input(
        "Country",
        was.country,
        placeholder="DE, FR, US",
        key=f"{key} country",
        max_chars=2,
        help="Whose regulations hold, as two letters (ISO 3166-1).",
    )
    sheaves = right.selectbox(
        "Sheaves",
        get_args(Sheaves),
        index=get_args(Sheaves).index(was.sheaves),
        key=f"{key} sheaves",
        help="The table of uniform decrease in ISO 4309 holds for steel sheaves.",
    )
    left, right = st.columns(2, vertical_alignment="bottom")
    service = left.selectbox(
        "State",
        get_args(Service),
        index=get_args(Service).index(was.service),
        key=f"{key} service",
        help="New ropes are compared with the tolerances for new ropes, ropes in service with "
        "the discard limits.",
    )
    fibre = right.checkbox(
        "The strands have fibre centres",
        was.fibre_centred_strands,
        key=f"{key} fibre",
        help="New ropes with fibre centres may be less round (EN 12385-4).",
    )
    st.markdown(
        "**Reference and baseline**  \nWhat wear is counted from; leave empty what is not known."
    )
    left, right = st.columns(2)
    reference = left.text_input(
        "Reference diameter",
        _length(known, was.reference_mm),
        placeholder="22.44",
        key=f"{key} reference",
        help="Measured directly after running in, on a length that runs over no sheave: mean of "
        "two readings at right angles. Discard limits start from it; without it they can't be "
        "applied.",
    )
    u_reference = right.text_input(
        "Expanded uncertainty U",
        _length(known, None if was.u_reference_mm is None else K * was.u_reference_mm),
        placeholder="0.08",
        key=f"{key} u",
        help="Of the reference or baseline diameter, with k = 2. Left empty it is not "
        "counted, and every verdict that starts from it says so.",
    )
    left, right = st.columns(2)
    tensions = (NOT_WRITTEN, *get_args(Tension))
    tension = left.selectbox(
        "Tension at that measurement",
        tensions,
        index=tensions.index(was.reference_tension or NOT_WRITTEN),
        key=f"{key} tension",
        help="A rope under load is thinner. Measured at another tension than today's, the "
        "reference can't be compared, and the limit says so.",
    )
    taken = right.date_input(
        "Measured on",
        was.reference_on,
        key=f"{key} taken",
        help="Day of that measurement.",
    )
    left, right = st.columns(2)
    how = left.text_input(
        "How it was measured",
        was.reference_how,
        key=f"{key} how",
        placeholder="caliper 7, end stop to drum",
        help="Gauge, place and method, as the rope's log says.",
    )
    baseline = right.text_input(
        "Baseline diameter (mine hoists)",
        _length(known, was.baseline_mm),
        placeholder="32.6",
        key=f"{key} baseline",
        help="Mean of the readings after first stretch (30 CFR 56.19022); not the reference. "
        "With it the rope is also compared with 30 CFR 56.19024.",
    )
    lay = left.text_input(
        "Lay length on the certificate",
        _length(known, was.lay_mm),
        placeholder="143",
        key=f"{key} lay",
        help="Distance along the rope for one turn of a strand, when new. The lay length from "
        "photographs is compared with it; left empty, stations are compared with each "
        "other.",
    )
    st.markdown(
        "**Drum and sheaves**  \nOne line for each groove that the rope runs in; leave "
        "the table empty where nothing is known."
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
                "Groove radius", help="Measured with a groove gauge, or as its drawing says."
            ),
            "pitch": st.column_config.TextColumn(
                "Pitch", help="From groove to groove on a drum; empty on a sheave."
            ),
            "layers": st.column_config.TextColumn("Layers", help="Rope layers on the drum."),
            "least": st.column_config.TextColumn(
                "Minimum rope", help="Thinnest measured rope that the drum's maker allows."
            ),
            "most": st.column_config.TextColumn(
                "Maximum rope", help="Thickest measured rope that the drum's maker allows."
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
