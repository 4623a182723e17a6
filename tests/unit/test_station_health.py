"""M5: how many resets lie close together, from life to life, and the reason that the life before left."""

import pytest
from duplexsump.station import health as h


def life(folder, cause, minutes=0):
    """Begin a life, let it last so many minutes one by one; return (mode, its Health, the first minute's word)."""
    made = h.Health(str(folder), cause)
    mode = made.begin()
    firsts = [made.minutes(minute) for minute in range(1, minutes + 1)]
    return mode, made, firsts


def test_three_watchdog_resets_within_ten_minutes_lead_to_control_only_and_a_fourth_to_floats_only(tmp_path):
    modes = [life(tmp_path, h.WATCHDOG, 1)[0] for _ in range(4)]
    assert modes == [h.FULL, h.FULL, h.CONTROL_ONLY, h.MINIMAL]


@pytest.mark.parametrize(("minutes", "mode"), [(4, h.CONTROL_ONLY), (5, h.FULL), (6, h.FULL)])
def test_what_lies_ten_minutes_back_does_not_count(tmp_path, minutes, mode):
    assert life(tmp_path, h.WATCHDOG, minutes)[0] == h.FULL
    assert life(tmp_path, h.WATCHDOG, 5)[0] == h.FULL
    last, made, _ = life(tmp_path, h.WATCHDOG)
    # The first lies `minutes` + 5 back: 9 counts, 10 does not.
    assert last == mode
    assert made.ages == ([9, 5, 0] if mode == h.CONTROL_ONLY else [5, 0])


def test_ages_grow_by_the_minutes_lived_and_are_written_down_each_minute(tmp_path):
    _, made, _ = life(tmp_path, h.WATCHDOG, 3)
    assert made.ages == [3]
    assert (tmp_path / "boots").read_text() == "3"
    made.minutes(9)
    assert made.ages == [9] and (tmp_path / "boots").read_text() == "9"
    made.minutes(10)
    assert made.ages == [] and (tmp_path / "boots").read_text() == ""


def test_an_ordinary_life_writes_nothing_where_nothing_stood(tmp_path):
    life(tmp_path, h.POWER_ON, 3)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("cause", [h.POWER_ON, h.ASKED])
def test_a_reset_that_was_no_fault_ends_the_count(tmp_path, cause):
    for _ in range(2):
        life(tmp_path, h.WATCHDOG, 1)
    assert (tmp_path / "boots").read_text() == "2 1"
    mode, made, _ = life(tmp_path, cause)
    assert (mode, made.ages, (tmp_path / "boots").read_text()) == (h.FULL, [], "")
    assert life(tmp_path, h.WATCHDOG)[0] == h.FULL


@pytest.mark.parametrize("cause", [h.POWER_ON, h.WATCHDOG])
def test_the_first_minute_is_told_once(tmp_path, cause):
    _, made, firsts = life(tmp_path, cause, 3)
    assert firsts == [True, False, False]
    assert made.minutes(3) is False and made.minutes(2) is False


def test_a_reason_is_told_to_one_life_and_no_more_and_not_at_length(tmp_path):
    first = h.Health(str(tmp_path), h.POWER_ON)
    assert first.reason == ""
    first.record("x" * 300)
    _, second, _ = life(tmp_path, h.WATCHDOG)
    assert second.reason == "x" * 160
    _, third, _ = life(tmp_path, h.POWER_ON)
    assert third.reason == "" and not (tmp_path / "reason").exists()


@pytest.mark.parametrize("text", ["a b", "1 2 x", "\xff" * 50])
def test_a_record_that_is_none_counts_as_empty(tmp_path, text):
    (tmp_path / "boots").write_bytes(text.encode("latin-1"))
    mode, made, _ = life(tmp_path, h.WATCHDOG)
    assert (mode, made.ages) == (h.FULL, [0])


def test_without_a_folder_there_is_no_record_and_no_error(tmp_path):
    mode, made, _ = life(tmp_path / "none", h.WATCHDOG, 2)
    made.record("lost")
    assert (mode, made.ages, made.reason) == (h.FULL, [2], "")


@pytest.mark.parametrize(("age", "ages"), [(9, [9, 0]), (10, [0]), (11, [0])])
def test_a_reset_that_the_record_puts_ten_minutes_back_does_not_count(tmp_path, age, ages):
    (tmp_path / "boots").write_text(str(age))
    assert life(tmp_path, h.WATCHDOG)[1].ages == ages
