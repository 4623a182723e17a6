"""How large the firmware is on the board: bytes of each compiled module, as a table that CI prints."""

import pytest

from host_sim.board.deploy import compile_firmware
from host_sim.board.virtual import FIRMWARE

# What may lie in an RP2040's 230 kB of heap beside the state: a limit against growth nobody noticed.
MOST_STATION, MOST_BOARD = 60_000, 5_000


@pytest.mark.long
@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_the_compiled_firmware_fits(tmp_path, board, capsys):
    assert compile_firmware(FIRMWARE, tmp_path / "build", board) == 6
    build = tmp_path / "build"
    sizes = {str(path.relative_to(build)): path.stat().st_size for path in build.rglob("*.mpy")}
    with capsys.disabled():
        print(f"\n.mpy bytes, board {board}")
        for name, size in [*sorted(sizes.items()), ("all", sum(sizes.values()))]:
            print(f"{size:7d}  {name}")
    assert sizes["station/run.mpy"] < MOST_STATION  # the core with it
    assert sizes[f"boards/{board}.mpy"] < MOST_BOARD
    assert not any(name.startswith("boards/posix") for name in sizes)
