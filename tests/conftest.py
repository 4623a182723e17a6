"""How hypothesis runs here: reproducible and short by default, wider on request.

`quick` (the default) and `ci` derive their examples from the test itself, so a
run is the same everywhere and a failure prints what reproduces it; CI tries more
of them (HYPOTHESIS_PROFILE=ci).  `explore` draws anew each time, with more still:
HYPOTHESIS_PROFILE=explore pytest tests/property
"""

import os

# The tests look into the core and change it: its sources run, unless somebody asks for another.
os.environ.setdefault("SUMPBENCH_CORE", "pure")
# Workers of pytest-xdist are given the width of the terminal; what is piped here has the width of no terminal.
os.environ.pop("COLUMNS", None)

from hypothesis import HealthCheck, settings

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
for name, most in (("quick", 8), ("ci", 40)):
    settings.register_profile(name, derandomize=True, deadline=None, print_blob=True, max_examples=most,
                              suppress_health_check=QUIET)  # fmt: skip
settings.register_profile("explore", deadline=None, print_blob=True, max_examples=400, suppress_health_check=QUIET)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))
