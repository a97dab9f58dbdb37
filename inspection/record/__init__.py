"""The record: ropes, gauges, inspections and all that was ever said about them.

Every change is an event, added to the end of a chain of hashes; nothing is overwritten or
deleted, a correction supersedes. `record.open_record` is the way in. May import
`inspection.model`.
"""
