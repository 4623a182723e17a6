"""What pumping costs the flash, on the real LittleFS of a Pico's size: erases a cycle, and the life that follows."""

import os

import pytest

from tests.micropython.places import mp64

BLOCKS = 352  # of 4096 bytes: the file system of a 2 MB Pico
ENDURANCE = 100_000  # erases that a block of NOR flash bears; makers' data sheets, from memory
CYCLES_AN_HOUR = 29  # what the code-minimum pit makes of each of two pumps at worst
HOURS = 24 if os.environ.get("SUMPBENCH_FULL") else 4


@pytest.mark.long
def test_a_flood_month_costs_a_small_part_of_the_flash_life():
    said = mp64("wear.py", BLOCKS, CYCLES_AN_HOUR, HOURS, 0).split()
    starts, records, flushes, size, erases, programmed, worst, longest_us, segments, rate = map(int, said)
    assert starts > 25 * HOURS
    month = erases / HOURS * 720
    ordinary = erases / starts * 24 * 365
    unevenness = max(1.0, worst / (erases / BLOCKS))
    print(
        f"{starts} cycles: {records} records, {flushes} flushes, {size} bytes, {segments} segments, {erases} erases "
        f"({erases / starts:.1f} a cycle), {programmed} bytes programmed, worst block {worst}, longest recording "
        f"{longest_us} us, {rate} records a second\nflood month {month:.0f} erases, {month / BLOCKS:.0f} a block; "
        f"year of one cycle an hour {ordinary:.0f}, {ordinary / BLOCKS:.0f} a block; "
        f"worst block {unevenness:.1f} times the mean"
    )
    assert erases / starts < 14
    # Even the most worn block must outlast two years of nothing but flood.
    assert month / BLOCKS * unevenness * 24 < ENDURANCE
