"""Headless Chromium as a judge of pages: what it prints, and where it puts every text.

It is driven through its own debugging pipe (Chrome DevTools Protocol), so nothing
needs to be installed beside it.  Where there is no Chromium the tests that need it
are skipped by `needed`.
"""

import base64
import itertools
import json
import os
import re
import shutil
import subprocess

import pytest

PATH = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
needed = pytest.mark.skipif(PATH is None, reason="no Chromium to look at pages with")
LIMIT_S = 120.0
PX_MM = 96.0 / 25.4
# Every text as it is set: one box for each line of each text node, with the words in it; and every drawing.
BOXES = """(() => {
  const found = [];
  const seen = element => element.checkVisibility();
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode;
    if (!node.data.trim() || !seen(node.parentElement)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of range.getClientRects())
      if (r.width > 0.5)
        found.push([node.data.trim().slice(0, 60), r.left, r.top + scrollY, r.right, r.bottom + scrollY]);
  }
  for (const one of document.querySelectorAll("svg")) if (seen(one)) {
    const r = one.getBoundingClientRect();
    found.push(["drawing " + one.getAttribute("aria-label"), r.left, r.top + scrollY, r.right, r.bottom + scrollY]);
  }
  return JSON.stringify(found);
})()"""
# How many lines each word takes that must not be broken.
WORDS = """JSON.stringify([...document.querySelectorAll(".word")].map(
  one => [one.textContent, one.getClientRects().length]))"""
SHEETS = """JSON.stringify([...document.querySelectorAll(".sheet")].map(one => {
  const r = one.getBoundingClientRect(); return [r.width, r.height, one.scrollWidth - one.clientWidth]; }))"""


class Browser:
    """One headless Chromium with one page; use it in a `with`."""

    def __init__(self, folder):
        (to_read, self.to_write), (self.to_hear, from_write) = os.pipe(), os.pipe()

        def pipes():
            os.dup2(to_read, 13)
            os.dup2(from_write, 14)
            os.dup2(13, 3)
            os.dup2(14, 4)

        self.process = subprocess.Popen(
            [PATH, "--headless", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe",
             f"--user-data-dir={folder / 'profile'}"],
            preexec_fn=pipes, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_read)
        os.close(from_write)
        self.count, self.rest, self.session = itertools.count(1), b"", None
        target = self._call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self._call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        self._call("Page.enable")

    def __enter__(self):
        return self

    def __exit__(self, *left):
        self.process.kill()
        self.process.wait(LIMIT_S)
        os.close(self.to_write)
        os.close(self.to_hear)

    def _call(self, method, **params):
        number = next(self.count)
        asked = {"id": number, "method": method, "params": params}
        if self.session:
            asked["sessionId"] = self.session
        os.write(self.to_write, json.dumps(asked).encode() + b"\0")
        while True:
            said = self._hear()
            if said.get("id") == number:
                assert "error" not in said, said
                return said["result"]

    def _hear(self):
        while b"\0" not in self.rest:
            more = os.read(self.to_hear, 1 << 20)
            assert more, "Chromium has ended"
            self.rest += more
        text, _, self.rest = self.rest.partition(b"\0")
        return json.loads(text)

    def show(self, path, width_px, media="screen"):
        """Open a file in a window of a width, as on the screen or as in print."""
        self._call("Emulation.setDeviceMetricsOverride", width=round(width_px), height=900, deviceScaleFactor=1,
                   mobile=False)  # fmt: skip
        self._call("Emulation.setEmulatedMedia", media=media)
        self._call("Page.navigate", url=path.as_uri())
        while self._hear().get("method") != "Page.loadEventFired":
            pass

    def _value(self, script):
        return json.loads(self._call("Runtime.evaluate", expression=script)["result"]["value"])

    def boxes(self):
        """Return [(words, left, top, right, bottom)] in px of every line of text and every drawing that is seen."""
        return [tuple(box) for box in self._value(BOXES)]

    def sheets(self):
        """Return [(width, height, what is wider than it)] of the sheets, in mm."""
        return [tuple(px / PX_MM for px in one) for one in self._value(SHEETS)]

    def least_pt(self, selector):
        """Return the smallest type of any text within the elements of a selector, in points."""
        script = """(() => { let least = 1e9;
          for (const root of document.querySelectorAll(%s)) {
            const walk = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
            while (walk.nextNode())
              if (walk.currentNode.data.trim() && walk.currentNode.parentElement.checkVisibility())
                least = Math.min(least, parseFloat(getComputedStyle(walk.currentNode.parentElement).fontSize)); }
          return JSON.stringify(least); })()"""
        return self._value(script % json.dumps(selector)) * 72.0 / 96.0

    def words(self):
        """Return [(word, lines it stands on)] of the words that must not be broken."""
        return [tuple(one) for one in self._value(WORDS)]

    def width(self):
        """Return what there is to scroll to, across, in px."""
        return self._value("JSON.stringify(document.documentElement.scrollWidth)")

    def print(self, inches):
        """Return the page printed on paper of (width, height) as a PDF's bytes; margins are the page's own."""
        printed = self._call("Page.printToPDF", paperWidth=inches[0], paperHeight=inches[1], preferCSSPageSize=True,
                             printBackground=True)  # fmt: skip
        return base64.b64decode(printed["data"])


def pages_of(pdf):
    """Return the number of pages of a PDF that Chromium made."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def overlaps(boxes, least_px=1.5):
    """Return the pairs of boxes that lie on each other by more than so much both ways."""
    found, rows = [], sorted(boxes, key=lambda box: box[2])
    for i, one in enumerate(rows):
        for other in rows[i + 1 :]:
            if other[2] > one[4] - least_px:
                break
            across = min(one[3], other[3]) - max(one[1], other[1])
            down = min(one[4], other[4]) - max(one[2], other[2])
            if across > least_px and down > least_px:
                found.append((one[0], other[0], round(across), round(down)))
    return found
