"""Readings and photographs combined: sections, ovality, the measured diameter, the trend.

May import `inspection.model`.
"""
