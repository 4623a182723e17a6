// The cross-section, to scale in height and width: pit, water, floats, pumps, discharge, floor.
import { format } from "./units.js";

const NS = "http://www.w3.org/2000/svg", WIDE = 300, HIGH = 340, TOP = 70, BOTTOM = 325, MIDDLE = 150;

function put(parent, name, values, words) {
  const one = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(values)) one.setAttribute(key, value);
  if (words !== undefined) one.textContent = words;
  parent.append(one);
  return one;
}

export function draw(svg, about, water, pair) {
  const deep = about.floor_m, widest = Math.max(...about.profile.map(row => row[1]));
  const scale = Math.min((BOTTOM - TOP) / deep, 190 / widest);
  const y = level => BOTTOM - level * scale, half = width => width * scale / 2;
  const key = JSON.stringify([Math.round(y(water.level_m) * 4), water.pumps, water.contacts, water.states, water.dead, format.system]);
  if (svg.dataset.key === key) return;
  svg.dataset.key = key;
  svg.replaceChildren();
  const left = about.profile.map(([z, w]) => `${MIDDLE - half(w)},${y(z)}`), right = about.profile.map(([z, w]) => `${MIDDLE + half(w)},${y(z)}`).reverse();
  const inside = [...left.slice().reverse(), ...right.slice().reverse()];
  // Water: the part of the profile below the level; on the floor it stands above the rim.
  const level = Math.min(water.level_m, deep);
  const wet = about.profile.filter(([z]) => z <= level);
  const edge = width_at(about.profile, level);
  const shape = [...wet.map(([z, w]) => `${MIDDLE - half(w)},${y(z)}`), `${MIDDLE - half(edge)},${y(level)}`,
    `${MIDDLE + half(edge)},${y(level)}`, ...wet.slice().reverse().map(([z, w]) => `${MIDDLE + half(w)},${y(z)}`)];
  put(svg, "polygon", { points: shape.join(" "), fill: "#56b4e9", "fill-opacity": 0.55 });
  put(svg, "line", { x1: MIDDLE - half(edge), x2: MIDDLE + half(edge), y1: y(level), y2: y(level), stroke: "#0072b2", "stroke-width": 2 });
  put(svg, "polyline", { points: inside.join(" "), fill: "none", stroke: "#1b1b1b", "stroke-width": 3 });
  for (const side of [-1, 1]) {
    const rim = MIDDLE + side * half(about.profile.at(-1)[1]);
    put(svg, "line", { x1: rim, x2: side < 0 ? 4 : WIDE - 4, y1: y(deep), y2: y(deep), stroke: "#1b1b1b", "stroke-width": 4 });
  }
  if (water.floor_wet) {
    put(svg, "rect", { x: 4, y: y(deep) - 9, width: WIDE - 8, height: 7, fill: "#0072b2" });
    put(svg, "text", { x: 6, y: y(deep) + 16, "font-weight": 700 }, "WATER"), put(svg, "text", { x: 6, y: y(deep) + 30 }, "on floor");
  } else put(svg, "text", { x: 6, y: y(deep) - 6 }, "floor");
  pumps(svg, about, water, pair, y, half);
  floats(svg, about, water, pair, y, half);
  svg.setAttribute("aria-label", words(about, water, pair));
}

function width_at(profile, level) {
  let width = profile[0][1];
  for (const [z, w] of profile) if (z <= level) width = w;
  return width;
}

function pumps(svg, about, water, pair, y, half) {
  const count = pair ? 2 : 1, inner = half(Math.min(...about.profile.map(row => row[1])));
  for (let n = 0; n < count; n++) {
    const x = pair ? MIDDLE + (n ? 1 : -1) * inner * 0.42 : MIDDLE, top = y(about.pumps[n].intake_m) - 34, on = water.pumps[n];
    put(svg, "rect", { x: x - 13, y: top, width: 26, height: 34, rx: 3, fill: on ? "#009e73" : "#e6e6e6", stroke: "#1b1b1b", "stroke-width": on ? 3 : 1.5 });
    put(svg, "text", { x, y: top + 15, "text-anchor": "middle", "font-weight": 700 }, String(n + 1));
    put(svg, "text", { x, y: top + 28, "text-anchor": "middle" }, on ? "on" : "off");
    put(svg, "line", { x1: x, x2: x, y1: top, y2: 22, stroke: "#1b1b1b", "stroke-width": on ? 4 : 2, "stroke-dasharray": on ? "7 3" : "none" });
    put(svg, "path", { d: `M ${x - 6} 34 L ${x + 6} 34 L ${x} 26 Z`, fill: "#1b1b1b" });
    if (on) put(svg, "text", { x: x + 5, y: 18 }, `${format.text("current", water.amps[n])}`);
  }
}

function floats(svg, about, water, pair, y, half) {
  const rim = MIDDLE + half(about.profile.at(-1)[1]) + 6;
  for (const contact of about.contacts) {
    if (!pair && contact.name !== "lead") continue;
    const told = water.contacts?.[contact.name], x = MIDDLE + half(width_at(about.profile, contact.wet_m)) - 9;
    const up = told ? told.is : water.level_m >= contact.wet_m, at = y(contact.wet_m);
    put(svg, "ellipse", { cx: x, cy: at, rx: 8, ry: 4.5, fill: up ? "#f0e442" : "#fff", stroke: "#1b1b1b", "stroke-width": 1.5, transform: `rotate(${up ? -25 : 50} ${x} ${at})` });
    const state = told ? `${told.reads ? "wet" : "dry"}${told.suspect ? ", suspect" : ""}` : up ? "up" : "down";
    put(svg, "text", { x: rim, y: at + 4 }, `${pair ? contact.name : "float"} ${state}`);
  }
}

function words(about, water, pair) {
  const parts = [`Water ${format.text("level", water.level_m)} above the bottom, floor at ${format.text("level", about.floor_m)}`];
  for (let n = 0; n < (pair ? 2 : 1); n++) parts.push(`pump ${n + 1} ${water.pumps[n] ? "on" : "off"}`);
  if (water.floor_wet) parts.push("water on the floor");
  return parts.join("; ");
}
