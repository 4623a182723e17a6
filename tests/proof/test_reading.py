"""Three quiet days with one fault, read by a person: one alarm, named, with what to do; of a blip nothing at all."""

import re

import pytest
from duplexsump.control import alarm_table as at
from typer.testing import CliRunner

from host_sim import alarm_words
from host_sim.cli import app
from host_sim.proof.told import months

TEXTS = {row[at.NAME]: row[at.TEXT] for row in at.TABLE}
QUIET = "flows = " + '[["0 s", "1 gpm"], ["30 d", "1 gpm"]]'


def read(tmp_path, house, fault, days=3):
    """Return what `sumpbench night` prints of quiet days with one fault, and the alarms of its timeline."""
    text = months.draw(1, 0, house, "dry", "").text
    text = re.sub(r"flows = \[.*\]", QUIET, text).replace("faults = []", f'faults = ["{fault}"]')
    site = tmp_path / "days.toml"
    site.write_text(text.replace(f'lasts = "{months.DAYS} d"', f'lasts = "{days} d"'), encoding="utf-8")
    result = CliRunner().invoke(app.app, ["night", str(site), "--out", str(tmp_path / "out"), "--no-baseline"])
    assert result.exit_code == 0, result.output
    timeline = (tmp_path / "out" / "timeline.txt").read_text(encoding="utf-8")
    return " ".join(result.output.split()), re.findall(r"(?:high|medium|low) alarm: (.*)", timeline)


@pytest.mark.long
@pytest.mark.parametrize(("house", "fault", "alarm"), [
    ("backup", "mains-lost@03:00+20min", "mains_lost"), ("backup", "battery-dead@20:00", "battery_failed"),
    ("pair", "pump1-worn@20:00", "pump_1_worn"),
])  # fmt: skip
def test_a_person_finds_one_alarm_named_with_what_to_do_and_what_not_to_do(tmp_path, house, fault, alarm):
    said, alarms = read(tmp_path, house, fault)
    assert alarms == [TEXTS[alarm]]
    words = alarm_words.of(alarm)
    for part in (words.wrong, words.do, words.never):
        assert part in said


@pytest.mark.long
def test_a_pump_too_worn_to_lift_the_water_is_told_once_though_it_is_locked_out_in_the_end(tmp_path):
    said, alarms = read(tmp_path, "pair", "pump1-worn=60%@20:00")
    assert alarms == ["pump 1 unavailable"]
    assert alarm_words.of("pump_1_unavailable").do in said and "pump 1: locked out" in said


@pytest.mark.long
def test_of_a_mains_blip_shorter_than_mains_grace_nobody_is_told(tmp_path):
    said, alarms = read(tmp_path, "backup", "mains-lost@03:00+30s")
    assert alarms == []
    assert "no alarm" in said and "What the alarms ask for" not in said
