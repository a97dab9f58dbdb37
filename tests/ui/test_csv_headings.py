"""Headings of tables that people open in a spreadsheet: words and units, no keys of the program."""

from __future__ import annotations

import re

import pytest

from inspection.exchange.export_tables import SUMMARY
from ui.cli.output.check_files import HEADINGS as CHECK
from ui.cli.output.measure import HEADINGS as MEASURE
from ui.presenters.review import flagged_entries
from ui.report.gauge_page import ROWS
from vision.frame import COLUMNS

TABLES = {
    "check": [*CHECK.values()],
    "measure": [MEASURE.get(name, name) for name in COLUMNS],
    "comparison with a gauge": ROWS,
    "inspections": SUMMARY,
    "supervisor's entries": flagged_entries.HEADINGS,
    "supervisor's ropes": flagged_entries.ROPE_HEADINGS,
    "supervisor's readers": flagged_entries.READER_HEADINGS,
    "slips": flagged_entries.SLIP_HEADINGS,
}


@pytest.mark.parametrize("name", TABLES)
def test_a_heading_is_short_words_with_its_unit_in_parentheses(name: str) -> None:
    heads = TABLES[name]
    assert len({*heads}) == len(heads)
    for head in heads:
        assert "_" not in head, head
        assert len(head) <= 45, head
        assert ":" not in head, head
        bare = re.sub(r"\((mm|%|deg|px/mm)\)$", "", head)
        assert not re.search(r"\b(mm|deg|px|pct)\b", bare), head
