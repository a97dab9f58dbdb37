"""`ropephoto demo`: the samples, measured and compared with their true widths and readings."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.option(
    "--folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder of the sample photographs; by default sample_images beside the program.",
)
def demo(folder: Path | None) -> None:
    """Measure the samples and find the mistyped gauge reading.

    The photographs are renders of an invented inspection: one rope, four stations from two
    directions, a smooth bar, and two pictures that must be refused. Their true widths are known
    from the rendered mesh.

    \b
    Example:
      ropephoto demo
    """
    from ui.cli.output.demo import run_demo

    samples = folder or _sample_folder()
    if samples is None:
        raise click.UsageError(
            "the folder sample_images was not found; run this in a copy of the project, or name "
            "the folder with --folder."
        )
    run_demo(samples)


def _sample_folder() -> Path | None:
    for place in (Path.cwd(), Path(__file__).resolve().parents[2]):
        if (place / "sample_images" / "truth.csv").exists():
            return place / "sample_images"
    return None
