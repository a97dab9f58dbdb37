"""A phone's lens, by photographs of a calibration board or of cards, and the library of lenses.

May import `vision.photo`, `vision.target`, `vision.rope` and what those may.
"""
