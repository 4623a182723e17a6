"""The proof in the page: MicroPython for 32 bits repeats sessions step by step, and tells the first difference."""

import copy
import json
import subprocess
from importlib import resources

import pytest

from host_sim.living import files
from host_sim.living.shadow import Witnessed
from tests.living.test_session import session, someone
from tests.micropython import places

SEED = 4100


def told(pit):
    """Return all messages of a session's proof: the first, then rows until the end."""
    proof = Witnessed(pit)
    messages = [{"first": proof.first()}]
    while not messages[-1].get("end"):
        messages.append(proof.more())
    return messages


def lived(seed):
    """Return the messages of a session as a person might have had it."""
    pit = session(own=bool(seed % 2))
    someone(pit, seed)
    return told(pit)


def repeated(tmp_path, sessions, firmware=None):
    """Return what MicroPython says of each session, given as lists of messages."""
    (tmp_path / "firmware.json").write_text(firmware or files.firmware())
    (tmp_path / "sessions").write_text("\n".join(json.dumps(message) for messages in sessions for message in messages))
    web = resources.files("host_sim.living") / "web"
    run = [places.node(), str(places.ROOT / "tests/living/shadow_node.mjs"), places.wasm(), str(web),
           str(tmp_path / "firmware.json"), str(tmp_path / "sessions")]  # fmt: skip
    done = subprocess.run(run, capture_output=True, text=True, check=False, timeout=3600)
    assert done.returncode == 0, done.stderr[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


def agree(tmp_path, seeds):
    """Hold sessions by seed against their shadows; return the steps and values compared."""
    sessions = [lived(seed) for seed in seeds]
    found = repeated(tmp_path, sessions)
    assert len(found) == len(seeds)
    steps = values = 0
    for seed, messages, one in zip(seeds, sessions, found, strict=True):
        rows = [row for message in messages for row in message.get("rows", [])]
        here = sum(row[0] == "step" for row in rows)
        assert messages[-1]["same"], seed
        assert one["wrong"] is None, (seed, one["wrong"])
        assert one["steps"] == here > 100, seed
        assert one["changes"] > 3 and one["bits"] == 31, seed
        steps, values = steps + one["steps"], values + one["compared"]
    print(f"seeds {seeds[0]} to {seeds[-1]}: {steps} steps, {values} values, no difference")
    return steps, values


def test_what_is_told_to_the_shadow_is_what_was_lived():
    pit = session()
    pit.do("inflow", "20 gpm")
    pit.advance(600000)
    pit.do("mains", "off")
    pit.advance(1200000)
    messages = told(pit)
    rows = [row for message in messages for row in message.get("rows", [])]
    assert messages[-1]["same"] and [row[0] for row in rows[:1]] == ["up"]
    assert [row[1] for row in rows] == sorted(row[1] for row in rows) and rows[-1][1] <= pit.now_ms
    outputs = [row[4] for row in rows if row[0] == "step"]
    lived_outputs = [record.outputs for record in pit.pair.night.control.records if hasattr(record, "outputs")]
    assert [out for n, out in enumerate(outputs) if not n or out != outputs[n - 1]] == [
        out for n, out in enumerate(lived_outputs) if not n or out != lived_outputs[n - 1]]  # fmt: skip
    pit.pair.night.control.records.pop()
    assert not told(pit)[-1]["same"]


@pytest.mark.long
def test_a_handful_of_random_sessions_agrees_with_the_shadow(tmp_path):
    agree(tmp_path, range(SEED, SEED + 4))


@pytest.mark.campaign
def test_a_hundred_random_sessions_agree_with_the_shadow(tmp_path):
    steps, _ = agree(tmp_path, range(SEED, SEED + 100))
    assert steps > 100_000


@pytest.mark.long
def test_one_wrong_output_a_wrong_due_time_and_a_wrong_firmware_are_told(tmp_path):
    messages = lived(SEED)
    place = next(n for n, row in enumerate(messages[1]["rows"]) if n > 60 and row[0] == "step")
    outputs, due = copy.deepcopy(messages), copy.deepcopy(messages)
    outputs[1]["rows"][place][4][0] ^= 1
    due[1]["rows"][place][5] += 100
    found = repeated(tmp_path, [outputs, due])
    assert [one["wrong"]["what"] for one in found] == ["outputs", "next due"]
    assert {one["wrong"]["ms"] for one in found} == {messages[1]["rows"][place][1]}
    firmware = json.loads(files.firmware())
    name = "duplexsump/control/demand.py"
    assert "demand" in firmware[name]
    firmware[name] = firmware[name].replace("        self.demand = demand\n", "        self.demand = 2\n", 1)
    assert firmware[name] != json.loads(files.firmware())[name]
    assert repeated(tmp_path, [messages], json.dumps(firmware))[0]["wrong"] is not None
