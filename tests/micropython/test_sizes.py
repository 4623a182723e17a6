"""How large the firmware is on the board: bytes of each compiled module, as a table that CI prints."""

import pytest

from host_sim.board.deploy import compile_firmware
from host_sim.board.virtual import FIRMWARE

# What may lie in an RP2040's 240 kB of heap beside the state: a limit against growth nobody noticed.
MOST_CONTROL, MOST_STATION = 72_000, 36_000


@pytest.mark.long
@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_the_compiled_firmware_fits(tmp_path, board, capsys):
    assert compile_firmware(FIRMWARE, tmp_path / "build", board) > 35
    build = tmp_path / "build"
    sizes = {str(path.relative_to(build)): path.stat().st_size for path in build.rglob("*.mpy")}
    parts = {"control": 0, "station": 0, "boards": 0}
    for name, size in sizes.items():
        if "/" in name:
            parts[name.split("/")[0]] += size
    with capsys.disabled():
        print(f"\n.mpy bytes, board {board}")
        for name, size in [*sorted(sizes.items()), *((f"{part}, all", size) for part, size in parts.items())]:
            print(f"{size:7d}  {name}")
    assert parts["control"] < MOST_CONTROL
    assert parts["station"] < MOST_STATION
    assert not any(name.startswith("boards/posix") for name in sizes)
