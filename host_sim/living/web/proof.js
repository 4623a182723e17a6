// The proof: the engine tells a session's steps, MicroPython in a worker repeats them, this file compares nothing itself.
const SHOWN = 300;

export class Proof {
  // `ask` sends to the engine, `place` finds an element, `clock` words a time in s.
  constructor(ask, place, clock) { Object.assign(this, { ask, place, clock, worker: null }); }

  start() {
    this.stop();
    this.names = [];
    this.told = 0;
    this.place("steps").replaceChildren();
    this.place("steps-box").hidden = true;
    this.place("progress").hidden = false;
    this.place("progress").value = 0;
    this.say("Loading MicroPython ...");
    this.worker = new Worker("shadow_worker.js", { type: "module" });
    this.worker.onmessage = event => this.hear(event.data);
    this.worker.onerror = event => this.fail(event.message || "its files are not there");
    this.ask({ prove: "first" });
  }

  stop() { this.worker?.terminate(); this.worker = null; this.place("progress").hidden = true; }
  say(words) { this.place("verdict").textContent = words; }
  fail(words) {
    this.stop();
    this.ask({ prove: "end" });
    this.say(`Not proved: MicroPython cannot be run here: ${words}. A page served by sumpbench live needs MicroPython from npm: npm install --prefix .npm @micropython/micropython-webassembly-pyscript, then start it again.`);
  }

  // From the engine.
  take(message) {
    if (!this.worker) return;
    if (message.first) { this.first = message.first; this.names = message.first.outputs; this.worker.postMessage({ first: message.first }); return; }
    this.last = message;
    this.worker.postMessage({ rows: message.rows });
  }

  // From MicroPython.
  hear(message) {
    if (!this.worker) return;
    if (message.error) { this.fail(message.error); return; }
    if (message.begun) { this.machine = message.begun; this.ask({ prove: "more" }); return; }
    const done = message.done;
    this.show(done);
    if (done.wrong) { this.stop(); this.ask({ prove: "end" }); this.differs(done.wrong); return; }
    this.place("progress").value = this.first.until_ms ? this.last.at_ms / this.first.until_ms : 1;
    if (!this.last.end) { this.say(`${done.steps} steps so far, every output agrees.`); this.ask({ prove: "more" }); return; }
    this.stop();
    this.say(this.last.same ? `Agreed: ${done.steps} steps, ${done.compared} values compared (every output, the next due time, and the whole state at each power-up and power-down), no difference. Firmware ${this.first.firmware}, MicroPython ${this.machine.version}, whole numbers of ${this.machine.bits} bits.`
      : "Not proved: run once more, the simulator gave another session than the one that was seen.");
  }

  differs(wrong) {
    this.say(`DIFFERENT at ${this.clock(wrong.ms / 1000)}, step ${wrong.step}: ${wrong.what}. MicroPython ${JSON.stringify(wrong.here)}, simulator ${JSON.stringify(wrong.there)}.`);
  }

  show(done) {
    for (const [ms, out] of done.changes) {
      if (this.told++ >= SHOWN) continue;
      this.place("steps-box").hidden = false;
      const row = this.place("steps").insertRow();
      row.insertCell().textContent = this.clock(ms / 1000);
      row.insertCell().textContent = this.names.filter((name, i) => out[i]).join(", ") || "none";
      row.insertCell().textContent = done.wrong?.ms === ms ? "DIFFERENT" : "the same";
    }
  }
}
