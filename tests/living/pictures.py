"""The README's pictures of the living pit: `python -m tests.living.pictures [FOLDER]`; look at them before you commit.

Wide: the page of `sumpbench live`, pump 1 jammed in an inflow of 20 gpm.  Narrow: the plain files of `sumpbench page`
on a phone, the same session proved.
"""

import base64
import sys
import tempfile
from pathlib import Path

from tests.living.pages import Files, Served, Window, break_it, built, choose, click, speed, until

FOLDER = Path(__file__).resolve().parents[2] / "host_sim" / "living" / "pictures"
WIDE_PX, NARROW_PX, HIGH_PX = 1180, 380, 1180


def picture(window, path, width_px, top="document.body", high_px=HIGH_PX):
    """Write what stands below an element as a WebP file."""
    y = window.value(f"({top}).getBoundingClientRect().top + scrollY")
    clip = {"x": 0, "y": y, "width": width_px, "height": high_px, "scale": 1}
    shot = window._call("Page.captureScreenshot", format="webp", quality=70, clip=clip, captureBeyondViewport=True)
    path.write_bytes(base64.b64decode(shot["data"]))
    print(f"{path}: {path.stat().st_size} bytes")


def jammed(window):
    """Bring the page to a jam in the middle of an inflow, standing still."""
    choose(window, "inflow", "20")
    speed(window, 600)
    window.until("document.getElementById('clock').value > '19:40'")
    break_it(window, "pump1-jammed")
    until(window, "alarm-list", "pump 1 unavailable")
    window.until("document.getElementById('clock').value > '20:30'")
    until(window, "why", "Pump 2 runs")
    speed(window, 0)
    window.value("document.querySelector('#alarm-list details').open = true")
    window.value("new Promise(go => setTimeout(go, 800))")


def main(folder):
    """Take both pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, Window(Path(work)) as window:
        with Served() as url:
            window.begin(url, WIDE_PX)
            jammed(window)
            picture(window, folder / "served.webp", WIDE_PX)
        with Files(built(Path(work) / "page")) as url:
            window.begin(url, NARROW_PX)
            jammed(window)
            click(window, "prove")
            until(window, "verdict", "Agreed")
            picture(window, folder / "phone.webp", NARROW_PX, "document.getElementById('pits')")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
