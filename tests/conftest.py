"""Settings for all tests: hypothesis draws the same examples every time and sets no deadline on a busy machine."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")
