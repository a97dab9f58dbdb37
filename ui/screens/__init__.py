"""One file a screen; `ui/app.py` says in which order they stand."""
