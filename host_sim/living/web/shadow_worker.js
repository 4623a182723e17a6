// MicroPython in a worker of its own: {first} begins, {rows} are repeated; each is answered.
import { shadow } from "./shadow.js";

let running = null;
const fetched = async name => { const got = await fetch(new URL(name, import.meta.url)); if (!got.ok) throw new Error(`${name} cannot be had`); return got; };

async function begin(settings) {
  const { loadMicroPython } = await import("./micropython/micropython.mjs");
  const files = await (await fetched("firmware.json")).json(), script = await (await fetched("shadow.py")).text();
  const url = new URL("micropython/micropython.wasm", import.meta.url).href;
  running = await shadow(loadMicroPython, { url, heapsize: 16 * 1024 * 1024 }, files, script);
  return running.begin(settings);
}

onmessage = async event => {
  try {
    postMessage(event.data.first ? { begun: await begin(event.data.first.settings) } : { done: running.repeat(event.data.rows) });
  } catch (error) { postMessage({ error: String(error.message || error) }); }
};
