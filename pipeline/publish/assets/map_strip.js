// Part 4: sensitivity strip: by how much the design water may rise or fall until an opening turns.
"use strict";
S.strip = function (rows) {
  const colour = S.page.colours;
  const known = rows.filter((r) => !S.isChamberEnd(r) && r.margin_mm !== null)
    .sort((a, b) => a.margin_mm - b.margin_mm || (a.opening_id < b.opening_id ? -1 : 1));
  if (!known.length) return [];
  const most = Math.max(...known.map((r) => Math.abs(r.margin_mm) + (r.limit_mm || 0)));
  const reach = Math.min(1500, Math.max(250, Math.ceil(most / 250) * 250));
  const left = 118, wide = 330, step = 15, top = 26, high = top + known.length * step + 6;
  const x = (mm) => left + 6 + (Math.max(-reach, Math.min(reach, mm)) + reach) / (2 * reach) * (wide - left - 12);
  const svg = S.svg(`0 0 ${wide} ${high}`, { class: "strip", role: "img",
    "aria-label": "Change of the design water level at which each opening turns" });
  [-reach, -reach / 2, 0, reach / 2, reach].forEach((mm) => {
    S.part(svg, "line", { x1: x(mm), x2: x(mm), y1: top - 8, y2: high - 2, stroke: mm ? "#d4d6dd" : "#22304a", "stroke-width": mm ? 1 : 1.6 });
    S.part(svg, "text", { x: x(mm), y: 12, "text-anchor": mm === reach ? "end" : "middle" },
      (mm > 0 ? "+" : "") + (mm / 1000).toFixed(mm % 1000 ? 2 : 0) + (mm ? "" : " m"));
  });
  known.forEach((r, i) => {
    const y = top + i * step + 4, c = colour[r.level_class] || "#444444", limit = r.limit_mm || 0;
    const g = S.part(svg, "g");
    S.part(g, "title", {}, r.opening_id + ", " + r.level_class + ": turns when the design water stands "
      + Math.abs(Math.round(r.margin_mm)) + " mm " + (r.margin_mm < 0 ? "lower" : "higher") + ", give or take " + limit + " mm");
    const name = r.opening_id.startsWith(r.site_id + "-") ? r.opening_id.slice(r.site_id.length + 1) : r.opening_id;
    S.part(g, "text", { x: left - 4, y: y + 4, "text-anchor": "end" }, name);
    S.part(g, "line", { x1: x(r.margin_mm - limit), x2: x(r.margin_mm + limit), y1: y, y2: y, stroke: c, "stroke-width": 5, "stroke-opacity": .35 });
    if (Math.abs(r.margin_mm) > reach) {
      S.part(g, "path", { d: `M${x(r.margin_mm)} ${y}l${r.margin_mm < 0 ? 6 : -6} -4v8z`, fill: c });
    } else if (r.level_class === "below") {
      S.part(g, "rect", { x: x(r.margin_mm) - 3.5, y: y - 3.5, width: 7, height: 7, fill: c });
    } else {
      S.part(g, "circle", { cx: x(r.margin_mm), cy: y, r: 3.6, fill: r.level_class === "above" ? "#fff" : c, stroke: c, "stroke-width": 2 });
    }
  });
  return [more("If the design water stood lower or higher", [
    el("p", "A mark stands where the opening turns between wet and dry, freeboard included; the bar is the doubt of its level. Left of the dark line: wet at the design level. An arrow lies outside the picture.", "quiet"),
    svg,
  ], true)];
};
