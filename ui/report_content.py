"""The report's content in its order, as blocks: one source for PDF and HTML."""

from __future__ import annotations

from collections import Counter
from importlib.metadata import PackageNotFoundError, version

from inspection.lengths import MM_PER_INCH
from inspection.log import counted
from inspection.rope import Groove, Rope
from ui import report_judged, report_tables
from ui.figure_sources import last_digits
from ui.report_blocks import (
    Block,
    Drawn,
    Facts,
    Grid,
    Heading,
    NewPage,
    Pictures,
    Signatures,
    Words,
)
from ui.report_case import ReportCase
from ui.report_history import earlier
from ui.report_judged import minute
from ui.report_raw import raw_data
from ui.words import CAUTIONS
from vision.estimate import Estimate

METHOD = (
    "A printed card is fixed to the rope and photographed together with it, from two directions "
    "at right angles. The card's known pattern gives the camera's place; on each side the "
    "straight line that bears on the strand crowns is traced, as the wide jaw of a gauge would. "
    "Each of the two lines with the camera's centre spans a plane that touches the rope, and the "
    "cylinder that touches both planes gives the diameter, so that the rope's nearness to the "
    "camera is allowed for. Everything that makes the figure unsure is listed in a budget after "
    "JCGM 100:2008 (GUM): print scale, flatness, camera, corners, edges, crowns. The mean of the "
    "two directions is the measured diameter of ISO 4309:2017, 3.2; the larger minus the smaller "
    "is the ovality. Gauge readings have a budget of their own and are held against the "
    "photograph of the same place and direction; what both share cancels in the difference. "
    "U is the expanded uncertainty with k = 2, about 95 % coverage; u is the standard uncertainty."
)
SIGNED = (
    "A signature says that its owner has read this report, and the record where one is named. "
    "It does not clear the rope: the competent person decides, by all discard criteria."
)
STATES = {
    "open": "open: not reviewed yet",
    "accepted": "accepted by a reviewer",
    "sent back": "sent back by a reviewer",
    "overruled": "overruled",
}


def blocks_of(case: ReportCase) -> list[Block]:
    """Return the whole report."""
    judgement = case.judgement
    history = earlier(judgement)
    return [
        Heading("Rope diameter and roundness: inspection report", 1),
        *_job(case),
        *(Words(caution, "caution") for caution in CAUTIONS),
        Heading("In short"),
        *_in_short(case),
        Heading("Rope"),
        *_rope(case),
        Heading("Method"),
        Words(METHOD),
        Heading("Stations"),
        *report_tables.stations(judgement),
        Heading("Diameter along the rope"),
        *report_tables.sections(judgement),
        *report_tables.rounds(judgement),
        *report_tables.lay(judgement),
        Heading("Figures from photographs"),
        *report_tables.views(judgement),
        *report_tables.budget(judgement),
        *_pictures(case),
        Heading("Gauge readings against photographs"),
        *report_tables.comparisons(judgement),
        Heading("Entries that deserve a second look"),
        *report_judged.flags(case.flags, case.level),
        *_digits(case),
        Heading("Limits and verdicts"),
        *report_judged.verdicts(judgement, case.decision),
        *report_judged.not_applicable(judgement),
        *report_judged.wear(judgement),
        *([Heading("Earlier inspections"), *history] if history else []),
        *_record(case),
        *_notes(case),
        Heading("Signatures"),
        Signatures(_people(case), SIGNED),
        NewPage(),
        Heading("Appendix: raw data"),
        *raw_data(case),
    ]


