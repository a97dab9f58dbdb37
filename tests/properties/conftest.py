"""One profile for the property tests: repeatable, and without a deadline on a busy machine.

To search further: ``pytest tests/properties --hypothesis-profile=search``.
"""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("suite", deadline=None, derandomize=True, max_examples=100)
settings.register_profile("search", deadline=None, max_examples=5000)
settings.load_profile("suite")
