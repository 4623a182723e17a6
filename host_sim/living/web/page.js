// The page: it draws what the engine tells and sends what the person does.  Nothing of the pit is worked out here.
import { draw } from "./pit.js";
import { Charts } from "./charts.js";
import { format } from "./units.js";

const $ = id => document.getElementById(id);
const HZ = 660;
let about = null, seen = null, engine = null, horn = null, told = "";
const charts = new Charts($("chart-level"), $("chart-flow"));

function served() {
  const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/pit`);
  socket.onmessage = event => hear(JSON.parse(event.data));
  socket.onclose = () => say("the engine has gone away: start it again and load this page anew");
  return text => { if (socket.readyState === 1) socket.send(text); };
}

function worker() {
  const pit = new Worker("worker.js", { type: "module" });
  pit.onmessage = event => hear(JSON.parse(event.data));
  pit.onerror = event => say(`the pit cannot be run in this browser: ${event.message}`);
  return text => pit.postMessage(text);
}

function connect() {
  const send = document.querySelector("meta[name=engine]").content === "worker" ? worker() : served();
  return message => { say(""); send(JSON.stringify(message)); };
}

function say(text) { $("error").textContent = text; }

function hear(message) {
  if (message.error) say(message.error);
  if (message.site) download(message.site);
  if (message.about) begin(message);
  if (message.fresh) { charts.clear(); $("lines").replaceChildren(); }
  if (message.story) { charts.add(message.story); message.story.lines.forEach(line); }
  if (message.state) show(message.state, message.speed);
}

function begin(message) {
  about = message.about;
  $("name").textContent = about.name;
  $("speeds").replaceChildren(...message.speeds.map(speed => {
    const one = document.createElement("button");
    one.type = "button";
    one.textContent = speed ? `${speed}x` : "Stand still";
    one.dataset.speed = speed;
    one.onclick = () => engine({ speed });
    return one;
  }));
  $("faults").replaceChildren(...about.faults.map(fault => new Option(fault.does, fault.name)));
  charts.floor(about.floor_m);
  doesWhat();
}

function doesWhat() {
  const fault = about?.faults.find(one => one.name === $("faults").value);
  $("does").textContent = fault ? `${fault.name}. What to expect: ${fault.says}.` : "";
}

function clock(s) {
  const all = Math.floor(about.begins_s + s), day = Math.floor(all / 86400);
  const two = n => String(n).padStart(2, "0");
  return (day ? `day ${day + 1} ` : "") + [Math.floor(all % 86400 / 3600), Math.floor(all % 3600 / 60), all % 60].map(two).join(":");
}

function line([s, text, weight]) {
  const item = document.createElement("li"), when = document.createElement("b");
  when.textContent = `${clock(s)}  `;
  item.className = `w${weight}`;
  item.append(when, text);
  $("lines").prepend(item);
  while ($("lines").childElementCount > 400) $("lines").lastChild.remove();
}

function show(state, speed) {
  seen = state;
  const pair = state.pair;
  $("clock").textContent = clock(state.t_ms / 1000);
  $("elapsed").textContent = `${(state.t_ms / 3600000).toFixed(2)} h after the start`;
  document.querySelectorAll("#speeds button").forEach(one => one.setAttribute("aria-pressed", String(+one.dataset.speed === speed)));
  draw($("pit-pair"), about, pair, true);
  draw($("pit-single"), about, state.single, false);
  caption("cap-pair", "Two pumps and the controller", pair);
  caption("cap-single", "The same water: one pump, one float switch, no battery", state.single);
  text("why", pair.why.map(one => `Pump ${one.pump} runs: ${one.words} (narrative ${one.clause}).`).join(" ") ||
    (pair.dead ? "The controller has no power." : "No pump is called."));
  $("mains").setAttribute("aria-pressed", String(!pair.mains));
  $("mains").textContent = pair.mains ? "Pull the mains plug" : "Put the mains back";
  ["selector1", "selector2"].forEach((name, n) => { if (document.activeElement !== $(name)) $(name).value = pair.selectors[n]; });
  if (document.activeElement !== $("inflow")) $("inflow").value = format.number("flow", pair.inflow_m3s);
  text("inflow-is", format.text("flow", pair.inflow_m3s));
  list("broken", Object.keys(state.broken));
  alarms(pair);
  ring(pair.outputs.horn);
  charts.show(state.t_ms / 1000, +$("window").value);
}

function text(id, words) { if ($(id).textContent !== words) $(id).textContent = words; }

function caption(id, words, water) {
  text(id, `${words}: water ${format.text("level", water.level_m)}${water.floor_wet ? ", WATER ON THE FLOOR" : ""}`);
}

function list(id, names) {
  if ($(id).dataset.names === names.join()) return;
  $(id).dataset.names = names.join();
  $(id).replaceChildren(...names.map(name => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button";
    button.textContent = `Repair ${name}`;
    button.onclick = () => engine({ do: "repair", value: name });
    item.append(button);
    return item;
  }));
}

function alarms(pair) {
  const on = Object.entries(pair.outputs).filter(([name, value]) => value && ["horn", "beacon", "light"].includes(name)).map(one => one[0]);
  text("outputs", `Sounding or lit: ${on.join(", ") || "nothing"}. Call for help, flood: ${pair.outputs.relay ? "no" : "CALLING"}; service: ${pair.outputs.service ? "no" : "CALLING"}.`);
  const key = JSON.stringify(pair.alarms.map(one => [one.name, one.standing]));
  if (key === told) return;
  told = key;
  $("alarm-list").replaceChildren(...(pair.alarms.length ? pair.alarms.map(box) : ["No alarm."]));
}

function box(alarm) {
  const one = document.createElement("details"), head = document.createElement("summary"), rows = document.createElement("dl");
  one.className = alarm.priority;
  one.open = alarm.priority === "high";
  head.textContent = `${alarm.priority} priority: ${alarm.text} (${alarm.standing})`;
  for (const [word, what] of [["What is wrong", "wrong"], ["Likely causes", "causes"], ["What to do", "do"], ["What not to do", "never"]]) {
    const term = document.createElement("dt"), words = document.createElement("dd");
    term.textContent = word;
    words.textContent = alarm[what];
    rows.append(term, words);
  }
  one.append(head, rows);
  return one;
}

function ring(on) {
  if (on && $("sound").checked && !horn) {
    const audio = new AudioContext(), tone = audio.createOscillator(), loud = audio.createGain();
    tone.frequency.value = HZ;
    loud.gain.value = 0.08;
    tone.connect(loud).connect(audio.destination);
    tone.start();
    horn = audio;
  } else if ((!on || !$("sound").checked) && horn) { horn.close(); horn = null; }
}

function download(site) {
  const link = document.createElement("a");
  link.href = "data:text/plain;charset=utf-8," + encodeURIComponent(site);
  link.download = "living.toml";
  link.click();
}

$("faults").onchange = doesWhat;
$("break").onclick = () => engine({ do: "break", value: $("faults").value });
$("mains").onclick = () => engine({ do: "mains", value: seen?.pair.mains ? "off" : "on" });
for (const name of ["silence", "reset"]) $(name).onclick = () => engine({ do: name });
for (const name of ["selector1", "selector2"]) $(name).onchange = () => engine({ do: name, value: $(name).value });
$("inflow").onchange = () => engine({ do: "inflow", value: `${$("inflow").value} ${format.unit("flow")}` });
$("next").onclick = () => engine({ next: true });
$("back").onclick = () => engine({ back: Math.max(0, Math.round(seen.t_ms - 1000 * $("span").value)) });
$("save").onclick = () => engine({ save: true });
$("open").onchange = async () => { const file = $("open").files[0]; if (file) engine({ open: await file.text() }); $("open").value = ""; };
$("system").onchange = () => {
  format.system = $("system").value;
  const [most, step] = format.system === "us" ? [60, 0.5] : [4, 0.05];
  $("inflow").max = most; $("inflow").step = step;
  engine({ system: format.system });
};
engine = connect();
