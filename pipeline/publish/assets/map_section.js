// Part 4b: section of a seal, to scale, from the circles of the design tables. Nothing is told by
// colour alone: cables by letters and hatch, sleeves by the number of their size.
"use strict";
const CABLE_SIGNS = { // letters, angles of the hatch: as in the work pack
  LV: ["LV", [45]], HV: ["HV", [45, 135]], EHV: ["EHV", [45, 135]], telecom: ["T", [0]], fibre: ["F", [90]],
  control: ["C", [0, 90]], earth: ["E", [135]], "sub-duct": ["SD", []], unknown: ["?", []],
};
S.sectionOf = function (id) {
  const d = S.sections[id];
  if (!d) return null;
  const isRound = d.shape === "round" || d.shape === "sub-duct";
  const wide = d.bore_mm, high = isRound || d.bore_b_mm === null ? d.bore_mm : d.bore_b_mm;
  const edge = 0.05 * Math.max(wide, high), line = 0.006 * Math.max(wide, high);
  const svg = S.svg([-wide / 2 - edge, -high / 2 - edge, wide + 2 * edge, high + 2 * edge].join(" "),
    { class: "section", role: "img", "aria-label": "Section of the seal of " + id });
  const round = ["square", "rectangular"].includes(d.shape) ? 0 : Math.min(wide, high) / 2;
  S.part(svg, "rect", { x: -wide / 2, y: -high / 2, width: wide, height: high, rx: round, fill: "#e4e2dc", stroke: DARK, "stroke-width": 2 * line });
  const sizes = [...new Set(d.parts.filter((p) => p[0] !== "cable").map((p) => p[2]))].sort((a, b) => b - a);
  const counts = new Map();
  d.parts.forEach(([kind, cls, outer, x, y]) => {
    const r = outer / 2, isCable = kind === "cable";
    const [letters, angles] = isCable ? CABLE_SIGNS[cls] || CABLE_SIGNS.unknown : [String(sizes.indexOf(outer) + 1), []];
    const name = isCable ? letters + ": " + (cls || "cable of unknown class") + " " + outer + " mm" : letters + ": " + kind + " " + outer + " mm";
    counts.set(name, (counts.get(name) || 0) + 1);
    const g = S.part(svg, "g", { transform: `translate(${x} ${-y})` });
    S.part(g, "title", {}, name);
    S.part(g, "circle", { r, fill: isCable ? "#cfd2da" : "#fff", stroke: DARK, "stroke-width": isCable ? 2 * line : line });
    angles.forEach((angle) => hatchOf(g, r, angle, line));
    if (isCable) S.part(g, "circle", { r: Math.max(0, r - 3 * line), fill: "none", stroke: DARK, "stroke-width": line / 2 });
    const size = Math.min(r * 1.1, wide / 12);
    const word = S.part(g, "text", { "text-anchor": "middle", "font-size": size, dy: size * 0.36, "font-weight": 700, fill: DARK }, letters);
    if (isCable) Object.entries({ stroke: "#fff", "stroke-width": size / 3.5, "paint-order": "stroke" }).forEach(([k, v]) => word.setAttribute(k, v));
  });
  const words = [...counts].sort((a, b) => (a[0] < b[0] ? -1 : 1)).map(([name, n]) => name + (n > 1 ? ", " + n + " of them" : ""));
  return [svg, el("p", "Bore " + wide + (high === wide ? "" : " x " + high) + " mm, seen from the mouth, to scale; between the circles sealant, "
    + d.layer_mm + " mm deep. Letters: cables, hatched by class; numbers: sleeves by size.", "quiet"), list("ul", words)];
};
function hatchOf(g, r, angle, line) {
  const step = Math.max(r / 4, 8 * line), turn = S.part(g, "g", { transform: `rotate(${-angle})` });
  for (let y = step / 2; y < r; y += step) {
    const half = Math.sqrt(r * r - y * y);
    [y, -y].forEach((at) => S.part(turn, "line", { x1: -half, x2: half, y1: at, y2: at, stroke: DARK, "stroke-width": line * 0.7 }));
  }
}
