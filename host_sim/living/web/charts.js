// The curves, drawn by uPlot: levels of both pits with the floor, inflow with both pumps' currents.
import { format } from "./units.js";

const INK = "#1b1b1b", BLUE = "#0072b2", ORANGE = "#d55e00", GREEN = "#009e73", PURPLE = "#cc79a7", HIGH = 210, MOST = 30000;

const stepped = uPlot.paths.stepped({ align: 1 });

// Rows and the new ones; of many rows the older half is halved, so that a month stays as quick to draw as a night.
function thinned(rows, more) {
  for (const row of more) rows.push(row);
  return rows.length < MOST ? rows : rows.filter((row, i) => i > MOST / 2 || i % 2);
}

export class Charts {
  constructor(level, flow) {
    this.places = [level, flow];
    this.clear();
    new ResizeObserver(() => this.size()).observe(level);
  }
  clear() { this.pair = []; this.single = []; this.plots?.forEach(plot => plot.destroy()); this.plots = null; }
  floor(level_m) { this.floor_m = level_m; }
  add(story) {
    this.pair = thinned(this.pair, story.pair);
    this.single = thinned(this.single, story.single);
  }
  size() { this.plots?.forEach(plot => plot.setSize({ width: this.wide(), height: HIGH })); }
  wide() { return Math.max(240, this.places[0].clientWidth); }
  show(now_s, window_s) {
    const from = now_s - window_s, recent = rows => { let i = rows.length; while (i > 0 && rows[i - 1][0] >= from) i--; return rows.slice(Math.max(0, i - 1)); };
    const pair = recent(this.pair), single = recent(this.single);
    if (pair.length < 2) return;
    const hours = rows => rows.map(row => row[0] / 3600), of = (rows, place, kind) => rows.map(row => format.number(kind, row[place]));
    const level = single.length < 2 ? [hours(pair), of(pair, 1, "level"), pair.map(() => null)]
      : uPlot.join([[hours(pair), of(pair, 1, "level")], [hours(single), of(single, 1, "level")]]);
    level.push(level[0].map(() => format.number("level", this.floor_m)));
    const flow = [hours(pair), of(pair, 2, "flow"), of(pair, 3, "current"), of(pair, 4, "current")];
    const unit = format.system;
    if (!this.plots || this.unit !== unit) {
      this.plots?.forEach(plot => plot.destroy());
      this.unit = unit;
      this.plots = [this.levels(level), this.flows(flow)];
      return;
    }
    this.plots[0].setData(level);
    this.plots[1].setData(flow);
  }
  levels(data) {
    const line = (label, stroke, more) => ({ label, stroke, width: 2, spanGaps: true, value: (u, v) => v == null ? "--" : v.toFixed(1), ...more });
    return new uPlot(this.options("level", [line("two pumps", BLUE), line("one pump", ORANGE, { dash: [8, 4] }), line("floor", INK, { dash: [2, 3], width: 1.5 })],
      [axis(`level, ${format.unit("level")}`)]), data, this.places[0]);
  }
  flows(data) {
    const line = (label, stroke, scale, dash) => ({ label, stroke, scale, dash, paths: stepped, width: 2, value: (u, v) => v == null ? "--" : v.toFixed(1) });
    return new uPlot(this.options("flow", [line("inflow", BLUE, "y"), line("pump 1 current", GREEN, "amps", [8, 3]), line("pump 2 current", PURPLE, "amps", [3, 3])],
      [axis(`inflow, ${format.unit("flow")}`), { ...axis("current, A"), scale: "amps", side: 1, grid: { show: false } }]), data, this.places[1]);
  }
  options(id, series, axes) {
    return { width: this.wide(), height: HIGH, id, scales: { x: { time: false } }, legend: { live: false },
      series: [{ label: "hours" }, ...series.map(one => ({ points: { show: false }, ...one }))], axes: [axis("hours after the start", 40), ...axes] };
  }
}

function axis(label, size = 50) { return { label, size, stroke: INK, labelSize: 18, font: "11px system-ui", labelFont: "12px system-ui", grid: { stroke: "#ddd" } }; }
