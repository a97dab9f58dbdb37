"""Chart data as plain values, and the pages' charts made from them.

May import `inspection` and `vision`.
"""
