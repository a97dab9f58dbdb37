"""`ropephoto record state`, `submit`, `observe` and `close`: an inspection from draft to closed."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import click

from inspection.model.closing import DECISIONS, Closing
from inspection.model.condition import CRITERIA, Condition
from ui.cli.options import by_option, open_record_or_fail, place_option

if TYPE_CHECKING:
    from datetime import date

DAY = click.DateTime(["%Y-%m-%d"])


def _day(given: datetime | None) -> date | None:
    return None if given is None else given.date()


@click.command()
@click.argument("where", metavar="RECORD")
@click.argument("inspection")
@place_option
def state(where: str, inspection: str, photographs: str | None) -> None:
    """Show the state, history and observations of INSPECTION.

    \b
    Example:
      ropephoto record state crane-3.db 2026-09-quay-crane-2
    """
    with open_record_or_fail(where, photographs) as opened:
        there = opened.inspection(inspection)
    click.echo(f"{inspection}: {there.state}")
    for step in there.reviews:
        why = f": {step.why}" if step.why else ""
        click.echo(f"  {step.at[:16].replace('T', ' ')} UTC  {step.state} by {step.who}{why}")
    for one in there.conditions:
        click.echo(f"  station {one.condition.station}, {one.condition.words} ({one.who})")
    if there.closing is not None:
        closing = there.closing
        click.echo(f"The rope {closing.words}; decided by {closing.competent_person}.")
        if closing.remarks:
            click.echo(closing.remarks)
    elif there.inspection.next_due is not None:
        click.echo(f"Next inspection due {there.inspection.next_due}.")


@click.command()
@click.argument("where", metavar="RECORD")
@click.argument("inspection")
@by_option
@click.option("--remark", default="", help="Remark for the reviewer.")
@place_option
def submit(where: str, inspection: str, by: str, remark: str, photographs: str | None) -> None:
    """Submit INSPECTION of RECORD for review.

    \b
    Example:
      ropephoto record submit crane-3.db 2026-09-quay-crane-2 --by "A. Berg"
    """
    with open_record_or_fail(where, photographs) as opened:
        opened.submit(inspection, by=by, why=remark)
    click.echo(f"{inspection}: submitted.")


@click.command()
@click.argument("where", metavar="RECORD")
@click.argument("inspection")
@click.argument("station", type=int)
@click.argument("criterion", type=click.Choice(CRITERIA))
@by_option
@click.option(
    "--severity", type=int, help="Severity towards discard by your own tables: 0, 20 ... 100 %."
)
@click.option("--seen", default="", help="What was seen, in words.")
@click.option("--count", type=int, help="Number of broken wires counted.")
@click.option("--over", type=float, metavar="MM", help="Length over which they were counted, mm.")
@click.option("--why", default="", help="Reason for changing an earlier observation.")
@place_option
def observe(
    where: str,
    inspection: str,
    station: int,
    criterion: str,
    by: str,
    severity: int | None,
    seen: str,
    count: int | None,
    over: float | None,
    why: str,
    photographs: str | None,
) -> None:
    """Record what was seen at STATION other than its diameter.

    CRITERION is one of the other criteria for discard. Severities at one station are added up as
    published; nothing is judged.

    \b
    Example:
      ropephoto record observe crane-3.db visit 3 "broken wires" --severity 20 --count 3 --by B
    """
    chosen = next(one for one in CRITERIA if one == criterion)
    condition = Condition(station, chosen, severity, seen, count, over)
    with open_record_or_fail(where, photographs) as opened:
        opened.observe(inspection, condition, by=by, why=why)
    click.echo(f"{inspection}, station {station}: {condition.words}.")


@click.command()
@click.argument("where", metavar="RECORD")
@click.argument("inspection")
@click.argument(
    "decision",
    type=click.Choice(DECISIONS),
)
@by_option
@click.option("--competent-person", default="", help="Who decided. Default: --by.")
@click.option("--until", type=DAY, help="Last day of service.")
@click.option("--next-due", type=DAY, help="Date of the next inspection.")
@click.option("--remarks", default="", help="The competent person's remarks.")
@place_option
def close(
    where: str,
    inspection: str,
    decision: str,
    by: str,
    competent_person: str,
    until: datetime | None,
    next_due: datetime | None,
    remarks: str,
    photographs: str | None,
) -> None:
    """Close a reviewed INSPECTION of RECORD with a DECISION.

    The decision is the competent person's. Nothing in it can then change until the decision is
    taken back on the pages.

    \b
    Example:
      ropephoto record close crane-3.db visit "stays in service" --by "C. Holm"
    """
    chosen = next(one for one in DECISIONS if one == decision)
    closing = Closing(chosen, competent_person or by, _day(until), _day(next_due), remarks)
    with open_record_or_fail(where, photographs) as opened:
        opened.close_inspection(inspection, closing, by=by)
    click.echo(f"{inspection}: closed. The rope {closing.words}.")
