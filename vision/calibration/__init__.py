"""A phone's lens, from photographs of the calibration board, and the library of calibrated cameras.

May import `vision.photo`, `vision.target` and what those may.
"""
