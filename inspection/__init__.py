"""The domain logic: ropes, gauge readings, limits, cross-check, screening and the record.

It contains no pixels and no widgets, and uses only the result types of `vision`.
"""
