"""The record: ropes, gauges, inspections and everything ever entered about them.

Every change is an event, added to the end of a chain of hashes; nothing is overwritten or
deleted, a correction supersedes. `record.open_record` is the entry point, `queries` reads and
`views` is what it returns. May import `inspection.model`.
"""
