"""Property tests: the same examples every time, and no clock limit on a shared machine."""

from hypothesis import settings

settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")
