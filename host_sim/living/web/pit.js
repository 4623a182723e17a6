// The cross-section, to scale in height and width: pit, water, floats, pumps, discharge, drain, floor, horn and light.
import { format } from "./units.js";

const NS = "http://www.w3.org/2000/svg", WIDE = 320, HIGH = 360, TOP = 96, BOTTOM = 345, MIDDLE = 131, HEADER = 40;
const INK = "#1b1b1b", WATER = "#56b4e9", DEEP = "#0072b2", GREEN = "#009e73", YELLOW = "#f0e442", ORANGE = "#d55e00";

function put(parent, name, values, words) {
  const one = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(values)) one.setAttribute(key, value);
  if (words !== undefined) one.textContent = words;
  parent.append(one);
  return one;
}

export function draw(svg, about, water, pair) {
  const deep = about.floor_m, widest = Math.max(...about.profile.map(row => row[1]));
  const scale = Math.min((BOTTOM - TOP) / deep, 150 / widest);
  const at = { deep, y: level => BOTTOM - level * scale, half: width => width * scale / 2 };
  const { told, inflow_m3s, outputs, floor_wet } = water;
  const key = JSON.stringify([about.name, Math.round(at.y(water.level_m ?? -1) * 4), water.between, water.pumps, water.contacts, water.dead, told,
    format.text("flow", inflow_m3s), water.out_m3s.map(flow => flow > 0), (water.amps || []).map(a => format.text("current", a)), outputs, floor_wet, format.system]);
  if (svg.dataset.key === key) return;
  svg.dataset.key = key;
  svg.replaceChildren();
  if (water.level_m == null) unknown(svg, about, water, at); else filled(svg, about, water, at);
  walls(svg, about, water, at);
  drain(svg, about, water, at);
  pumps(svg, about, water, pair, at);
  floats(svg, about, water, pair, at);
  if (pair) lamps(svg, water);
  svg.setAttribute("aria-label", words(about, water, pair));
}

function width_at(profile, level) {
  let width = profile[0][1];
  for (const [z, w] of profile) if (z <= level) width = w;
  return width;
}

// The part of the profile between two levels.
function slice(about, at, low, high) {
  const rows = [[low, width_at(about.profile, low)], ...about.profile.filter(([z]) => z > low && z < high), [high, width_at(about.profile, high)]];
  return [...rows.map(([z, w]) => `${MIDDLE - at.half(w)},${at.y(z)}`), ...rows.reverse().map(([z, w]) => `${MIDDLE + at.half(w)},${at.y(z)}`)].join(" ");
}

function filled(svg, about, water, at) {
  const level = Math.min(Math.max(water.level_m, 0), at.deep), edge = at.half(width_at(about.profile, level));
  put(svg, "polygon", { points: slice(about, at, 0, level), fill: WATER, "fill-opacity": 0.55 });
  put(svg, "line", { x1: MIDDLE - edge, x2: MIDDLE + edge, y1: at.y(level), y2: at.y(level), stroke: DEEP, "stroke-width": 2 });
}

