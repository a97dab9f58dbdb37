"""Damaged tables and exported records: read, imported, and every figure compared with its text."""

from __future__ import annotations

import io
import random
import re
import shutil
import tempfile
import unicodedata
import zipfile
from datetime import date, datetime
from functools import cache
from pathlib import Path

from inspection.exchange.export_json import export_json, restore_json
from inspection.exchange.import_rows import import_readings, import_ropes
from inspection.exchange.known_columns import TABLES, What
from inspection.exchange.parse import ParsedTable, ReadingRow, read_readings, read_ropes
from inspection.exchange.spreadsheet import write_sheet
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.errors import RecordError
from inspection.record.record import open_record
from tests.fuzz.mutations import mutated
from tests.fuzz.watched import Outcome, Trial
from tests.inspection.reading_tables import SAMPLE

IMPORTED = 4  # one readable table in this many is also imported into a record
# What a careless person or a faulty program leaves in a cell.
CELLS = (
    "", " ", "nan", "inf", "-inf", "1e999", "1e5", "1_0", "0x16", "22,4,5", "22.4.5", "--22.4",
    "22.4 mmm", "22,400", "999999999999999999999999", "9" * 60, "٢٢٫٤", "２２．４", "22½", "²²",
    "=1+1", "=HYPERLINK(\"http://x\",\"y\")", "@SUM(1)", "+22.4", "-22.4", "\t22.4", "\r22.4",
    "#REF!", "TRUE", "2026-02-30", "0000-00-00", "1.1e1", "22.4\n23.4", "22.4 cm", "22.4 in",
    "1 3/8", "8/3", "7/0", "<b>22.4</b>", "../../x", "\x7f", "\u202e22.4", "\ufeff22.4", "null",
)  # fmt: skip
_LENGTH = re.compile(
    r"(?:(?:dia\.?|[^\d.,]{1,4})\s*[=:]?\s*)?\+?"
    r"(?:(\d*)[.,]?(\d*)|(?:(\d+)[ -]+)?(\d+)\s*/\s*(\d+))\s*"
    r"(mm|cm|in\.?|inch(?:es)?|\"|''|\w+met(?:re|er)s?)?",
    re.IGNORECASE,
)
_MARKS = str.maketrans("⁄٫", "/,")
_MM = {"m": 1.0, "c": 10.0, "i": 25.4, '"': 25.4, "'": 25.4}


@cache
def _folder() -> Path:
    return Path(tempfile.mkdtemp(prefix="tables-"))


@cache
def sources() -> dict[str, bytes]:
    """Return whole files by kind."""
    rows = [line.split(",") for line in SAMPLE.replace('"22,41"', "22.41").splitlines()]
    ropes = [[one.name for one in TABLES["ropes"].values()],
             [one.example for one in TABLES["ropes"].values()]]  # fmt: skip
    made = {
        "CSV": SAMPLE.encode(),
        "CSV semicolon UTF-16": "\n".join(";".join(row) for row in rows).encode("utf-16"),
        "CSV Windows-1252": SAMPLE.replace("A. Berg", "Åsa Bjørk").encode("cp1252"),
        "CSV ropes": "\n".join('"' + '","'.join(row) + '"' for row in ropes).encode(),
    }
    for kind, table in (("XLSX", rows), ("XLSX ropes", ropes)):
        write_sheet(_folder() / "whole.xlsx", table[0], table[1:])
        made[kind] = (_folder() / "whole.xlsx").read_bytes()
    with open_record(_folder() / "whole.db") as record:
        record.add_rope(Rope("hoist rope 1", 22.0), by="A. Berg")
    shutil.copy(_folder() / "whole.db", _folder() / "one rope.db")
    with open_record(_folder() / "whole.db") as record:
        record.add_gauge(Gauge("C-07", "micrometer", 0.01, 0.0), by="A. Berg")
        visit = Inspection("visit", "hoist rope 1", date(2026, 11, 2), stations=(Station(1, 0.0),))
        record.add_inspection(visit, by="A. Berg")
        reading = Reading("22,41", 22.41, 1, 0, "C-07", "Åsa", datetime(2026, 11, 2, 9, 14))
        record.add_readings("visit", [reading] * 3, by="A. Berg")
        export_json(record, _folder() / "whole.json")
    open_record(_folder() / "empty.db").close()
    made["JSON"] = (_folder() / "whole.json").read_bytes()
    return made


def trial(seed: int) -> Trial:
    """Return the function that tries the table with a given number."""
    kinds = list(sources())

    def one(number: int) -> Outcome:
        chance = random.Random(f"table {seed} {number}")
        kind = kinds[number % len(kinds)]
        suffix = {"C": ".csv", "X": ".xlsx", "J": ".json"}[kind[0]]
        path = _folder() / f"table{suffix}"
        path.write_bytes(_damaged(kind, sources()[kind], chance))
        try:
            wrong = _restored(path) if suffix == ".json" else _read(path, kind, chance)
        except ValueError as reason:
            return Outcome(number, kind, *_as_sentence(str(reason)))
        return Outcome(number, kind, "FAULT" if wrong else "read", wrong)

    return one


