"""Gauge against photograph, one by one and over many: cross-check and method comparison.

May import `inspection.measurement` and below.
"""
