"""L2: a contact that comes and goes while the water does not, and what ends the suspicion."""

import pytest
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.belief import Belief
from duplexsump.control.records import HIGH, LAG, LEAD, OFF
from duplexsump.control.timers import Timers

from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, make_settings

STANDS_MS = 60_000


class Bench:
    """A belief with its contacts; `go` is one step in which the contacts read `wet`."""

    def __init__(self, wet=0, fitted=15, **overrides):
        self.timers = Timers()
        values = make_settings(**{"sensing": NO_CURRENT, **overrides})
        values[s.FITTED] = fitted  # without off and current no settings are accepted; belief stands by itself here
        self.belief = Belief(values, self.timers, 0)
        self.belief.begin(wet)
        self.word, self.now = wet, 0
        self.belief.running = 1

    def go(self, wet, ms=3000, running=1):
        self.now += ms
        self.timers.expire(self.now)
        before, self.word = self.word, wet
        self.belief.running = running
        self.belief.step(wet, wet & ~before, before & ~wet, False)
        return self.belief.fickle

    def bob(self, bit, times, over=0):
        """`bit` comes and goes over what else is wet; at the end it is wet."""
        for k in range(times):
            if k or self.word & bit:
                self.go(over)
            self.go(over | bit)
        return self.belief.fickle


# Where no current is sensed ------------------------------------------------------------------------


@pytest.mark.parametrize("bit", [LEAD, LAG, HIGH])
@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK])
def test_l2_one_that_rises_over_dry_ones_three_times_in_one_run_is_fickle(bit, sensing):
    bench = Bench(sensing=sensing)
    assert bench.bob(bit, 2) == 0
    assert bench.bob(bit, 1) == bit
    belief = bench.belief
    assert (belief.evidence, belief.order, belief.suspect, belief.wet) == (bit, 0, bit, 0)
    assert (belief.dry, belief.bobs) == (15 & ~bit, 0)


def test_l2_where_current_is_sensed_the_pump_tells_and_no_rise_is_counted():
    bench = Bench(sensing=WITH_CURRENT)
    assert bench.bob(LAG, 6) == 0
    assert (bench.belief.bobs, bench.belief.bobber) == (0, 0)


@pytest.mark.parametrize("pause", [1, 2])
def test_l2_the_end_of_the_run_begins_the_count_anew(pause):
    bench = Bench()
    bench.bob(LAG, pause)
    bench.go(LAG, running=0)
    assert (bench.belief.bobs, bench.belief.bobber) == (0, 0)
    assert bench.bob(LAG, 2) == 0
    assert bench.bob(LAG, 1) == LAG


def test_l2_a_rise_with_no_pump_on_is_none():
    bench = Bench()
    for _ in range(4):
        bench.go(LAG, running=0)
        assert bench.go(0, running=1) == 0


@pytest.mark.parametrize("other", [OFF, LEAD, HIGH])
@pytest.mark.parametrize("rises", [1, 2])
def test_l2_another_contact_that_moves_in_between_begins_the_count_anew(other, rises):
    bench = Bench()
    bench.bob(LAG, rises)
    bench.go(0)
    bench.go(other)
    bench.go(0)
    assert bench.bob(LAG, 2) == 0
    assert bench.bob(LAG, 1) == LAG


def test_l2_each_contact_has_a_count_of_its_own():
    bench = Bench()
    bench.bob(LAG, 2)
    bench.go(0)
    bench.go(HIGH)
    assert (bench.belief.bobber, bench.belief.bobs) == (HIGH, 1)
    bench.go(0)
    assert (bench.belief.bobber, bench.belief.bobs) == (HIGH, 1), "a fall says nothing new"
    bench.go(LAG)
    assert (bench.belief.bobber, bench.belief.bobs) == (LAG, 1)


@pytest.mark.parametrize(("fitted", "bit", "over"), [
    (15, OFF, 0), (14, LEAD, 0), (15, LAG, OFF), (15, LAG, LEAD), (15, HIGH, LAG), (15, HIGH, OFF | LEAD),
])  # fmt: skip
def test_l2_one_with_nothing_below_it_or_over_a_wet_one_may_be_the_water(fitted, bit, over):
    bench = Bench(wet=over, fitted=fitted)
    assert bench.bob(bit, 5, over) == 0
    assert bench.belief.bobs == 0


