"""The command `ropephoto`. Each job has a module of its own; heavy imports wait until used."""

from __future__ import annotations

from copy import copy

import click

from ui.cli.bench_check import bench_check
from ui.cli.calibrate import calibrate, cameras
from ui.cli.card import card, print_check
from ui.cli.check import check
from ui.cli.compare_gauge import compare_gauge
from ui.cli.demo import demo
from ui.cli.measure import measure
from ui.cli.page import page
from ui.cli.record import record
from ui.cli.report import report
from ui.cli.scale import scale


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="rope-photo-check")
def main() -> None:
    """Measure wire ropes in photographs, and compare gauge readings with them.

    Print a card, fix it to the rope and photograph it from two directions at right angles:
    `measure` then gives the rope's diameter and ovality with their uncertainty.

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
    scale,
    demo,
    check,
    bench_check,
    compare_gauge,
    record,
    report,
):
    main.add_command(command)
earlier = copy(scale)
earlier.hidden = True
main.add_command(earlier, "archive")  # its earlier name, for existing scripts

if __name__ == "__main__":
    main()
