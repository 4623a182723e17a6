// SI in, the person's units out.  Exact factors: 1 in = 0.0254 m, 1 US gal = 231 in3 (NIST Handbook 44, Appendix C).
const GPM = 231 * 0.0254 ** 3 / 60;
const UNITS = {
  us: { level: ["in", 1 / 0.0254, 1], flow: ["gpm", 1 / GPM, 1], current: ["A", 1, 1] },
  si: { level: ["mm", 1000, 0], flow: ["L/s", 1000, 2], current: ["A", 1, 1] },
};
// What nobody knows is null: it stays null as a number, and is called unknown in words.
export const format = {
  system: "us",
  unit(kind) { return UNITS[this.system][kind][0]; },
  number(kind, value) { return value == null ? null : value * UNITS[this.system][kind][1]; },
  text(kind, value) { const [unit, , places] = UNITS[this.system][kind]; return value == null ? "unknown" : `${(this.number(kind, value) + 0).toFixed(places)} ${unit}`; },
};
