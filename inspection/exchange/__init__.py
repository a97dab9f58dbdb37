"""Tables and JSON documents, in and out of the record.

May import `inspection.record` and below.
"""
