// The page: it draws what the engine tells and sends what the person does.  Nothing of the pit is worked out here.
import { draw } from "./pit.js";
import { Charts } from "./charts.js";
import { Horn } from "./horn.js";
import { packed, unpacked } from "./link.js";
import { Proof } from "./proof.js";
import { Recording } from "./recording.js";
import { format } from "./units.js";

const $ = id => document.getElementById(id);
const LARGEST_FILE = 200000;
const still = matchMedia("(prefers-reduced-motion: reduce)");
const carried = document.querySelector("meta[name=engine]").content === "worker";
let about = null, seen = null, engine = null, told = "", drawn = 0, live = false;
const charts = new Charts($("chart-level"), $("chart-flow"));
const horn = new Horn($("sound"));
const proof = new Proof(message => engine(message), $, s => clock(s));

function served() {
  const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/pit`);
  socket.onmessage = event => { alive(); hear(JSON.parse(event.data)); };
  socket.onclose = () => say("the engine has gone away: start it again and load this page anew");
  return text => { if (socket.readyState === 1) socket.send(text); };
}

function worker() {
  const pit = new Worker("worker.js", { type: "module" });
  pit.onmessage = event => { const message = JSON.parse(event.data); if (message.about) alive(); hear(message); };
  pit.onerror = event => say(`the pit cannot be run in this browser: ${event.message}`);
  return text => pit.postMessage(text);
}

const recording = new Recording(message => { if (!live) hear(message); }, () => performance.mark("first picture"));

// The first word of the engine itself: what was recorded ends, the hands are the person's.
function alive() {
  if (live) return;
  live = true;
  recording.stop();
  if (carried) note("");
  charts.clear();
  $("lines").replaceChildren();
  performance.mark("live");
  follow();
}

function connect() {
  const send = carried ? worker() : served();
  return message => { if (!message.prove) say(""); send(JSON.stringify(message)); };
}

async function follow() {
  try {
    const session = await unpacked(location.hash);
    if (session) engine({ take: session });
  } catch (error) { say(error.message); }
}

function say(text) { $("error").textContent = text; }
function note(text) { $("note").textContent = text; }

function hear(message) {
  if (message.error) say(message.error);
  if (message.note) note(message.note);
  if (message.site) download(message.site);
  if (message.share) link(message.share);
  if (message.proof) proof.take(message.proof);
  if (message.about) begin(message);
  if (message.fresh) { charts.clear(); $("lines").replaceChildren(); }
  if (message.story) { charts.add(message.story); message.story.lines.forEach(line); }
  if (message.state) show(message.state, message.speed);
}

function begin(message) {
  about = message.about;
  told = "";
  const board = about.kind === "board";
  for (const one of document.querySelectorAll(".hand")) { one.disabled = !live; one.hidden = live && board; }
  for (const id of ["second", "site", "proof", "before"]) $(id).hidden = board;
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
  $("sites").replaceChildren(...message.sites.map(name => new Option(name, name, false, name === message.packaged)));
  $("own").checked = message.own;
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
  const pair = state.pair, behind = state.goal_ms > state.t_ms;
  $("clock").textContent = clock(state.t_ms / 1000);
  $("clock").dataset.ms = state.t_ms;
  text("elapsed", `${(state.t_ms / 3600000).toFixed(2)} h after the start${behind ? ", going to " + clock(state.goal_ms / 1000) : ""}`);
  document.querySelectorAll("#speeds button").forEach(one => one.setAttribute("aria-pressed", String(+one.dataset.speed === speed)));
  draw($("pit-pair"), about, pair, true);
  caption("cap-pair", "Two pumps and the controller", pair);
  if (state.single) {
    draw($("pit-single"), about, state.single, false);
    caption("cap-single", "The same inflow: one pump, one float switch, no battery", state.single);
  }
  why(pair, speed);
  $("mains").setAttribute("aria-pressed", String(!pair.mains));
  text("mains", pair.mains ? "Pull the mains plug" : "Put the mains back");
  ["selector1", "selector2"].forEach((name, n) => { if (document.activeElement !== $(name)) $(name).value = pair.selectors[n]; });
  if (document.activeElement !== $("inflow")) $("inflow").value = format.number("flow", pair.inflow_m3s);
  text("inflow-is", format.text("flow", pair.inflow_m3s));
  repairs(Object.keys(state.broken));
  plans(state.planned);
  alarms(pair);
  horn.ring(pair.outputs.horn);
  const now = performance.now();
  if (now - drawn > (still.matches ? 1000 : 200)) { drawn = now; charts.show(state.t_ms / 1000, +$("window").value); }
}

function text(id, words) { if ($(id).textContent !== words) $(id).textContent = words; }

function caption(id, words, water) {
  text(id, `${words}: ${water.told || `water ${format.text("level", water.level_m)}`}${water.floor_wet ? ", WATER ON THE FLOOR" : ""}`);
}

// What was decided last, with a link to its clause; what runs now, and why.
function why(pair, speed) {
  const polite = speed > 10 ? "off" : "polite";
  for (const id of ["decided", "why"]) if ($(id).getAttribute("aria-live") !== polite) $(id).setAttribute("aria-live", polite);
  text("why", pair.why.map(one => `Pump ${one.pump} runs: ${one.words} (narrative ${one.clause}).`).join(" ") ||
    (pair.unknown_why ?? (pair.dead ? "The controller has no power." : "No pump is called.")));
  const key = JSON.stringify(pair.decided);
  if ($("decided").dataset.key === key) return;
  $("decided").dataset.key = key;
  const [last, ...earlier] = pair.decided.slice().reverse();
  $("decided").replaceChildren(...(last ? ["Decided last: ", ...decision(last)] : []));
  $("earlier").replaceChildren(...earlier.map(one => { const item = document.createElement("li"); item.append(...decision(one)); return item; }));
}

function decision([ms, words, clause]) {
  const parts = [`${clock(ms / 1000)}, ${words}. `];
  if (clause) {
    const link = document.createElement("a");
    link.href = `narrative.html#${clause}`;
    link.target = "_blank";
    link.textContent = `Narrative, clause ${clause}`;
    parts.push(link);
  }
  return parts;
}

