"""The printed card: what is on it, its PDF, where it lies in a photograph, and the camera's pose.

May import `vision.camera`, `vision.findings`, `vision.json_files` and `vision.results`.
"""
