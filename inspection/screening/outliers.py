"""Outliers along the rope: an entry far from the entries of the same direction elsewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scipy.special import stdtr

from inspection.model.log import Log, readings_at
from inspection.screening.multiple_testing import ScreeningTest

FEWEST_STATIONS = 5


def deleted_t_values(values: Sequence[float], *, least_sd: float = 0.0) -> list[float]:
    """Return how far each value lies from the mean of the others, in their own scatter.

    Parameters
    ----------
    values : sequence of float
        At least 4 values.
    least_sd : float, optional
        The scatter is never taken as smaller than this: figures rounded to a coarse step can
        be all alike but one.

    Returns
    -------
    t : list of float
        ``(x - mean) / (s sqrt(1 + 1 / (n - 1)))`` with mean and s of the n - 1 others: Student's
        t with n - 2 degrees of freedom if all are normal with one mean.

    References
    ----------
    Cook, R. D., Weisberg, S. (1982), Residuals and Influence in Regression, section 2.2.2:
    externally studentised residual, here for a mean (from memory, confidence 0.9).

    Examples
    --------
    >>> [round(t, 2) for t in deleted_t_values([1.0, 2.0, 3.0, 9.0])]
    [-0.84, -0.49, -0.2, 6.06]
    """
    n = len(values)
    if n < 4:
        raise ValueError(f"at least 4 values are needed; got {n}.")
    t = []
    for index in range(n):
        others = [value for place, value in enumerate(values) if place != index]
        mean = math.fsum(others) / (n - 1)
        variance = math.fsum((value - mean) ** 2 for value in others) / (n - 2)
        sd = max(math.sqrt(variance), least_sd)
        gap = values[index] - mean
        t.append(0.0 if gap == 0 else gap / (sd * math.sqrt(n / (n - 1))) if sd else math.inf)
    return t


def outlier_tests(log: Log) -> list[ScreeningTest]:
    """Return one test an entry of its distance from the same direction's other stations."""
    series: dict[int, list[int]] = {}
    for entries in readings_at(log.readings).values():
        series.setdefault(log.readings[entries[0]].view_deg, []).append(entries[0])
    tests = []
    for view, entries in series.items():
        n = len(entries)
        if n < FEWEST_STATIONS:
            continue
        values = [log.readings[entry].value_mm for entry in entries]
        steps = [
            log.gauges[log.readings[entry].gauge].resolution_mm
            for entry in entries
            if log.readings[entry].gauge in log.gauges
        ]
        floor = max(steps, default=0.0) / math.sqrt(12.0)
        for entry, t in zip(entries, deleted_t_values(values, least_sd=floor), strict=True):
            reading = log.readings[entry]
            mean = (math.fsum(values) - reading.value_mm) / (n - 1)
            tests.append(
                ScreeningTest(
                    check="outlier",
                    code="outlier",
                    entries=(entry,),
                    places=(log.place(entry),),
                    p=float(2.0 * stdtr(n - 2, -abs(t))),
                    seen=f"{reading.typed} was logged where the other {n - 1} stations give "
                    f"{mean:.2f} mm on average at {view} deg ({t:+z.1f} of their own scatter).",
                    remedy="Look at this place first: a local change can be a broken core. Then "
                    "read it again.",
                    innocent="The rope may really differ here, at a crossover, a dead end or a "
                    "worn length.",
                    value=reading.value_mm - mean,
                    unit="mm",
                )
            )
    return tests