function repairs(names) {
  if ($("broken").dataset.names === names.join()) return;
  $("broken").dataset.names = names.join();
  $("broken").replaceChildren(...names.map(name => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button";
    button.textContent = `Repair ${name}`;
    button.onclick = () => engine({ do: "repair", value: name, at: $("at").value });
    item.append(button);
    return item;
  }));
}

function plans(planned) {
  const words = planned.map(([ms, what, value]) => `planned for ${clock(ms / 1000)}: ${what} ${value}`);
  if ($("planned").dataset.words === words.join()) return;
  $("planned").dataset.words = words.join();
  $("planned").replaceChildren(...words.map(one => { const item = document.createElement("li"); item.textContent = one; return item; }));
}

function alarms(pair) {
  const on = Object.entries(pair.outputs).filter(([name, value]) => value && ["horn", "beacon", "light"].includes(name)).map(one => one[0]);
  const calls = name => pair.outputs[name] == null ? "unknown" : pair.outputs[name] ? "no" : "CALLING";
  text("outputs", `Sounding or lit: ${on.join(", ") || "nothing"}. Call for help, flood: ${calls("relay")}; service: ${calls("service")}.`);
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

function download(site) {
  const link = document.createElement("a");
  link.href = "data:text/plain;charset=utf-8," + encodeURIComponent(site);
  link.download = "living.toml";
  link.click();
}

async function link(session) {
  try {
    $("link").value = await packed(session);
    $("link-label").hidden = false;
    $("link").focus();
    $("link").select();
    await navigator.clipboard?.writeText($("link").value).then(() => note("The link is copied."), () => {});
  } catch (error) { say(error.message); }
}

async function openFile() {
  const file = $("open").files[0];
  if (file && file.size > LARGEST_FILE) say(`site file: ${file.name.slice(0, 80)} has ${file.size} bytes; a site file has at most ${LARGEST_FILE / 1000} kB`);
  else if (file) engine({ open: await file.text() });
  $("open").value = "";
}

$("faults").onchange = doesWhat;
$("break").onclick = () => engine({ do: "break", value: $("faults").value, at: $("at").value });
$("mains").onclick = () => engine({ do: "mains", value: seen?.pair.mains ? "off" : "on" });
for (const name of ["silence", "reset"]) $(name).onclick = () => engine({ do: name });
for (const name of ["selector1", "selector2"]) $(name).onchange = () => engine({ do: name, value: $(name).value });
$("inflow").onchange = () => engine({ do: "inflow", value: `${$("inflow").value} ${format.unit("flow")}` });
$("next").onclick = () => engine({ next: true });
$("back").onclick = () => engine({ back: Math.max(0, Math.round(seen.t_ms - 1000 * $("span").value)) });
$("begin").onclick = () => engine({ packaged: $("sites").value, own: $("own").checked });
$("save").onclick = () => engine({ save: true });
$("share").onclick = () => engine({ share: true });
$("prove").onclick = () => { engine({ speed: 0 }); proof.start(); };
$("open").onchange = openFile;
window.onhashchange = follow;
$("system").onchange = () => {
  format.system = $("system").value;
  const [most, step] = format.system === "us" ? [60, 0.5] : [4, 0.05];
  $("inflow").max = most; $("inflow").step = step;
  engine({ system: format.system });
};
for (const one of document.querySelectorAll(".hand")) one.disabled = true;
if (carried) {
  note("Recorded: a minute of the demo's own night, while the living pit is loaded ...");
  recording.start();
}
engine = connect();
