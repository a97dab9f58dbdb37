"""Charts of the checks: differences with limits of agreement, budget bars, last digits."""

from __future__ import annotations

import pytest

from inspection.model.readings import Reading
from tests.ui.chart_specs import rows_of, spec_of, words_of
from tests.ui.report_cases import folder_case
from ui.charts.checks import budget_chart, differences_chart, digits_chart
from ui.charts.data import Differences
from ui.charts.sources import budget_shares, differences, last_digits
from ui.report.case import ReportCase
from vision.uncertainty import Term


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return folder_case(tmp_path_factory.mktemp("folder"), wrong={(3, 0): "38.91"})


@pytest.fixture(scope="module")
def compared(case: ReportCase) -> Differences:
    return differences(case.assessment)


def test_differences_show_bias_and_limits_of_agreement(
    compared: Differences, case: ReportCase
) -> None:
    spec = spec_of(differences_chart(compared))
    agreement = case.assessment.agreement
    assert agreement is not None
    values = [row["value"] for row in rows_of(spec, "value")]
    assert values == pytest.approx([0.0, agreement.bias_mm, agreement.low_mm, agreement.high_mm])
    points = rows_of(spec, "difference")
    assert len(points) == 8
    for point, one in zip(points, case.assessment.crosscheck.comparisons, strict=True):
        assert point["mean"] == pytest.approx((one.photo_mm + one.gauge_mm) / 2)
        assert point["difference"] == pytest.approx(one.photo_mm - one.gauge_mm)
        assert point["word"] == one.word
    drawn = " ".join(words_of(compared))
    assert f"lower limit {agreement.low_mm:+.2f} mm".replace("-", "\u2212") in drawn


def test_shares_sum_to_the_whole_and_the_rest_is_counted_together() -> None:
    terms = [Term(f"part {i}", 0.01 * (i + 1), "mm", 1.0, "B", f"s:{i}") for i in range(12)]
    parts = budget_shares(terms, most=5)
    assert len(parts) == 5
    assert sum(one.share_pct for one in parts) == pytest.approx(100.0)
    assert parts[-1].quantity == "8 smaller sources together"
    # 12^2 of 1^2 + ... + 12^2 = 650
    assert parts[0].share_pct == pytest.approx(100 * 144 / 650)
    rows = rows_of(spec_of(budget_chart(parts)), "share")
    assert [row["share"] for row in rows] == [one.share_pct for one in parts]
    assert "part 11: 22 %" in words_of(parts)


def typed(*texts: str) -> list[Reading]:
    return [Reading(text, float(text), 1, 0, "C-1", "A") for text in texts]


def test_last_digits_are_counted_over_all_that_the_gauge_can_show() -> None:
    digits = last_digits(typed("22.40", "22.45", "22.40", "22.41"), 0.01)
    assert digits is not None
    assert digits.labels == tuple("0123456789")
    assert digits.counts == (2, 1, 0, 0, 0, 1, 0, 0, 0, 0)
    assert digits.expected == 0.4
    rows = rows_of(spec_of(digits_chart(digits)), "digit")
    assert [row["count"] for row in rows] == list(digits.counts)
    assert "Readings (count)" in words_of(digits)


@pytest.mark.parametrize(
    ("step", "labels"), [(0.02, ("0", "2", "4", "6", "8")), (0.05, ("0", "5"))]
)
def test_a_coarser_gauge_has_fewer_last_digits(step: float, labels: tuple[str, ...]) -> None:
    digits = last_digits(typed("22.40", "22.20"), step)
    assert digits is not None
    assert digits.labels == labels


def test_a_fraction_of_an_inch_has_no_last_digit() -> None:
    assert last_digits([Reading("7/8 in", 22.225, 1, 0, "C-1", "A")], 25.4 / 64) is None