def test_l2_a_wet_one_below_that_is_a_suspect_vouches_for_nothing():
    bench = Bench(wet=OFF)
    bench.belief.make_suspect(OFF, OFF)
    assert bench.bob(LAG, 3, OFF) == LAG


@pytest.mark.parametrize("pair", [LEAD | LAG, LAG | HIGH, LEAD | HIGH])
def test_l2_two_that_rise_at_once_are_no_one_float(pair):
    bench = Bench()
    assert bench.bob(pair, 5) == 0
    assert bench.belief.bobs == 0


def test_l2_one_that_rises_together_with_a_fickle_one_is_not_counted():
    bench = fickle(HIGH)
    assert bench.bob(LAG | HIGH, 5) == HIGH
    assert (bench.belief.bobs, bench.belief.bobber) == (0, 0)


def test_l2_what_a_fickle_one_said_of_the_others_is_void():
    bench = Bench()
    bench.belief.order = OFF | LEAD
    bench.bob(LAG, 2)
    bench.belief.order = OFF
    bench.bob(LAG, 1)
    assert (bench.belief.order, bench.belief.suspect) == (0, LAG)


def test_l2_a_second_fickle_one_does_not_clear_the_first():
    bench = Bench()
    bench.bob(HIGH, 3)
    bench.go(0)
    assert bench.bob(LAG, 3) == LAG | HIGH
    assert bench.belief.evidence == LAG | HIGH


# Where current is sensed ---------------------------------------------------------------------------


@pytest.mark.parametrize("wet", range(16))
def test_r1_the_one_that_rose_last_over_nothing_wet_is_what_called(wet):
    for rose in range(1, 16):
        if rose & ~wet:
            continue
        bench = Bench(wet=wet & ~rose, sensing=WITH_CURRENT)
        bench.go(wet)
        alone = rose in (OFF, LEAD, LAG, HIGH) and not wet & (rose - 1)
        assert bench.belief.raised == (rose if alone else 0), rose
        bench.go(wet)
        bench.go(0)
        assert bench.belief.raised == (rose if alone else 0), "until another rises"
        bench = Bench(wet=wet & ~rose)
        bench.go(wet)
        assert bench.belief.raised == 0, "where nothing is sensed R1 finds nothing"


@pytest.mark.parametrize("bit", [LEAD, LAG, HIGH])
def test_l2_one_that_called_into_an_empty_pit_twice_running_is_fickle(bit):
    bench = Bench(sensing=WITH_CURRENT)
    bench.go(bit)
    bench.belief.order = OFF
    bench.belief.found_dry(bit, bit)
    assert (bench.belief.fickle, bench.belief.dried, bench.belief.order) == (0, bit, OFF)
    bench.go(0)
    assert bench.belief.dried == bit, "its own moves do not matter"
    bench.go(bit)
    bench.belief.order = OFF
    bench.belief.found_dry(bit, bit)
    belief = bench.belief
    assert (belief.fickle, belief.evidence, belief.suspect, belief.wet, belief.order) == (bit, bit, bit, 0, 0)


@pytest.mark.parametrize("bit", [LEAD, LAG, HIGH])
def test_l2_an_empty_pit_with_nothing_wet_is_laid_to_who_rose_last(bit):
    bench = Bench(sensing=WITH_CURRENT)
    for dried, fickle in ((bit, 0), (bit, bit)):
        bench.go(bit)
        bench.go(0)
        bench.belief.no_water(0)
        assert (bench.belief.dried, bench.belief.fickle) == (dried, fickle)


@pytest.mark.parametrize("other", [OFF, LEAD, HIGH])
def test_l2_another_contact_that_moves_between_two_empty_pits_was_the_water(other):
    bench = Bench(sensing=WITH_CURRENT)
    bench.go(LAG)
    bench.belief.found_dry(LAG, LAG)
    bench.go(LAG | other)
    assert bench.belief.dried == 0
    bench.go(LAG)
    bench.belief.found_dry(LAG, LAG)
    assert (bench.belief.fickle, bench.belief.dried) == (0, LAG)


def test_l2_only_those_that_called_both_times_are_fickle():
    belief = Bench(sensing=WITH_CURRENT).belief
    belief.found_dry(LEAD | LAG, 0)
    belief.found_dry(LAG | HIGH, 0)
    assert (belief.fickle, belief.dried) == (LAG, LAG | HIGH)
    belief.found_dry(0, 0)
    assert (belief.fickle, belief.dried) == (LAG, 0)


