"""What every test shares: no window for charts, and the same examples from hypothesis on every run of CI."""

import os

from hypothesis import settings

os.environ["MPLBACKEND"] = "agg"

# A time limit per example fails on a busy machine for no fault of the code.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")
