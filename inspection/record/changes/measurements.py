"""Measuring stored photographs: the event that requests it, and the one that ends the wait.

`inspection.record.waiting` has the queue between the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from sqlalchemy import Connection, select

from inspection.model.serialization import to_dict
from inspection.record.changes.commands import require_unclosed, save
from inspection.record.errors import RecordError
from inspection.record.queries import iter_definitions
from inspection.record.storage.events import Change, Signed
from inspection.record.storage.schema import photographs, print_checks
from inspection.record.views import Manner

HOLDS = ("touching", "level", "stand-off")


@dataclass(frozen=True, slots=True)
class MeasuredPhotograph:
    """What is recorded when a photograph has been measured.

    Parameters
    ----------
    sha256 : str
        The photograph.
    preview : str
        Hash of its small JPEG; empty if none could be made.
    width_px, height_px : int
        Its size; 0 if it could not be opened.
    camera_key, calibration : str
        As in `inspection.record.views.Request`.
    """

    sha256: str
    preview: str = ""
    width_px: int = 0
    height_px: int = 0
    camera_key: str = ""
    calibration: str = ""


def save_request(
    connection: Connection, inspection: str, hashes: Sequence[str], manner: Manner, signed: Signed
) -> int:
    """Add the event that requests a measurement; return its number."""
    require_unclosed(connection, inspection)
    mine = select(photographs.c.sha256).where(photographs.c.inspection == inspection)
    known = set(connection.execute(mine).scalars())
    if not hashes or len(set(hashes)) != len(hashes) or not set(hashes) <= known:
        raise RecordError(
            f"give photographs of inspection {inspection!r}, each once, to be measured; got "
            f"{len(hashes)}, of which {len(set(hashes) & known)} are in it."
        )
    if manner.print_set and manner.print_set not in dict(
        iter_definitions(connection, print_checks)
    ):
        raise RecordError(
            f"there is no print check of the card set {manner.print_set!r} in the record; save it "
            "first."
        )
    if manner.hold not in HOLDS or not isfinite(manner.offset_mm):
        raise RecordError(
            f"the hold of a card must be one of {', '.join(HOLDS)}, with an offset in mm; got "
            f"{manner.hold!r:.40}, {manner.offset_mm} mm."
        )
    new = {"photographs": list(hashes), **to_dict(manner)}
    return save(
        connection, Change("inspection", inspection, "measurement asked", new=new), signed
    ).sequence


def save_measured(
    connection: Connection, inspection: str, measured: MeasuredPhotograph, *, by: str
) -> None:
    """Add the event that ends a photograph's wait."""
    mine = (
        photographs.c.inspection == inspection,
        photographs.c.sha256 == measured.sha256,
        photographs.c.waiting.is_(True),
    )
    if connection.execute(select(photographs.c.sha256).where(*mine)).first() is None:
        raise RecordError(f"no photograph {measured.sha256[:12]}... of {inspection!r} is waiting.")
    new = to_dict(measured)
    save(connection, Change("inspection", inspection, "photograph measured", new=new), Signed(by))
