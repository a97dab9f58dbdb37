"""The record in the report: fingerprint and decisions."""

from __future__ import annotations

from ui.report.blocks import Block, Facts, Grid, Heading, Words
from ui.report.case import ReportCase
from ui.report.pages.assessment import minute


def record_facts(case: ReportCase) -> list[Block]:
    """Return the record's name and fingerprint, whether it is intact, and all decisions."""
    record = case.record
    if record is None:
        return [
            Heading("Record"),
            Words(
                "This report was made from a folder, not from a record: nothing shows whether "
                "its files were changed, and no finding can be closed in it."
            ),
        ]
    sound = (
        "Its entries are chained, each to the one before, so that a later change shows. The "
        "chain was checked and is intact."
        if not record.faults
        else "Verification found faults: " + " ".join(record.faults)
    )
    blocks: list[Block] = [
        Heading("Record"),
        Facts(
            (
                ("Record", record.name),
                ("Fingerprint", record.fingerprint),
                ("Last entry about this inspection", f"number {record.revision}"),
            )
        ),
        Words(
            "Note the fingerprint somewhere else: with it, anybody can later find out whether "
            f"the record still holds what this report was made from. {sound}",
            "strong" if record.faults else "plain",
        ),
    ]
    decided = [
        *(
            ("whole inspection", review.state, review.who, review.at, review.why)
            for review in record.reviews
        ),
        *(
            (
                f"station {review.station}",
                review.state if review.stands else f"{review.state}; no longer in force",
                review.who,
                review.at,
                review.why,
            )
            for review in record.station_reviews
        ),
    ]
    if decided:
        decided.sort(key=lambda one: one[3])
        rows = tuple((what, state, who, minute(at), why) for what, state, who, at, why in decided)
        head = ("What", "Decision", "By", "When", "Why")
        blocks += [
            Heading("Review decisions", 3),
            Grid(head, rows, (1.3, 1.3, 1.6, 1.7, 3.2)),
        ]
    return blocks
