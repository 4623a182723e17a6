// The page's own shadow in Node: node shadow_node.mjs MICROPYTHON.MJS WEB FIRMWARE.JSON SESSIONS
// SESSIONS has one JSON text a line: {"first": ...} begins a session, {"rows": ...} goes on.  Prints what came of each.
import fs from "fs";
import path from "path";
import { pathToFileURL } from "url";

const [build, web, firmware, sessions] = process.argv.slice(2);
process.argv.length = 1; // the build itself would take the arguments for its own
const { loadMicroPython } = await import(pathToFileURL(build).href);
const { shadow } = await import(pathToFileURL(path.join(web, "shadow.js")).href);
const files = JSON.parse(fs.readFileSync(firmware, "utf8")), script = fs.readFileSync(path.join(web, "shadow.py"), "utf8");
const python = await shadow(loadMicroPython, { heapsize: 16 * 1024 * 1024 }, files, script);
let done = null;
const tell = () => { if (done) console.log(JSON.stringify(done)); };
for (const line of fs.readFileSync(sessions, "utf8").split("\n").filter(Boolean)) {
  const message = JSON.parse(line);
  if (message.first) {
    tell();
    done = { ...python.begin(message.first.settings), changes: 0 };
  } else {
    const { changes, ...rest } = python.repeat(message.rows);
    done = { ...done, ...rest, changes: done.changes + changes.length };
  }
}
tell();