def _damaged(kind: str, data: bytes, chance: random.Random) -> bytes:
    if kind.startswith("CSV") and chance.random() < 0.6:  # a cell, or several
        encoding = {"CSV s": "utf-16", "CSV W": "cp1252"}.get(kind[:5], "utf-8")
        text = data.decode(encoding)
        for _ in range(chance.choice([1, 1, 3])):
            begin = chance.choice([m.start() for m in re.finditer(r"[^,;\"\n]+", text)])
            end = re.compile(r"[,;\"\n]|$").search(text, begin)
            assert end is not None
            text = text[:begin] + chance.choice(CELLS) + text[end.start() :]
        return text.encode(encoding, "replace")
    if kind.startswith("XLSX") and chance.random() < 0.7:  # inside a sound ZIP
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(data)) as whole, zipfile.ZipFile(out, "w") as package:
            chosen = chance.choice(whole.namelist())
            for name in whole.namelist():
                part = whole.read(name)
                package.writestr(name, mutated(part, chance) if name == chosen else part)
        return out.getvalue()
    return mutated(data, chance, sources()[chance.choice(list(sources()))])


def _as_sentence(words: str) -> tuple[str, str]:
    # a reason may quote what stands in the file, but always with its odd signs made visible
    plain = words.endswith((".", "?")) and "\n" not in words and len(words) < 1500
    return ("sentence" if plain else "FAULT"), words


def _read(path: Path, kind: str, chance: random.Random) -> str:
    if "ropes" in kind:
        ropes = read_ropes(path)
        for rope in ropes.rows:
            others = (rope.reference_mm, rope.u_reference_mm, rope.baseline_mm, rope.lay_mm)
            for length_mm in (rope.nominal_mm, *(mm for mm in others if mm)):
                if not 0 < length_mm < 1e5:
                    return f"a rope with a length of {length_mm} mm"
        wrong = _wrong_rejections(ropes)
        return wrong or _imported(path, "ropes", chance)
    table = read_readings(path)
    for row in table.rows:
        reading = row.reading
        wanted = _mm_of(reading.typed)
        if wanted is None or abs(reading.value_mm - wanted) > 1e-9 * wanted:
            return f"{reading.typed!r} was taken for {reading.value_mm} mm"
        if not (1 <= reading.station < 1e6 and 0 <= reading.view_deg < 360):
            return f"station {reading.station}, view {reading.view_deg}"
    return _wrong_rejections(table) or _imported(path, "readings", chance)


def _wrong_rejections(table: ParsedTable[ReadingRow] | ParsedTable[Rope]) -> str:
    for row in table.rejected:
        if _as_sentence(row.reason)[0] == "FAULT":
            return f"no sentence: {row.reason!r}"
    return ""


def _mm_of(text: str) -> float | None:
    """Read a length by the documentation alone, independently of the program's own reader."""
    apart = re.sub("[¼½¾]", r" \g<0>", text)  # 22½ is 22 and a half, not 221 halves
    found = _LENGTH.fullmatch(unicodedata.normalize("NFKC", apart).translate(_MARKS).strip())
    if found is None:
        return None
    whole, places, inches, above, below, unit = found.groups()
    if below is not None:
        return (int(inches or 0) + int(above) / int(below)) * 25.4
    if not (whole or places):
        return None
    return float(f"{whole or 0}.{places or 0}") * _MM[(unit or "mm")[0].lower()]


def _imported(path: Path, what: What, chance: random.Random) -> str:
    if chance.randrange(IMPORTED):
        return ""
    place = shutil.copy(_folder() / "one rope.db", _folder() / "record.db")
    with open_record(place) as record:
        if what == "ropes":
            import_ropes(record, read_ropes(path), by="A. Berg", keep_good=True)
        else:
            import_readings(record, read_readings(path), by="A. Berg", rope="hoist rope 1",
                            keep_good=True)  # fmt: skip
        faults = record.verify().faults
    return f"the record does not hold: {faults[0]}" if faults else ""


def _restored(path: Path) -> str:
    place = shutil.copy(_folder() / "empty.db", _folder() / "record.db")
    with open_record(place) as record, open_record(_folder() / "whole.db") as whole:
        try:
            fingerprint = restore_json(record, path)
        except RecordError:
            if record.fingerprint() != "empty" and list(record.events()):
                return "refused, yet something was restored"
            raise
        if fingerprint != whole.fingerprint() or record.verify().faults:
            return f"restored as {fingerprint}"
    return ""
