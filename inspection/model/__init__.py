"""Ropes, gauges, readings, inspections: plain facts with units, no judgement.

May import `vision.results` and `vision.uncertainty`, nothing else of the project.
"""