# Believed again ------------------------------------------------------------------------------------


def fickle(mask, wet=0, **overrides):
    """A bench in which `mask` is fickle, and none else a suspect."""
    bench = Bench(wet, **overrides)
    bench.belief.found_dry(mask, wet)
    bench.belief.found_dry(mask, wet)
    bench.belief.dried = 0
    assert bench.belief.fickle == bench.belief.suspect == mask
    return bench


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_CURRENT])
def test_l2_a_fickle_one_that_stands_wet_for_long_is_believed_again(sensing):
    bench = fickle(LAG, sensing=sensing)
    assert bench.go(LAG) == LAG
    assert bench.go(LAG, STANDS_MS - 100) == LAG
    assert bench.go(LAG, 100) == 0
    assert (bench.belief.evidence, bench.belief.suspect, bench.belief.wet) == (0, 0, LAG)
    assert not bench.timers.running(tm.FICKLE)
    assert bench.go(LAG, 100) == 0


def test_l2_one_that_was_believed_again_is_fickle_only_after_three_more_rises():
    bench = Bench()
    bench.bob(LAG, 3)
    assert bench.go(LAG, STANDS_MS) == 0
    assert bench.go(LAG, 100) == 0
    assert bench.bob(LAG, 2) == 0
    assert bench.bob(LAG, 1) == LAG


def test_l2_a_fickle_one_that_goes_dry_in_between_or_is_dry_stays_fickle():
    bench = fickle(LAG)
    bench.go(LAG)
    assert bench.go(LAG, 40_000) == LAG
    assert bench.go(0, 100) == LAG
    assert not bench.timers.running(tm.FICKLE)
    assert bench.go(LAG, 100) == LAG
    assert bench.go(LAG, STANDS_MS - 100) == LAG
    assert bench.go(LAG, 100) == 0
    bench = fickle(LAG)
    assert bench.go(0, STANDS_MS) == LAG
    assert bench.go(OFF, STANDS_MS) == bench.go(OFF, STANDS_MS) == LAG, "another one's water is not its own"


def test_l2_of_two_fickle_ones_each_move_begins_the_time_anew_and_only_wet_ones_are_believed():
    bench = fickle(LAG | HIGH)
    bench.go(LAG)
    bench.go(LAG | HIGH, 30_000)
    assert bench.go(LAG | HIGH, STANDS_MS - 100) == LAG | HIGH
    bench.go(LAG, 0)
    assert bench.go(LAG, STANDS_MS - 100) == LAG | HIGH
    assert bench.go(LAG, 100) == HIGH
    assert (bench.belief.evidence, bench.belief.wet) == (HIGH, LAG)


def test_l2_a_suspect_on_other_evidence_is_not_believed_for_standing_wet():
    bench = fickle(LAG, wet=LEAD)
    bench.belief.make_suspect(LEAD, LEAD)
    bench.go(LEAD | LAG)
    bench.go(LEAD | LAG, STANDS_MS)
    assert (bench.belief.evidence, bench.belief.fickle) == (LEAD, 0)


@pytest.mark.parametrize("fitted", [15, 14])
@pytest.mark.parametrize("below", range(4))
def test_l2_a_fickle_one_is_believed_at_once_when_it_rises_with_every_one_below_it_wet(fitted, below):
    below &= fitted
    bench = fickle(LAG, wet=below, fitted=fitted)
    honest = fitted & (OFF | LEAD) & ~below == 0
    assert bench.go(below | LAG) == (0 if honest else LAG)
    assert bench.belief.evidence == (0 if honest else LAG)
    assert bool(bench.belief.wet & LAG) is honest


@pytest.mark.parametrize("wet", [LAG, OFF | LAG, OFF | LEAD | LAG])
def test_l2_the_fall_of_a_fickle_one_proves_nothing(wet):
    bench = fickle(LAG, wet=wet)
    assert bench.go(wet & ~LAG) == LAG
    assert bench.belief.evidence == LAG


@pytest.mark.parametrize("lag", [0, LAG])
def test_l2_a_move_of_another_over_wet_ones_is_not_the_fickle_one_s(lag):
    wet = OFF | LEAD | lag
    bench = fickle(LAG, wet=wet)
    for word in (wet | HIGH, wet, OFF | lag, wet):
        assert bench.go(word) == LAG
        assert bench.belief.evidence == LAG


