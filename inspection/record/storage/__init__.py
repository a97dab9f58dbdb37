"""Where a record is kept: its database and tables, the chain of events, drafts, photographs.

May import `inspection.record.errors`; knows no command and no rule of the trade.
"""
