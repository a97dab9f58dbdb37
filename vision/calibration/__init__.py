"""Calibration of a phone's lens from photographs of a board or of cards, and the lens library.

May import `vision.photo`, `vision.target`, `vision.rope` and what those may.
"""