def test_l2_a_suspect_that_was_never_fickle_is_believed_at_its_rise_whatever_lies_below():
    bench = fickle(HIGH)
    bench.belief.make_suspect(LAG, 0)
    bench.go(LAG)
    assert (bench.belief.evidence, bench.belief.wet) == (HIGH, LAG)


@pytest.mark.parametrize("how", ["reset", "begin"])
def test_l2_a_reset_and_a_power_up_forget_it_all(how):
    names = ["order", "evidence", "wiring", "over", "missed", "before", "fickle", "bobber", "bobs", "raised", "dried"]
    belief = Bench().belief
    for name in names:
        setattr(belief, name, 3)
    belief.reset() if how == "reset" else belief.begin(0)
    assert {name: getattr(belief, name) for name in names} == dict.fromkeys(names, 0)


@pytest.mark.parametrize("wet", range(16))
def test_l6_water_that_answers_shows_high_to_be_right_and_what_is_dry_below_it_dead(wet):
    belief = Bench(wet).belief
    belief.order, belief.evidence, belief.fickle = HIGH | LAG, HIGH | LEAD, HIGH | OFF
    was = (belief.wet, belief.dry)
    belief.prove_high(wet)
    dead = ~wet & (OFF | LEAD | LAG)
    assert (belief.order, belief.evidence, belief.fickle) == (LAG, LEAD | dead, OFF), "what is said of the others stays"
    suspect = LAG | LEAD | dead
    assert (belief.wet, belief.dry) == was, "from the next step on, so that belief and demand go together"
    belief.step(wet, 0, 0, False)
    assert (belief.wet, belief.dry) == (wet & ~suspect, ~wet & 15 & ~suspect)


# One that chatters ---------------------------------------------------------------------------------


def apart(wet, rising, chatters, fitted=15):
    """The suspects by order once the contacts have stood so for `sequence_time`."""
    bench = Bench(wet, fitted)
    bench.belief.chatters = chatters
    bench.belief.rising = rising
    bench.go(wet)
    bench.go(wet, 20_000)
    return bench.belief.order


@pytest.mark.parametrize("rising", [0, 1])
@pytest.mark.parametrize(("wet", "chatters", "suspects"), [
    (OFF | LAG, LAG, LAG),  # over an off that hangs: the lead between them is honest
    (LAG | HIGH, HIGH, LAG | HIGH), (LAG | HIGH, LAG, LAG | HIGH),
    (LEAD, LEAD, LEAD), (OFF | LEAD | HIGH, HIGH, HIGH),
])  # fmt: skip
def test_l2_with_two_equally_small_explanations_the_one_that_chatters_is_taken(wet, rising, chatters, suspects):
    # Nights 8496, 5722 and 20399 of seed 91001: no current sensed, both pumps ran dry for as long as it chattered.
    assert apart(wet, rising, chatters) == suspects


@pytest.mark.parametrize(("rising", "suspects"), [(0, LEAD | HIGH), (1, OFF | HIGH)])
def test_l2_of_two_with_one_that_chatters_the_last_edge_decides(rising, suspects):
    assert apart(LEAD | HIGH, rising, HIGH) == suspects


@pytest.mark.parametrize("chatters", [0, LEAD | HIGH | OFF | LAG])
@pytest.mark.parametrize(("rising", "suspects"), [(0, LEAD | HIGH), (1, OFF | LAG)])
def test_l2_where_none_or_one_on_either_side_chatters_the_last_edge_decides(chatters, rising, suspects):
    assert apart(LEAD | HIGH, rising, chatters) == suspects


@pytest.mark.parametrize("rising", [0, 1])
def test_l2_however_many_of_them_chatter_the_fewest_are_taken(rising):
    assert apart(LEAD | LAG, rising, LEAD | LAG) == OFF


def test_l2_one_that_chatters_proves_no_miss():
    # Night 18323 of seed 91001: off found out, high began to chatter; its first turn and its second condemned lead and
    # lag, and both pumps ran dry for 70 min.
    for chatters, dead in ((0, LEAD | LAG), (HIGH, 0)):
        bench = Bench(OFF)
        bench.belief.make_suspect(OFF, OFF)
        bench.go(OFF | HIGH)
        bench.go(OFF)
        bench.belief.chatters = chatters
        bench.go(OFF | HIGH)
        assert bench.belief.order == dead
