// The map's own script, part 1: reading the packed rows, symbols, and the state kept in the link.
// All survey text is set with textContent; nothing is ever read as markup.
"use strict";
const S = {};
S.byId = (id) => document.getElementById(id);
S.el = (tag, text, cls) => {
  const node = document.createElement(tag);
  if (text !== undefined && text !== null) node.textContent = String(text);
  if (cls) node.className = cls;
  return node;
};
S.button = (text, act, cls) => {
  const b = S.el("button", text, cls || "act");
  b.type = "button";
  b.onclick = act;
  return b;
};

// --- packed rows: one object per row that looks its values up by column when they are asked for ---
const SIGNS = /[\u0001-\u0006]/g;
function stands(row, sign) {
  const metres = (v) => v === null ? "" : v.toFixed(3);
  const mm = (v) => v === null ? "" : Math.abs(v).toFixed(0) + " mm";
  switch (sign) {
    case "\u0001": return row.first_id;
    case "\u0002": return row.second_id;
    case "\u0003": return mm(row.margin_mm);
    case "\u0004": return metres(row.let_in_level_m);
    case "\u0005": return metres(row.opening_level_m);
    default: return mm(row.limit_mm);
  }
}
function getter(name, column) {
  if (column.k === "n") return function () { const v = column.v[this.i]; return v === null ? null : v / column.scale; };
  if (column.k === "b") return function () { return column.v[this.i] === 1; };
  if (column.k === "r") return function () { return column.v[this.i]; };
  const list = column.list, at = column.at, signed = list.map((t) => t.search(SIGNS) >= 0);
  return function () {
    const n = at[this.i];
    return signed[n] ? list[n].replace(SIGNS, (sign) => stands(this, sign)) : list[n];
  };
}
function unpack(packed, first, second) {
  function Row(i) { this.i = i; }
  Object.entries(packed.columns).forEach(([name, column]) => {
    Object.defineProperty(Row.prototype, name, { get: getter(name, column), enumerable: true });
  });
  Object.defineProperty(Row.prototype, "first_id", { get: first });
  Object.defineProperty(Row.prototype, "second_id", { get: second });
  return Array.from({ length: packed.count }, (_, i) => new Row(i));
}
S.read = async function () {
  S.page = JSON.parse(S.byId("data").textContent);
  const letters = atob(S.byId("packed").textContent.trim());
  const bytes = Uint8Array.from(letters, (c) => c.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  const rows = JSON.parse(await new Response(stream).text());
  const site = function () { return this.site_id; };
  const none = () => "";
  S.sites = unpack(rows.sites, none, none);
  S.buildings = unpack(rows.buildings, none, site);
  S.chambers = unpack(rows.chambers, none, site);
  const places = S.buildings.concat(S.chambers);
  S.openings = unpack(rows.openings, function () { return this.opening_id; }, site);
  const levels = Object.getPrototypeOf(S.openings[0] || {});
  const beside = (name, rest, near) => Object.defineProperty(levels, name, { get() {
    return this[rest] === null ? null : (this[rest] + Math.round(near(this))) / 1000;
  } });
  beside("let_in_level_m", "let_in_beside_mm", (o) => (o.opening_level_m || 0) * 1000);
  beside("policy_level_m", "policy_beside_mm", (o) => (o.let_in_level_m || 0) * 1000 - (o.margin_mm || 0));
  S.links = unpack(rows.links, function () { return S.idOf(places[this.a]); }, function () { return S.idOf(places[this.b]); });
  S.places = places;
  S.sections = rows.sections;
  S.placeOf = new Map();
  S.openings.forEach((o) => S.placeOf.set(o.opening_id, o));
  S.chambers.forEach((c) => S.placeOf.set(c.chamber_id, c));
  S.buildings.forEach((b) => S.placeOf.set(b.building_id, b));
  S.siteOf = new Map(S.sites.map((s) => [s.site_id, s]));
  S.bySite = new Map();
  S.openings.forEach((o) => {
    const list = S.bySite.get(o.site_id);
    if (list) list.push(o); else S.bySite.set(o.site_id, [o]);
  });
};
S.idOf = (place) => place.building_id !== undefined ? place.building_id : place.chamber_id;
// where a thing is drawn: openings stand aside from their building or chamber by wall
S.at = (thing) => {
  if (thing.opening_id === undefined) return thing.at;
  if (thing.place === null || thing.north === null) return null;
  const at = S.places[thing.place].at;
  return [at[0] + thing.north * 1e-6, at[1] + thing.east * 1e-6];
};
S.isChamberEnd = (row) => row.opening_kind === "chamber end";

// --- symbols: shape, colour and word together -----------------------------------------------------
const svgNs = "http://www.w3.org/2000/svg";
S.svg = (box, attrs) => {
  const svg = document.createElementNS(svgNs, "svg");
  svg.setAttribute("viewBox", box);
  Object.entries(attrs || {}).forEach(([k, v]) => svg.setAttribute(k, v));
  return svg;
};
S.part = (parent, tag, attrs, text) => {
  const part = document.createElementNS(svgNs, tag);
  Object.entries(attrs || {}).forEach(([k, v]) => part.setAttribute(k, v));
  if (text) part.appendChild(document.createTextNode(text));
  parent.appendChild(part);
  return part;
};
const DARK = "#1d1d2b";
// [shape, attributes] of each symbol in a box of 18; the same list draws legend and canvas
S.shapes = (cls) => {
  const c = S.page.colours[cls] || "#444444";
  const box = (fill, stroke, width) => ["rect", { x: 2, y: 2, width: 14, height: 14, fill, stroke, "stroke-width": width }];
  const cross = (paint) => [
    ["path", { d: "M4 4L14 14M14 4L4 14", fill: "none", stroke: "#fff", "stroke-width": 5 }],
    ["path", { d: "M4 4L14 14M14 4L4 14", fill: "none", stroke: paint, "stroke-width": 2.6 }],
  ];
  const circle = (r, fill, stroke, width) => ["circle", { cx: 9, cy: 9, r, fill, stroke, "stroke-width": width }];
  switch (cls) {
    case "below": return [box(c, "#fff", 1)];
    case "comes in": return [box(S.page.colours.below, "#fff", 1)];
    case "too close to call": return [box("#fff", c, 2), ["rect", { x: 2, y: 2, width: 7, height: 14, fill: c }]];
    case "above": return [circle(6, "#fff", "#14401d", 5), circle(6, "none", c, 3)];
    case "less often": return [circle(6, "#fff", "#fff", 4), circle(6, "#fff", "#444444", 1.8)];
    case "to be sealed": return [box("#fff", DARK, 1.6), circle(4, DARK, DARK, 0.5)];
    case "held": return [box("#fff", DARK, 1.6), ["path", { d: "M6 5V13M12 5V13", fill: "none", stroke: DARK, "stroke-width": 2.8 }]];
    case "sealed, not accepted": return [box("#fff", DARK, 1.6), ["path", { d: "M4 9H14", fill: "none", stroke: DARK, "stroke-width": 4 }]];
    case "chamber": return [circle(5, "#fff", DARK, 2)];
    case "no flood level": return [box("#fff", c, 1.5), ...cross(c)];
    default: return cross(c);
  }
};
S.sign = (cls, size) => {
  const svg = S.svg("0 0 18 18", { width: size, height: size, class: "sign", "aria-hidden": "true" });
  S.shapes(cls).forEach(([tag, attrs]) => S.part(svg, tag, attrs));
  return svg;
};
// the same symbol as a small picture for the canvas, made once per size
const stamps = new Map();
S.stamp = (cls, size) => {
  const key = cls + "|" + size + "|" + S.ratio;
  if (stamps.has(key)) return stamps.get(key);
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = Math.ceil(size * S.ratio);
  const ctx = canvas.getContext("2d");
  ctx.scale(canvas.width / 18, canvas.width / 18);
  S.shapes(cls).forEach(([tag, a]) => {
    const path = new Path2D(tag === "path" ? a.d : undefined);
    if (tag === "rect") path.rect(a.x, a.y, a.width, a.height);
    if (tag === "circle") path.arc(a.cx, a.cy, a.r, 0, 2 * Math.PI);
    if (a.fill && a.fill !== "none") { ctx.fillStyle = a.fill; ctx.fill(path); }
    if (a.stroke) { ctx.strokeStyle = a.stroke; ctx.lineWidth = a["stroke-width"] || 1; ctx.stroke(path); }
  });
  stamps.set(key, canvas);
  return canvas;
};

// --- state: filters and views live in the address, so that a link shows the same ------------------
S.filters = ["level_class", "region", "critical_class", "state", "plan", "hold", "month"];
S.state = {};
S.view = { chambers: false, event: null, sealed: false, lines: false };
S.readLink = function () {
  const params = new URLSearchParams(location.hash.slice(1));
  // a value that this map does not have (an older link) would hide everything without a word
  const has = (k, v) => S.page.lists[k].some((w) => w.value === v);
  S.filters.forEach((k) => { S.state[k] = new Set(params.getAll(k).filter((v) => has(k, v))); });
  const aep = Number(params.get("event"));
  S.view.event = S.page.events.some((e) => e.aep === aep) ? aep : null;
  S.view.chambers = params.has("chambers");
  S.view.sealed = params.get("as") === "sealed";
  S.view.lines = params.has("lines");
};
S.keepInLink = function () {
  const next = new URLSearchParams();
  S.filters.forEach((k) => [...S.state[k]].sort().forEach((v) => next.append(k, v)));
  if (S.view.chambers) next.append("chambers", "shown");
  if (S.view.event !== null) next.append("event", S.view.event);
  if (S.view.sealed) next.append("as", "sealed");
  if (S.view.lines) next.append("lines", "shown");
  const text = next.toString();
  history.replaceState(null, "", text ? "#" + text : location.pathname + location.search);
};
S.passes = (row, except) => (S.view.chambers || !S.isChamberEnd(row)) && S.filters.every(
  (k) => k === except || S.state[k].size === 0 || S.state[k].has(row[k]));

// --- what an opening is shown as: its class, or the answer at the chosen chance, or sealed --------
S.EVENT_WORDS = {
  "comes in": "water comes in at least this often",
  "not known": "not known at this chance: no level, too close to call, or beyond the models",
  "less often": "less often, by the mean level; doubt not counted, so not proved dry",
};
S.SEALED_WORDS = {
  "to be sealed": "to be sealed: an end of a chosen package, no hold on it",
  "held": "to be sealed, held: in a chosen package; its hold must be released first",
  "sealed, not accepted": "sealed, not accepted yet: no seal to make; does not count as closed",
};
S.atEvent = (row, aep) => {
  const chance = row.onset_chance_per_year, bound = row.onset_bound, near = 1e-6;
  if (chance === null) return "not known";
  if (bound === "rarer than") {
    if (aep < chance * (1 - near)) return "not known";
    return row.level_class === "too close to call" ? "not known" : "less often";
  }
  if (chance >= aep * (1 - near)) return "comes in";
  if (bound === "more often than" || row.level_class === "too close to call") return "not known";
  return "less often";
};
S.shownAs = (row) => {
  if (S.view.sealed && row.plan === "chosen") return row.hold === "none" ? "to be sealed" : "held";
  if (S.view.sealed && row.plan === "made") return "sealed, not accepted";
  return S.view.event === null ? row.level_class : S.atEvent(row, S.view.event);
};
S.isSealedHere = (row) => S.view.sealed && (row.plan === "chosen" || row.plan === "made");
S.viewWords = (row) => [
  ...(S.view.sealed ? ["As the chosen packages seal: " + (S.isSealedHere(row) ? S.SEALED_WORDS[S.shownAs(row)]
    : "no seal of a chosen package here, shown as found") + "."] : []),
  ...(S.view.event === null ? [] : ["At the chosen chance" + (S.isSealedHere(row) ? ", as found: " : ": ")
    + S.EVENT_WORDS[S.atEvent(row, S.view.event)] + "."]),
];
S.order = () => (S.view.event === null ? S.page.classes : Object.keys(S.EVENT_WORDS)).concat(Object.keys(S.SEALED_WORDS));
S.metres = (v) => v === null ? "not known" : v.toFixed(3) + " m";
S.margin = (row) => row.margin_mm === null ? "not known"
  : (row.margin_is_bound ? "at least " : "") + Math.round(row.margin_mm) + " mm";
S.ratio = Math.min(3, window.devicePixelRatio || 1);
