"""The acceptance of a board, one test for each procedure: `pytest hil --hil-port ...` and the like."""

import warnings

import pytest

from hil.acceptance import procedure
from hil.bench.verdict import FAIL, MARGINAL
from hil.plugin import CHOICE

ALL = procedure.load()
CASES = [pytest.param(one, id=one.name, marks=pytest.mark.needs(*one.needs)) for one in ALL]


@pytest.mark.parametrize("proves", CASES)
def test_procedure(bench, proves, request):
    if request.config.stash[CHOICE].real_time and not proves.real_time:
        pytest.skip("not in the short set that runs in real time")
    request.node.user_properties.append(("hil_clauses", " ".join(proves.clauses)))
    proves.run(bench)
    items = [*bench.measurements, *bench.checks]
    assert items, "nothing was measured or checked"
    failed = [str(item.as_dict()) for item in items if item.verdict == FAIL]
    assert not failed, "\n".join(failed)
    for item in items:
        if item.verdict == MARGINAL:
            warnings.warn(f"marginal: {item.as_dict()}", stacklevel=1)
