"""The command `ropephoto`. Each job has a module of its own; heavy imports wait until used."""

from __future__ import annotations

import click

from ui.archive_command import archive
from ui.calibrate_command import calibrate, cameras
from ui.card_command import card, print_check
from ui.check_command import check
from ui.demo_command import demo
from ui.measure_command import measure
from ui.page_command import page
from ui.record_command import record
from ui.report_command import report


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="rope-photo-check")
def main() -> None:
    """Measure wire ropes in photographs, and hold gauge readings against them.

    Print a card, fix it to the rope, photograph it from two directions at right angles, and
    let `measure` say how thick and how round the rope is, and how well that is known.

    A photograph never clears a rope: the competent person, the maker's instructions and local
    rules decide.
    """


for command in (
    page,
    card,
    print_check,
    calibrate,
    cameras,
    measure,
    archive,
    demo,
    check,
    record,
    report,
):
    main.add_command(command)

if __name__ == "__main__":
    main()
