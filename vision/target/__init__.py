"""The printed card: its design, its PDF, its position in a photograph, and the camera's pose.

May import `vision.camera`, `vision.findings`, `vision.json_files` and `vision.results`.
"""
