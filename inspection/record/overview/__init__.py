"""Thousands of inspections at once: what examining each found, stored, and the rankings from it.

Calculated from the entries, hence not part of the record: it can be removed and made again.
"""
