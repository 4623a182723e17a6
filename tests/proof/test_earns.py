"""The count of what each rule earns: its rows are in the core, its probes change nothing, one that matters shows."""

import ast
import dataclasses
import re

import pytest

from host_sim.proof.campaign import nights
from host_sim.proof.mutants.mutations import Source
from tests.earns import judges, rules

FOUND = rules.packaged()


def rule(text):
    (one,) = [found for found in FOUND if text in found.name]
    return one


def test_every_rule_changes_its_function_and_no_two_are_the_same():
    codes = set()
    for one in FOUND:
        core = Source(one.mutant.module)
        code = core.code(one.mutant)
        assert code != core.compiled(one.mutant.function), one.name
        codes.add((one.mutant.module, code))
    assert len(codes) == len(FOUND) == len({one.name for one in FOUND})


def test_every_line_has_a_probe_that_says_what_the_line_says():
    for place, one in enumerate(FOUND):
        tree = rules.probed(Source(one.mutant.module).functions[one.mutant.function], [(place, one.mutant)])
        calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and getattr(n.func, "id", "") == rules.PROBE]
        assert len(calls) == 1, one.name


def test_a_night_with_probes_is_the_night_and_a_night_that_a_rule_does_not_reach_is_the_same_without_it():
    as_it_is = judges.campaign(1, 7)  # lag hangs wet from the 20th minute on
    with rules.Probes(FOUND) as probes:
        assert judges.campaign(1, 7) == as_it_is
    reached = {FOUND[place].name for place in probes.reached}
    assert any(name.startswith("L3") for name in reached)
    off = rules.switch_off(rule("R3: flood retries"))
    try:
        assert "R3: flood retries" not in reached
        assert judges.campaign(1, 7) == as_it_is
    finally:
        off()


CUT_AND_RESETS = ("common-wire-broken@2080.6s", "controller-reset@2991.3s", "controller-reset@3137.2s",
                  "controller-reset@3343.4s")  # fmt: skip


def test_a_cable_cut_before_three_resets_floods_where_the_sequence_time_does_not_wait_for_the_hold():
    # Of 300 drawn nights one reached this rule: a cut cable and resets on top are rarely drawn together.
    night = nights.draw(50233, 112)
    text = re.sub(r"faults = .*", f"faults = {list(CUT_AND_RESETS)}", night.text)
    names = ("common-wire-broken", "controller-reset")
    night = dataclasses.replace(night, text=text, faults=CUT_AND_RESETS, names=names)
    assert judges.noticed(night).wet_s == 0.0
    off = rules.switch_off(rule("sequence_time waits"))
    try:
        assert judges.noticed(night).wet_s > 3600.0
    finally:
        off()


@pytest.mark.parametrize(("line", "becomes", "said"), [
    ("if a and b:", "if a:", "_probe(0, bool(a and b), bool(a))"),
    ("return f(a, b > 1)", "return f(a, b > 2)", "_probe(0, 1, 2)"),
    ("self.a |= b & c", "pass", "_probe(0, 1, 0)"),
    ("if a:", "if a and tick():", "_probe(0, 1, 0) and a"),  # to ask tick() might change something
    ("x = tick(a | b)", "x = tick(a)", "tick(_probe(0, a | b, a))"),
])  # fmt: skip
def test_a_probe_stands_at_the_smallest_expression_that_differs(line, becomes, said):
    class Row:
        text = line

    block = "\n        pass" if line.endswith(":") else ""
    function = ast.parse(f"def f(self, a, b, c):\n    {line}{block}").body[0]
    row = Row()
    row.becomes, row.line = becomes, 2
    assert said in ast.unparse(rules.probed(function, [(0, row)]))


def test_what_is_noticed_counts_from_a_margin_on():
    quiet = judges.Noticed(0.0, 0.0, 0, 0, 2, 3.0, 40)
    worse = judges.Noticed(60.0, 0.5, 0, 0, 3, 3.5, 41)
    assert judges.more(quiet, worse) == ["wet_s", "alarms"]
    assert judges.more(worse, quiet) == []
