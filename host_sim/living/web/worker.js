// The pit in a worker: Pyodide runs the simulator and the firmware; the messages are those of the WebSocket.
import { loadPyodide } from "./pyodide/pyodide.mjs";

const FRAME_MS = 50;
const waiting = [];
let engine = null;
onmessage = event => engine ? hear(event.data) : waiting.push(event.data);

function hear(text) { JSON.parse(engine.hear(text)).forEach(answer => postMessage(JSON.stringify(answer))); }

async function begin() {
  const fetched = fetch(new URL("./bundle.zip", import.meta.url));
  const python = await loadPyodide({ indexURL: new URL("./pyodide/", import.meta.url).href, env: { SUMPBENCH_CORE: "pure", HOME: "/home" } });
  const bundle = await fetched;
  if (!bundle.ok) throw new Error("bundle.zip is missing: build the page anew");
  python.unpackArchive(await bundle.arrayBuffer(), "zip", { extractDir: "/pit" });
  python.runPython("import sys; sys.path.insert(0, '/pit')");
  engine = python.pyimport("host_sim.living.in_browser");
  postMessage(engine.begin());
  waiting.splice(0).forEach(hear);
  let last = performance.now();
  for (;;) {
    const now = performance.now();
    postMessage(engine.look(now - last));
    last = now;
    await new Promise(go => setTimeout(go, FRAME_MS));
  }
}

begin().catch(error => postMessage(JSON.stringify({ error: `the pit cannot be run in this browser: ${error.message}` })));
