"""Sheets as sites have them: both directions in a row, titles, other languages and date formats."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from inspection.exchange.export_tables import export_readings, export_ropes
from inspection.exchange.import_rows import RejectedError, import_readings, import_ropes
from inspection.exchange.parse import ParsedTable, ReadingRow, read_readings, read_ropes
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.record.record import Record, open_record
from tests.inspection.danger_logs import GAUGE, SOUND, readings_of
from tests.inspection.reading_tables import csv_file

pytestmark = pytest.mark.usefixtures("new_records_are_copies")

GIVEN = {"inspection": "2026-09", "person": "A. Berg", "gauge": "C-07"}


def places(table: ParsedTable[ReadingRow]) -> dict[tuple[int, int], float]:
    assert table.rejected == ()
    return {(one.reading.station, one.reading.view_deg): one.reading.value_mm for one in table.rows}


WANTED = {(1, 0): 22.2, (1, 90): 22.1, (2, 0): 22.3, (2, 90): 22.0}


@pytest.mark.parametrize(
    "text",
    [
        "Station;0°;90°\n1;22,2;22,1\n2;22,3;22,0\n",
        "station,0 deg,90 deg\n1,22.2,22.1\n2,22.3,22.0\n",
        "Station;d1 [mm];d2 [mm]\n1;22,2;22,1\n2;22,3;22,0\n",
        "Station;D 0° (mm);D 90° (mm)\n1;22,2;22,1\n2;22,3;22,0\n",
        "station,reading\n1,22.2 / 22.1\n2,22.3 / 22.0\n",
        "station,diameter (mm)\n1,22.2/22.1 mm\n2,22.3/22.0 mm\n",
        "Hoist rope 1; ;\nSite: quay 4;;\n\nStation;0°;90°\n1;22,2;22,1\n2;22,3;22,0\n",
        # German, French, Spanish, Italian, Portuguese
        "Messstelle;Durchmesser 0°;Durchmesser 90°;Bemerkung\n1;22,2;22,1;\n2;22,3;22,0;Kreuzung\n",
        "Point de mesure;Diamètre 0°;Diamètre 90°\n1;22,2;22,1\n2;22,3;22,0\n",
        "Estación;Diámetro 0°;Diámetro 90°\n1;22,2;22,1\n2;22,3;22,0\n",
        "Punto di misura;Diametro 0 gradi;Diametro 90 gradi\n1;22,2;22,1\n2;22,3;22,0\n",
        "Ponto de medição;Diâmetro 0°;Diâmetro 90°\n1;22,2;22,1\n2;22,3;22,0\n",
    ],
)
def test_both_directions_of_a_row_are_read(tmp_path: Path, text: str) -> None:
    table = read_readings(csv_file(tmp_path, text), **GIVEN)
    assert places(table) == pytest.approx(WANTED)


@pytest.mark.parametrize(
    "headings",
    [
        "Prüfung;Messstelle;Richtung;Messwert;Messgerät;Prüfer;Datum",
        "Contrôle;Point de mesure;Sens;Lecture;Pied à coulisse;Contrôleur;Jour",
        "Inspección;Estación;Dirección;Lectura;Instrumento;Operador;Fecha",
        "Ispezione;Stazione;Direzione;Lettura;Calibro;Ispettore;Data",
        "Inspeção;Estação;Direção;Leitura;Paquímetro;Inspetor;Data",
    ],
)
def test_headings_are_understood_in_five_other_languages(tmp_path: Path, headings: str) -> None:
    row = "2026-09;2;90;22,4;C-07;A. Berg;15.09.2026"
    table = read_readings(csv_file(tmp_path, f"{headings}\n{row}\n"))
    assert table.rejected == ()
    (one,) = table.rows
    reading = one.reading
    assert (reading.station, reading.view_deg, reading.value_mm) == (2, 90, 22.4)
    assert (reading.gauge, reading.person, one.on) == ("C-07", "A. Berg", date(2026, 9, 15))


def test_the_readings_may_lie_on_another_sheet_below_a_title(tmp_path: Path) -> None:
    book = Workbook()
    book.active.title = "Deckblatt"
    book.active.append(["Seilprüfung 2026"])
    sheet = book.create_sheet("Messung")
    sheet.append(["Messprotokoll"])
    sheet.append([])
    sheet.append(["Messstelle", "0°", "90°"])
    sheet.append([1, 22.2, 22.1])
    sheet.append([2, 22.3, 22.0])
    book.save(tmp_path / "sheet.xlsx")
    table = read_readings(tmp_path / "sheet.xlsx", **GIVEN)
    assert places(table) == pytest.approx(WANTED)
    assert any("'Messung'" in note for note in table.notes)
    assert any("Messprotokoll" in note for note in table.notes)
    assert [row.line for row in table.rows] == [4, 4, 5, 5]


@pytest.mark.parametrize("title", ["Messprotokoll", "Kran 2, Hubseil, links, 15.09.2026"])
def test_a_title_above_does_not_say_what_parts_the_columns(tmp_path: Path, title: str) -> None:
    text = f"{title}\n\nMessstelle;0°;90°\n1;22,2;22,1\n2;22,3;22,0\n"
    table = read_readings(csv_file(tmp_path, text), **GIVEN)
    assert places(table) == pytest.approx(WANTED)
    assert any(title.partition(",")[0] in note for note in table.notes)


def test_numbered_columns_are_told_as_directions(tmp_path: Path) -> None:
    table = read_readings(csv_file(tmp_path, "station,d1,d2\n1,22.2,22.1\n"), **GIVEN)
    assert any("'d1' as 0 deg and 'd2' as 90 deg" in note for note in table.notes)


def test_two_figures_for_one_direction_are_refused(tmp_path: Path) -> None:
    table = read_readings(csv_file(tmp_path, "station,view,typed\n1,0,22.2 / 22.1\n"), **GIVEN)
    assert "two figures for one direction" in table.rejected[0].reason


def test_a_fraction_is_one_figure(tmp_path: Path) -> None:
    table = read_readings(csv_file(tmp_path, "station,view,typed\n1,0,7/8 in\n"), **GIVEN)
    assert places(table) == {(1, 0): pytest.approx(22.225)}


@pytest.mark.parametrize(
    ("days", "wanted"),
    [
        (["15.09.2026"], [date(2026, 9, 15)]),
        (["03.04.2026"], [date(2026, 4, 3)]),
        (["15/09/2026"], [date(2026, 9, 15)]),
        (["09/15/2026"], [date(2026, 9, 15)]),
        (["03/04/2026", "15/04/2026"], [date(2026, 4, 3), date(2026, 4, 15)]),
        (["03/04/2026", "04/15/2026"], [date(2026, 3, 4), date(2026, 4, 15)]),
    ],
)
def test_days_are_read_as_people_write_them(
    tmp_path: Path, days: list[str], wanted: list[date]
) -> None:
    rows = "".join(f"{n},0,22.4,{day}\n" for n, day in enumerate(days, start=1))
    table = read_readings(csv_file(tmp_path, f"station,view,typed,date\n{rows}"), **GIVEN)
    assert [row.on for row in table.rows] == wanted


def test_a_day_that_may_be_two_is_asked_about(tmp_path: Path) -> None:
    file = csv_file(tmp_path, "station,view,typed,date\n1,0,22.4,03/04/2026\n")
    asked = read_readings(file, **GIVEN)
    assert asked.rows == ()
    assert "3 April or 4 March 2026" in asked.rejected[0].reason
    for first, day in ((True, date(2026, 4, 3)), (False, date(2026, 3, 4))):
        assert read_readings(file, **GIVEN, day_first=first).rows[0].on == day


def test_a_time_follows_the_day(tmp_path: Path) -> None:
    file = csv_file(tmp_path, "station,view,typed,time\n1,0,22.4,15.09.2026 09:14\n")
    assert read_readings(file, **GIVEN).rows[0].reading.at == datetime(2026, 9, 15, 9, 14)


def test_the_mapping_is_shown_and_corrected(tmp_path: Path) -> None:
    file = csv_file(
        tmp_path, "Nr;Mitte senkrecht;Mitte waagrecht;Bem.\n1;22,2;22,1;\n2;22,3;22,0;x\n"
    )
    with pytest.raises(ValueError, match="no column for station, view_deg, typed"):
        read_readings(file, **GIVEN)
    named = {"Nr": "station", "Mitte senkrecht": "0", "Mitte waagrecht": "90", "Bem.": "note"}
    table = read_readings(file, **GIVEN, named=named)
    assert places(table) == pytest.approx(WANTED)
    assert table.mapping == (
        ("Nr", "station"),
        ("Mitte senkrecht", "reading at 0 deg"),
        ("Mitte waagrecht", "reading at 90 deg"),
        ("Bem.", "note"),
    )
    assert table.rows[-1].at.note == "x"


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ({"Nummer": "station"}, "no column 'Nummer'"),
        ({"Nr": "statoin"}, "'statoin' is not a column"),
    ],
)
def test_a_wrong_mapping_is_one_sentence(tmp_path: Path, named: dict[str, str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        read_readings(csv_file(tmp_path, "Nr;0°;90°\n1;22,2;22,1\n"), **GIVEN, named=named)


DRUM = Groove("drum; left", 11.7, 25.0, 3, 21.5, 23.1)
ROPE = Rope(
    "hoist 1",
    22.0,
    8,
    "fibre",
    reference_mm=22.44,
    u_reference_mm=0.02,
    country="DE",
    duty="crane",
    sheaves="steel",
    grooves=(DRUM, Groove("sheave", 11.9)),
    lay_mm=143.0,
    reference_tension="none",
    site="yard",
)
HELD = Inspection(
    "2026-09",
    "hoist 1",
    date(2026, 9, 15),
    "quay 4",
    "A. Berg",
    "R. Two",
    "S. Three",
    "up to 5 % of breaking force",
    tuple(Station(n, 12.5 * n, "crossover" if n == 4 else "") for n in range(1, 11)),
)


def _keep(record: Record) -> None:
    record.add_rope(ROPE, by="A. Berg")
    record.add_gauge(GAUGE, by="A. Berg")
    record.add_inspection(HELD, by="A. Berg")
    record.add_readings(HELD.identity, readings_of(SOUND), by="A. Berg")


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_an_exported_table_imported_is_the_same(tmp_path: Path, suffix: str) -> None:
    ropes, readings = tmp_path / f"ropes{suffix}", tmp_path / f"readings{suffix}"
    with open_record(tmp_path / "one.db") as one, open_record(tmp_path / "two.db") as two:
        _keep(one)
        export_ropes(one, ropes)
        export_readings(one, readings)
        import_ropes(two, read_ropes(ropes), by="B")
        import_readings(two, read_readings(readings), by="B")
        assert two.ropes() == one.ropes() == (ROPE,)
        first, second = one.inspection("2026-09"), two.inspection("2026-09")
        assert second.inspection == first.inspection == HELD  # stations 9 and 10 were not read
        assert second.readings == first.readings
        assert second.gauges == first.gauges
        # and once more out of the second record
        export_readings(two, tmp_path / f"again{suffix}")
        assert read_readings(tmp_path / f"again{suffix}").rows == read_readings(readings).rows


def test_what_rows_say_in_two_ways_is_refused(tmp_path: Path) -> None:
    with open_record(tmp_path / "one.db") as record:
        _keep(record)
        export_readings(record, tmp_path / "readings.csv")
    text = (tmp_path / "readings.csv").read_text("utf-8-sig").replace("R. Two", "R. Three", 1)
    (tmp_path / "readings.csv").write_text(text, "utf-8")
    with open_record(tmp_path / "two.db") as record:
        record.add_rope(replace(ROPE, grooves=()), by="B")
        with pytest.raises(ValueError, match="reviewer of inspection '2026-09' is stated in two"):
            import_readings(record, read_readings(tmp_path / "readings.csv"), by="B")


# A sheet of one day seldom has a column for it.

SHEET = "Station;0°;90°\n1;22,2;22,1\n2;22,3;22,0\n"


def _into_a_record(tmp_path: Path, text: str, *, known: bool = False) -> date:
    table = read_readings(csv_file(tmp_path, text), **GIVEN)
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(ROPE, by="A. Berg")
        record.add_gauge(replace(GAUGE, identity="C-07"), by="A. Berg")
        if known:
            record.add_inspection(HELD, by="A. Berg")
        import_readings(record, table, by="A. Berg", rope="hoist 1")
        return record.inspection("2026-09").inspection.on


@pytest.mark.parametrize(
    "title",
    ["Crane 2, hoist rope;;\nheld 15.09.2026;;\n\n", "Crane 2; 2026-09-15;\n", "15/09/2026;;\n"],
)
def test_the_day_may_stand_above_the_headings(tmp_path: Path, title: str) -> None:
    assert _into_a_record(tmp_path, title + SHEET) == date(2026, 9, 15)


def test_a_sheet_without_a_day_belongs_to_the_inspection_that_is_there(tmp_path: Path) -> None:
    assert _into_a_record(tmp_path, SHEET, known=True) == HELD.on


@pytest.mark.parametrize(
    ("title", "said"),
    [
        ("", "needs one day; give it with --day"),
        ("Crane 2; 03/04/2026;\n", "may be 3 April or 4 March 2026"),
        (
            "held 15.09.2026; gauge due 31.01.2027;\n",
            "there are two days: 2026-09-15 and 2027-01-31",
        ),
    ],
)
def test_a_day_that_is_missing_or_not_clear_is_asked_for(
    tmp_path: Path, title: str, said: str
) -> None:
    with pytest.raises(RejectedError) as refused:
        _into_a_record(tmp_path, title + SHEET)
    assert "needs one day" in str(refused.value)
    assert said in str(refused.value)