def _job(case: ReportCase) -> list[Block]:
    log = case.judgement.log
    held = log.inspection
    pairs = [
        ("Rope", log.rope.identity),
        ("Inspection", held.identity),
        ("Day of inspection", held.on.isoformat()),
        ("Place", held.place or log.rope.site),
        ("Inspector", held.inspector),
        ("Reviewer", held.reviewer),
        ("Supervisor", held.supervisor),
        ("Tension while measuring", held.tension),
        ("Review", "" if case.record is None else STATES[case.record.state]),
        ("Record's fingerprint", "" if case.record is None else case.record.fingerprint),
        ("Report made", f"{case.made_at:%Y-%m-%d %H:%M} {case.made_at.tzname() or ''}".strip()),
        ("Made from", f"{case.source}, by Rope Photo Check {_version()}"),
    ]
    return [Facts(tuple((name, value or "not named") for name, value in pairs
                        if value or name in ("Inspector", "Reviewer", "Supervisor")))]  # fmt: skip


def _in_short(case: ReportCase) -> list[Block]:
    judgement = case.judgement
    words: Counter[str] = Counter(one.word for one in judgement.crosscheck.comparisons)
    outcomes: Counter[str] = Counter(one.verdict.outcome for one in judgement.verdicts)
    figures = sum(isinstance(one, Estimate) for one in judgement.log.results)
    still = sum(not one.settled_by for one in case.flags)
    local = [one for one in judgement.local if one.outcome == "local decrease"]
    pairs = [
        ("Photographs", f"{counted(figures, 'figure', 'figures')}, "
                        f"{len(judgement.crosscheck.refused)} refused"),
        ("Gauge readings", counted(len(judgement.log.readings), "reading", "readings")),
        ("Held against each other", _counts(words, "nothing could be compared")),
        ("Entries that deserve a look",
         f"{counted(len(case.flags), 'flag', 'flags')}, {still} not settled"),
        ("Verdicts", _counts(outcomes, "none")),
        ("Local decrease", "; ".join(
            f"station {one.station}: {one.deficit_mm:.2f} mm thinner than its neighbours"
            for one in local) or ("none seen" if judgement.local else "not looked for: fewer than "
                                  "3 stations in two directions")),
    ]  # fmt: skip
    return [Words(judgement.first_look, "strong"), Facts(tuple(pairs))]


def _counts(counts: Counter[str], none: str) -> str:
    order = ("disagrees", "outside", "undecided", "doubtful", "cannot say", "agrees", "within")
    return ", ".join(f"{counts[word]} {word}" for word in order if counts[word]) or none


def _rope(case: ReportCase) -> list[Block]:
    rope = case.judgement.log.rope
    nominal = f"{rope.nominal_mm:g} mm"
    if rope.units == "inch":
        nominal += f" ({rope.nominal_mm / float(MM_PER_INCH):.4g} in)"
    reference = "none is known"
    if rope.reference_mm is not None:
        day = "" if rope.reference_on is None else f", {rope.reference_on.isoformat()}"
        how = f", {rope.reference_how}" if rope.reference_how else ""
        reference = f"{rope.reference_mm:g} mm{_sureness(rope)}{day}{how}"
    centres = " with fibre centres" if rope.fibre_centred_strands else ""
    pairs = [
        ("Nominal diameter", nominal),
        ("Reference diameter", reference),
        *(
            ()
            if rope.baseline_mm is None
            else (("Baseline diameter", f"{rope.baseline_mm:g} mm{_sureness(rope)}"),)
        ),
        ("Build", f"{rope.build}, {rope.outer_strands} outer strands{centres}, {rope.core} core"),
        ("Duty and state", f"{rope.duty}, {rope.service.replace('-', ' ')}"),
        ("Site", rope.site or "not named"),
    ]
    blocks: list[Block] = [Facts(tuple(pairs))]
    if rope.grooves:
        head = ("Groove", "Radius (mm)", "Pitch (mm)", "Layers", "Rope allowed (mm)")
        rows = tuple(
            (
                one.name, f"{one.radius_mm:g}", "" if one.pitch_mm is None else f"{one.pitch_mm:g}",
                str(one.layers), _allowed(one),
            )
            for one in rope.grooves
        )  # fmt: skip
        blocks.append(Grid(head, rows, (2, 1, 1, 1, 2), right=frozenset({1, 2, 3})))
        blocks += [Words(one.words, "small") for one in case.judgement.groove_fits]
    return blocks


