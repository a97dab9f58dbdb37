"""The trade's logic: ropes, gauge readings, limits, cross-check, screening and the record.

It knows no pixels and no widgets. Of `vision` it sees the result types only.
"""