// The level is not known: water for certain below `between[0]`, hatched up to `between[1]`, which is where it ends for certain.
function unknown(svg, about, water, at) {
  const [low, high] = water.between || [null, null], from = Math.min(low ?? 0, at.deep), to = Math.min(high ?? at.deep, at.deep);
  const pattern = put(put(svg, "defs", {}), "pattern", { id: `${svg.id}-hatch`, width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  put(pattern, "line", { x1: 0, y1: 0, x2: 0, y2: 8, stroke: DEEP, "stroke-width": 2 });
  if (from > 0) put(svg, "polygon", { points: slice(about, at, 0, from), fill: WATER, "fill-opacity": 0.55 });
  put(svg, "polygon", { points: slice(about, at, from, to), fill: `url(#${svg.id}-hatch)`, stroke: DEEP, "stroke-dasharray": "3 3" });
}

function walls(svg, about, water, at) {
  const side = sign => about.profile.map(([z, w]) => `${MIDDLE + sign * at.half(w)},${at.y(z)}`);
  put(svg, "polyline", { points: [...side(-1).reverse(), ...side(1)].join(" "), fill: "none", stroke: INK, "stroke-width": 3 });
  const rim = at.half(about.profile.at(-1)[1]), floor = at.y(at.deep);
  put(svg, "line", { x1: MIDDLE - rim, x2: 2, y1: floor, y2: floor, stroke: INK, "stroke-width": 4 });
  put(svg, "line", { x1: MIDDLE + rim, x2: WIDE - 2, y1: floor, y2: floor, stroke: INK, "stroke-width": 4 });
  if (water.floor_wet) {
    put(svg, "rect", { x: 2, y: floor - 9, width: WIDE - 4, height: 7, fill: DEEP });
    put(svg, "text", { x: 4, y: floor - 13, "font-weight": 700 }, "WATER ON FLOOR");
  } else put(svg, "text", { x: 4, y: floor - 6 }, "floor");
}

// What runs in, from the left below the floor.
function drain(svg, about, water, at) {
  const y = at.y(at.deep) + 16, edge = MIDDLE - at.half(width_at(about.profile, at.deep * 0.94)), runs = water.inflow_m3s > 0;
  put(svg, "rect", { x: 2, y: y - 5, width: Math.max(4, edge - 2), height: 10, fill: "#fff", stroke: INK, "stroke-width": 1.5 });
  if (runs) put(svg, "line", { x1: 3, x2: edge + 4, y1: y, y2: y, stroke: DEEP, "stroke-width": 4, "stroke-dasharray": "6 4", class: "flow" });
  put(svg, "text", { x: 2, y: y + 18 }, "drain");
  put(svg, "text", { x: 2, y: y + 31 }, format.text("flow", water.inflow_m3s));
}

function pumps(svg, about, water, pair, at) {
  const count = pair ? 2 : 1, inner = at.half(Math.min(...about.profile.map(row => row[1])));
  let moves = false;
  for (let n = 0; n < count; n++) {
    const x = pair ? MIDDLE + (n ? 1 : -1) * inner * 0.42 : MIDDLE, top = at.y(about.pumps[n].intake_m) - 34, on = water.pumps[n];
    const flows = water.out_m3s[n] > 0;
    moves = moves || flows;
    put(svg, "rect", { x: x - 13, y: top, width: 26, height: 34, rx: 3, fill: on ? GREEN : "#e6e6e6", stroke: INK, "stroke-width": on ? 3 : 1.5 });
    put(svg, "text", { x, y: top + 15, "text-anchor": "middle", "font-weight": 700 }, String(n + 1));
    put(svg, "text", { x, y: top + 28, "text-anchor": "middle" }, on ? "on" : "off");
    put(svg, "line", { x1: x, x2: x, y1: top, y2: HEADER, stroke: INK, "stroke-width": 2 });
    if (flows) put(svg, "line", { x1: x, x2: x, y1: top, y2: HEADER, stroke: DEEP, "stroke-width": 4, "stroke-dasharray": "6 4", class: "flow" });
    // The check valve: a triangle that points the way the water may go, against a bar.
    put(svg, "path", { d: `M ${x - 6} 66 L ${x + 6} 66 L ${x} 57 Z M ${x - 7} 56 L ${x + 7} 56`, fill: INK, stroke: INK, "stroke-width": 1.5 });
    if (on || water.amps[n] > 0.05) put(svg, "text", pair && n === 0 ? { x: x - 9, y: 84, "text-anchor": "end" } : { x: x + 9, y: 84 }, format.text("current", water.amps[n]));
  }
  const left = pair ? MIDDLE - inner * 0.42 : MIDDLE;
  put(svg, "line", { x1: left, x2: WIDE - 12, y1: HEADER, y2: HEADER, stroke: INK, "stroke-width": 2 });
  if (moves) put(svg, "line", { x1: left, x2: WIDE - 12, y1: HEADER, y2: HEADER, stroke: DEEP, "stroke-width": 4, "stroke-dasharray": "6 4", class: "flow" });
  put(svg, "path", { d: `M ${WIDE - 12} ${HEADER - 5} L ${WIDE - 3} ${HEADER} L ${WIDE - 12} ${HEADER + 5} Z`, fill: INK });
  put(svg, "text", { x: WIDE - 4, y: HEADER + 18, "text-anchor": "end" }, "discharge");
  if (water.out_m3s[0] == null) put(svg, "text", { x: WIDE - 4, y: HEADER + 31, "text-anchor": "end" }, "flow unknown");
}

function floats(svg, about, water, pair, at) {
  const rim = MIDDLE + at.half(about.profile.at(-1)[1]) + 6;
  let above = Infinity;
  const seen = about.contacts.filter(one => pair || one.name === "lead").sort((a, b) => a.wet_m - b.wet_m);
  for (const contact of seen) {
    const told = water.contacts?.[contact.name], x = MIDDLE + at.half(width_at(about.profile, contact.wet_m)) - 9, y = at.y(contact.wet_m);
    const up = told ? told.is ?? told.reads : water.level_m >= contact.wet_m;
    put(svg, "ellipse", { cx: x, cy: y, rx: 8, ry: 4.5, fill: up ? YELLOW : "#fff", stroke: INK, "stroke-width": 1.5, transform: `rotate(${up ? -25 : 50} ${x} ${y})` });
    const state = told ? `${told.reads ? "wet" : "dry"}${told.suspect ? " suspect" : ""}` : up ? "up" : "down";
    above = Math.min(y + 4, above - 13); // no label lies on the one below it
    put(svg, "text", { x: rim, y: above }, `${pair ? contact.name : "float"} ${state}`);
  }
}

function lamps(svg, water) {
  const row = [["horn", "horn", "SOUNDS"], ["beacon", "beacon", "LIT"], ["light", "light", "lit"]];
  row.forEach(([name, label, lit], i) => {
    const on = water.outputs[name], x = 10 + i * 100;
    put(svg, "circle", { cx: x, cy: 14, r: 6, fill: on ? ORANGE : "#fff", stroke: INK, "stroke-width": on ? 3 : 1.5, class: on ? "lit" : "" });
    put(svg, "text", { x: x + 11, y: 18, "font-weight": on ? 700 : 400 }, `${label} ${on == null ? "unknown" : on ? lit : "off"}`);
  });
}

function words(about, water, pair) {
  const parts = [water.told || `Water ${format.text("level", water.level_m)} above the bottom`, `floor at ${format.text("level", about.floor_m)}`,
    `inflow ${format.text("flow", water.inflow_m3s)}`];
  for (let n = 0; n < (pair ? 2 : 1); n++) parts.push(`pump ${n + 1} ${water.pumps[n] ? "on" : "off"}`);
  for (const [name, one] of Object.entries(water.contacts || {})) parts.push(`${name} contact ${one.reads ? "wet" : "dry"}${one.suspect ? ", suspect" : ""}`);
  if (water.floor_wet) parts.push("water on the floor");
  return parts.join("; ");
}