def _sureness(rope: Rope) -> str:
    """Return what is known about a reference or baseline beside its figure."""
    u, tension = rope.u_reference_mm, rope.reference_tension
    return ("" if u is None else f", U (k = 2) {2 * u:.2g} mm") + (
        "" if tension is None else f", at the tension '{tension}'"
    )


def _allowed(groove: Groove) -> str:
    low, high = groove.rope_min_mm, groove.rope_max_mm
    if low is None and high is None:
        return "not stated"
    return " ".join(
        f"{word} {value:g}" for word, value in (("from", low), ("to", high)) if value is not None
    )


def _pictures(case: ReportCase) -> list[Block]:
    if not case.pictures:
        return []
    told = (
        "Dotted: the traced outline. Solid with end ticks: the jaws that bear on the crowns. "
        "Dashed: the card, and the distance between the jaws. A photograph without a diameter is "
        "shown whole."
    )
    return [Heading("Photographs", 3), Words(told, "small"), Pictures(case.pictures)]


def _digits(case: ReportCase) -> list[Block]:
    """Return the picture of last digits where scrutiny spoke of them."""
    log = case.judgement.log
    if not any(one.finding.code == "last-digits" for one in case.flags):
        return []
    blocks: list[Block] = []
    for name, gauge in log.gauges.items():
        mine = [one for one in log.readings if one.gauge == name]
        found = last_digits(mine, gauge.resolution_mm) if mine else None
        if found is not None:
            blocks.append(Drawn(found, f"Last digits of {len(mine)} readings with gauge {name}."))
    return blocks


def _record(case: ReportCase) -> list[Block]:
    record = case.record
    if record is None:
        return [
            Heading("Record"),
            Words("This report was made from a folder, not from a record: nothing shows whether "
                  "its files were changed, and no flag can be settled in it."),
        ]  # fmt: skip
    sound = (
        "Its chain of events was checked and is whole." if not record.faults
        else "Its check found faults: " + " ".join(record.faults)
    )  # fmt: skip
    blocks: list[Block] = [
        Heading("Record"),
        Facts((
            ("Record", record.name),
            ("Fingerprint", record.fingerprint),
            ("Last event about this inspection", str(record.revision)),
        )),
        Words(
            "Note the fingerprint somewhere else: with it, anybody can later find out whether "
            f"the record still holds what this report was made from. {sound}",
            "strong" if record.faults else "plain",
        ),
    ]  # fmt: skip
    if record.reviews:
        rows = tuple((one.state, one.who, minute(one.at), one.why)
                     for one in record.reviews)  # fmt: skip
        blocks.append(Grid(("Decision", "By", "When", "Why"), rows, (1.2, 1.6, 1.8, 4)))
    if record.station_reviews:
        decided = tuple(
            (str(one.station), one.state if one.stands else f"{one.state}; ended", one.who,
             minute(one.at), one.why)
            for one in record.station_reviews
        )  # fmt: skip
        heads = ("Station", "Decision", "By", "When", "Why")
        blocks.append(Grid(heads, decided, (0.9, 1.4, 1.6, 1.8, 3.2)))
    if record.replaced:
        moved = tuple((one.kind.removeprefix("result "), one.who, minute(one.at), one.why)
                      for one in record.replaced)  # fmt: skip
        blocks.append(Grid(("Figure of a photograph", "By", "When", "Why"), moved,
                           (1.6, 1.6, 1.8, 3.6)))  # fmt: skip
    return blocks


def _notes(case: ReportCase) -> list[Block]:
    if not case.notes:
        return []
    return [Heading("Notes"), *(Words(note, "small") for note in case.notes)]


def _people(case: ReportCase) -> tuple[tuple[str, str], ...]:
    held = case.judgement.log.inspection
    return (
        ("Inspector", held.inspector), ("Reviewer", held.reviewer), ("Supervisor", held.supervisor),
    )  # fmt: skip


def _version() -> str:
    try:
        return version("rope-photo-check")
    except PackageNotFoundError:
        return "(version unknown)"
