"""Figures that do not fit the rope, and what explains them best.

All rest on one model of the readings, `expected_readings`: `predictions` and `shifts` say how far
a figure may be from it, `odd_figures`, `copied_figures` and `narrow_jaws` are the tests, and
`explanations` weighs the `causes`.
"""
