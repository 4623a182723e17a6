"""How hypothesis runs here: reproducible by default, wider on request.

`ci` (the default) derives its examples from the test itself, so a run is the
same everywhere and a failure prints what reproduces it.  `explore` draws anew
each time, with more examples: HYPOTHESIS_PROFILE=explore pytest tests/property
"""

import os

from hypothesis import HealthCheck, settings

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True, max_examples=40,
                          suppress_health_check=QUIET)
settings.register_profile("explore", deadline=None, print_blob=True, max_examples=400, suppress_health_check=QUIET)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))
