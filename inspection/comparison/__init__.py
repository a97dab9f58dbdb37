"""Gauge against photograph, singly and over many: cross-check and method comparison.

May import `inspection.measurement` and below.
"""
