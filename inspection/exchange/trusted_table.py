"""The table of a comparison with a trusted gauge: `trusted.csv` in, readings out, and back.

=============  ===============================================================================
column         holds
=============  ===============================================================================
photo          file name of the photograph; each once
trusted        the trusted reading in that direction, e.g. 22.14, "22,14 mm" or 7/8 in
u              its expanded uncertainty (k = 2), the same ways
rope           which rope or bar it is
gauge          which gauge; empty: one gauge for all
finish         bright, galvanised, greased, rusty ... ; may be empty
phone          may be empty: then the camera named in the photograph
card_set       the card set as in print_checks.json; empty: the print was not checked
=============  ===============================================================================
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path

from inspection.comparison.gauge_study import TrustedReading
from inspection.exchange.spreadsheet import escape_formula, read_sheet
from inspection.model.length_text import parse_length
from inspection.model.names import checked_text

COLUMNS = ("photo", "trusted", "u", "rope", "gauge", "finish", "phone", "card_set")
NEEDED = ("photo", "trusted", "u", "rope")


def read_trusted(path: str | Path) -> tuple[TrustedReading, ...]:
    """Read the table.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX with the columns listed at the top of this module, in any order.

    Returns
    -------
    tuple of TrustedReading
        One for each row.

    Raises
    ------
    ValueError
        One sentence: which line is wrong, with its value, and how it should be. No row is left
        out silently: that would be a different study.
    """
    sheet = read_sheet(path)
    name = Path(path).name
    headings = [heading.strip().lower().replace(" ", "_") for heading in sheet.headings]
    missing = [one for one in NEEDED if one not in headings]
    if missing:
        raise ValueError(
            f"{name} lacks the column{'s' * (len(missing) > 1)} {', '.join(missing)}; it needs "
            f"{', '.join(NEEDED)}, and can have {', '.join(COLUMNS[len(NEEDED) :])}."
        )
    rows: list[TrustedReading] = []
    for line, cells in sheet.rows:
        row = {key: cells[i].strip() for i, key in enumerate(headings) if i < len(cells)}
        try:
            rows.append(_reading(row))
            if rows[-1].photo in [one.photo for one in rows[:-1]]:
                raise ValueError(f"the photograph '{rows[-1].photo}' has a reading already.")
        except ValueError as wrong:
            raise ValueError(f"{name}, line {line}: {wrong}") from None
    if not rows:
        raise ValueError(f"{name} has no rows: enter a line for each photograph.")
    return tuple(rows)


def _reading(row: dict[str, str]) -> TrustedReading:
    for column in NEEDED:
        if not row.get(column):
            raise ValueError(f"column '{column}' is empty.")
    for text in row.values():
        checked_text(text)
    diameter_mm, expanded_mm = parse_length(row["trusted"]), parse_length(row["u"])
    if expanded_mm >= diameter_mm / 10.0:
        raise ValueError(
            f"u is {row['u']} of {row['trusted']}: a trusted reading must be known to better "
            "than a tenth; enter its expanded uncertainty (k = 2)."
        )
    return TrustedReading(
        photo=row["photo"],
        diameter_mm=diameter_mm,
        expanded_mm=expanded_mm,
        rope=row["rope"],
        gauge=row.get("gauge", ""),
        finish=row.get("finish", ""),
        phone=row.get("phone", ""),
        card_set=row.get("card_set", ""),
    )


def trusted_csv(readings: Iterable[TrustedReading]) -> bytes:
    """Return readings as the bytes of such a CSV table.

    Parameters
    ----------
    readings : iterable of TrustedReading
        The rows.

    Returns
    -------
    bytes
        CSV, UTF-8; a text that would run as a formula has an apostrophe before it.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in readings:
        texts = (one.rope, one.gauge, one.finish, one.phone, one.card_set)
        figures = (f"{one.diameter_mm:.6g}", f"{one.expanded_mm:.6g}")
        writer.writerow([escape_formula(one.photo), *figures, *map(escape_formula, texts)])
    return out.getvalue().encode()
