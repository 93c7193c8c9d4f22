"""Hypothesis profiles: ``dev`` looks for new cases on every run, ``ci`` repeats the same ones.

HYPOTHESIS_PROFILE chooses.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, Phase, settings

_SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]

settings.register_profile(
    "dev", deadline=None, max_examples=60, suppress_health_check=_SLOW_IS_FINE
)
settings.register_profile(
    "ci", parent=settings.get_profile("dev"), derandomize=True, print_blob=True
)
settings.register_profile("long", parent=settings.get_profile("dev"), max_examples=1500)
settings.register_profile(
    "find",
    parent=settings.get_profile("dev"),
    max_examples=300,
    phases=[Phase.explicit, Phase.generate],
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))
