// Part 2: drawing. Symbols go on one canvas, only what is in view; labels give way to each other.
"use strict";
S.NEAR = 16;
S.Marks = L.Layer.extend({
  onAdd(map) {
    this._canvas = L.DomUtil.create("canvas", "marks leaflet-zoom-hide");
    this._canvas.setAttribute("aria-hidden", "true");
    map.getPanes().overlayPane.appendChild(this._canvas);
  },
  begin(map) {
    const pad = 60, size = map.getSize(), canvas = this._canvas;
    const wide = size.x + 2 * pad, high = size.y + 2 * pad;
    canvas.width = wide * S.ratio; canvas.height = high * S.ratio;
    canvas.style.width = wide + "px"; canvas.style.height = high + "px";
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([-pad, -pad]));
    const ctx = canvas.getContext("2d");
    ctx.setTransform(S.ratio, 0, 0, S.ratio, pad * S.ratio, pad * S.ratio);
    this.ctx = ctx;
    this.spots = [];
    return ctx;
  },
  put(cls, size, x, y, spot) {
    this.ctx.drawImage(S.stamp(cls, size), x - size / 2, y - size / 2, size, size);
    if (spot) this.spots.push({ x, y, ...spot });
  },
  ring(x, y, radius) {
    const ctx = this.ctx;
    [["#fff", 5], ["#1d1d2b", 2.5]].forEach(([colour, width]) => {
      ctx.strokeStyle = colour; ctx.lineWidth = width;
      ctx.beginPath(); ctx.arc(x, y, radius, 0, 2 * Math.PI); ctx.stroke();
    });
  },
  nearest(point, within) {
    let best = null, least = within * within;
    this.spots.forEach((s) => {
      const away = (s.x - point.x) ** 2 + (s.y - point.y) ** 2;
      if (away <= least) { least = away; best = s; }
    });
    return best;
  },
});

S.startDrawing = function (map) {
  S.map = map;
  S.regionLines = L.layerGroup().addTo(map);
  S.plates = L.layerGroup().addTo(map);
  S.marks = new S.Marks().addTo(map);
  S.wayLayer = L.layerGroup().addTo(map);
  S.highlight = new Set();
  S.selected = null;
  S.page.regions.forEach((r) => {
    L.polygon(r.rings, { color: "#555a6e", weight: 1.5, dashArray: "6 5", fill: false, interactive: false })
      .addTo(S.regionLines);
  });
  map.on("click", (event) => {
    const touch = matchMedia("(pointer: coarse)").matches;
    const spot = S.marks.nearest(map.latLngToContainerPoint(event.latlng), touch ? 24 : 13);
    if (spot) spot.open();
  });
  map.on("mousemove", (event) => {
    const spot = S.marks.nearest(event.containerPoint, 10);
    const box = map.getContainer();
    box.style.cursor = spot ? "pointer" : "";
    box.title = spot ? (typeof spot.words === "function" ? spot.words() : spot.words) : "";
  });
};

// --- what is shown: worked out once per change of a filter or view, not per movement ---------------
S.refilter = function () {
  const order = S.order();
  S.rows = S.openings.filter((row) => S.passes(row));
  S.shownBySite = new Map();
  S.belowIn = new Map();
  S.rows.forEach((row) => {
    const rank = order.indexOf(S.shownAs(row));
    let site = S.shownBySite.get(row.site_id);
    if (!site) { site = { worst: rank, first: 0, rows: [] }; S.shownBySite.set(row.site_id, site); }
    if (rank < site.worst) site.worst = rank;
    if (rank === 0) { site.first += 1; S.belowIn.set(row.region, (S.belowIn.get(row.region) || 0) + 1); }
    site.rows.push(row);
  });
  const all = S.openings.filter((o) => S.view.chambers || !S.isChamberEnd(o)).length;
  const nowhere = S.rows.filter((o) => S.at(o) === null).length;
  S.byId("count").textContent = S.rows.length.toLocaleString("en") + " of " + all.toLocaleString("en") + " openings shown"
    + (S.view.chambers ? ", mouths in chambers among them" : "")
    + (nowhere ? "; " + nowhere.toLocaleString("en") + " have no position: in the table only" : "");
};
S.change = function () {
  S.keepInLink();
  S.refilter();
  S.fillFilters();
  S.fillLegend();
  S.draw();
  S.fillTwin();
  S.refreshCard();
};
S.firstWords = () => S.view.event === null ? "openings below" : "openings let water in";

S.draw = function () {
  const map = S.map, bounds = map.getBounds().pad(0.1);
  S.plates.clearLayers();
  S.taken = [];
  S.marks.begin(map);
  if (map.getZoom() >= S.NEAR) drawNear(map, bounds); else drawFar(map, bounds);
  drawHighlight(map, bounds);
  drawSelected(map, bounds);
  S.drawPictures();
};

function drawFar(map, bounds) {
  const order = S.order(), cells = new Map();
  S.sites.forEach((site) => {
    const shown = S.shownBySite.get(site.site_id), at = site.at;
    if (!shown || at === null || !bounds.contains(at)) return;
    const p = map.latLngToContainerPoint(at);
    const key = Math.round(p.x / 22) + "/" + Math.round(p.y / 22);
    const cell = cells.get(key);
    if (!cell) cells.set(key, { p, rank: shown.worst, sites: [site] });
    else { cell.sites.push(site); if (shown.worst < cell.rank) { cell.rank = shown.worst; cell.p = p; } }
  });
  const badges = [];
  cells.forEach((cell) => {
    const cls = order[cell.rank], site = cell.sites[0], many = cell.sites.length > 1;
    S.marks.put(cls, 20, cell.p.x, cell.p.y, {
      words: many ? cell.sites.length + " sites, the worst: " + cls : site.site_id + ": " + cls,
      open: () => many ? map.fitBounds(L.latLngBounds(cell.sites.map((s) => s.at)).pad(0.3), { maxZoom: S.NEAR }) : S.showSite(site),
    });
    if (many) badges.push([cell.sites.length, cell.p]);
    S.taken.push([cell.p.x - 8, cell.p.y - 8, cell.p.x + 8, cell.p.y + 8, true]);
  });
  badges.forEach(([n, p]) => countBadge(n, p));
  const first = S.page.first_site && S.siteOf.get(S.page.first_site);
  const shown = first && S.shownBySite.get(first.site_id);
  if (shown && first.at) {
    const p = map.latLngToContainerPoint(first.at);
    S.plate([p.x, p.y - 32], "Comes first: " + first.site_id, shown.first + " of " + shown.rows.length + " " + S.firstWords(), "first");
  }
  S.page.regions.forEach((r) => {
    const p = map.latLngToContainerPoint(r.label_at);
    S.plate([p.x, p.y], r.name, (S.belowIn.get(r.region) || 0).toLocaleString("en") + " " + S.firstWords());
  });
}
function countBadge(n, p) {
  const ctx = S.marks.ctx;
  ctx.font = "700 11px system-ui, sans-serif";
  const wide = ctx.measureText(n).width + 6;
  ctx.fillStyle = "#fff"; ctx.strokeStyle = "#1d1d2b"; ctx.lineWidth = 1;
  ctx.beginPath(); ctx.rect(p.x + 5, p.y - 15, wide, 13); ctx.fill(); ctx.stroke();
  ctx.fillStyle = "#1d1d2b"; ctx.fillText(n, p.x + 8, p.y - 5);
}

// A label is set only where it covers no other label; site symbols may lie below region labels.
S.plate = function (p, title, small, cls) {
  const wide = Math.max(title.length * 8.2, (small || "").length * 6.6) + 16, high = small ? 38 : 24;
  const size = S.map.getSize();
  if (p[0] < -wide || p[1] < -high || p[0] > size.x + wide || p[1] > size.y + high) return;
  if (p[0] > 0 && p[1] > 0 && p[0] < size.x && p[1] < size.y) { // what is in view is shown whole
    p[0] = Math.min(Math.max(p[0], wide / 2 + 4), size.x - wide / 2 - 4);
    p[1] = Math.min(Math.max(p[1], high / 2 + 4), size.y - high / 2 - 30);
  }
  const box = [p[0] - wide / 2, p[1] - high / 2, p[0] + wide / 2, p[1] + high / 2];
  const hits = (t) => box[0] < t[2] && box[2] > t[0] && box[1] < t[3] && box[3] > t[1];
  if (S.taken.some((t) => !(t[4] && (cls === "first" || cls === "found")) && hits(t))) return;
  S.taken.push(box);
  const plate = S.el("div", title, "plate" + (cls ? " " + cls : ""));
  if (small) plate.appendChild(S.el("small", small));
  L.marker(S.map.containerPointToLatLng(p), {
    interactive: false, keyboard: false, icon: L.divIcon({ className: "mark", html: plate, iconSize: [0, 0] }),
  }).addTo(S.plates);
};

// Things by site with the box that holds them, so that a movement looks at what is near only.
function blocks() {
  if (S.blocks) return S.blocks;
  S.blocks = new Map();
  const blockOf = (site) => {
    let block = S.blocks.get(site);
    if (!block) S.blocks.set(site, block = { box: [90, 180, -90, -180], buildings: [], chambers: [], links: [], site });
    return block;
  };
  const widen = (box, at) => {
    if (at === null) return;
    box[0] = Math.min(box[0], at[0]); box[1] = Math.min(box[1], at[1]);
    box[2] = Math.max(box[2], at[0]); box[3] = Math.max(box[3], at[1]);
  };
  const put = (list, thing) => { const block = blockOf(thing.site_id); block[list].push(thing); widen(block.box, thing.at); };
  S.buildings.forEach((b) => put("buildings", b));
  S.chambers.forEach((c) => put("chambers", c));
  S.links.forEach((link) => {
    const a = S.places[link.a], b = S.places[link.b], block = blockOf(a.site_id);
    if (a.at === null || b.at === null) return;
    block.links.push({ link, a: a.at, b: b.at });
    widen(block.box, b.at);
  });
  S.openings.forEach((o) => widen(blockOf(o.site_id).box, S.at(o)));
  return S.blocks;
}
function drawNear(map, bounds) {
  const ctx = S.marks.ctx, point = (at) => map.latLngToContainerPoint(at);
  const [south, west, north, east] = [bounds.getSouth(), bounds.getWest(), bounds.getNorth(), bounds.getEast()];
  const inView = (at) => at !== null && at[0] >= south && at[0] <= north && at[1] >= west && at[1] <= east;
  const near = [...blocks().values()].filter(({ box }) => box[0] <= north && box[2] >= south && box[1] <= east && box[3] >= west);
  if (S.layers.ducts) near.forEach((block) => drawLinks(ctx, block.links, inView, point));
  const labels = [];
  near.forEach((block) => block.buildings.forEach((b) => {
    if (!inView(b.at)) return;
    drawRings(ctx, b.rings, b.at, point);
    labels.push(b);
  }));
  if (S.layers.ducts) {
    near.forEach((block) => block.chambers.forEach((c) => {
      if (!inView(c.at)) return;
      const p = point(c.at);
      S.marks.put("chamber", 18, p.x, p.y, { words: "chamber " + c.chamber_id, open: () => S.showChamber(c) });
    }));
  }
  near.forEach((block) => {
    const shown = S.shownBySite.get(block.site);
    if (shown) shown.rows.forEach((row) => drawOpening(row, S.at(row), inView, point));
  });
  if (labels.length <= 80) labels.forEach((b) => labelBuilding(b, point(b.at)));
}
function drawLinks(ctx, links, inView, point) {
  links.forEach(({ link, a, b }) => {
    if (!inView(a) && !inView(b)) return;
    const from = point(a), to = point(b);
    ctx.strokeStyle = "#2c2f3d"; ctx.lineWidth = 2; ctx.setLineDash(link.is_proved ? [] : [4, 6]);
    ctx.beginPath(); ctx.moveTo(from.x, from.y); ctx.lineTo(to.x, to.y); ctx.stroke();
    S.marks.spots.push({ x: (from.x + to.x) / 2, y: (from.y + to.y) / 2, words: () => "duct " + link.link_id, open: () => S.showLink(link) });
  });
  ctx.setLineDash([]);
}
function drawOpening(row, at, inView, point) {
  if (!inView(at)) return;
  const p = point(at), cls = S.shownAs(row);
  S.marks.put(cls, 15, p.x, p.y, { words: row.opening_id + ": " + cls, open: () => S.showOpening(row) });
  S.taken.push([p.x - 6, p.y - 6, p.x + 6, p.y + 6]);
}
function drawRings(ctx, rings, centre, point) {
  ctx.fillStyle = "rgba(255,255,255,.55)"; ctx.strokeStyle = "#1d1d2b"; ctx.lineWidth = 1.5;
  rings.forEach((ring) => {
    ctx.beginPath();
    for (let i = 0; i < ring.length; i += 2) {
      const p = point([centre[0] + ring[i] * 1e-6, centre[1] + ring[i + 1] * 1e-6]);
      if (i) ctx.lineTo(p.x, p.y); else ctx.moveTo(p.x, p.y);
    }
    ctx.closePath(); ctx.fill(); ctx.stroke();
  });
}
// below, above, or well below its building: the first place where it covers no opening
function labelBuilding(b, p) {
  const before = S.taken.length;
  for (const down of [58, -58, 84, -84]) {
    S.plate([p.x, p.y + down], b.building_id, S.view.sealed ? b.sealed_short : "");
    if (S.taken.length > before) return;
  }
}
function drawHighlight(map, bounds) {
  const ids = new Set(S.highlight);
  if (S.view.lines) S.buildings.forEach((b) => b.line_ends && b.line_ends.split(";").forEach((id) => ids.add(id)));
  if (!ids.size) return;
  const near = map.getZoom() >= S.NEAR, done = new Set();
  ids.forEach((id) => {
    const row = S.placeOf.get(id);
    if (!row) return;
    const site = S.siteOf.get(row.site_id);
    const at = near ? S.at(row) : site && site.at;
    if (!at || !bounds.contains(at)) return;
    const p = map.latLngToContainerPoint(at), key = Math.round(p.x) + "/" + Math.round(p.y);
    if (done.has(key)) return;
    done.add(key);
    S.marks.ring(p.x, p.y, near ? 9 : 15);
    if (near && S.isChamberEnd(row) && !S.view.chambers) S.marks.put(S.shownAs(row), 15, p.x, p.y, { words: id, open: () => S.showOpening(row) });
  });
}
// what was found or opened last: ringed, and named where the label has room
function drawSelected(map, bounds) {
  if (!S.selected) return;
  const { id, thing } = S.selected, near = map.getZoom() >= S.NEAR;
  const site = S.siteOf.get(thing.site_id), at = near || !site ? S.at(thing) : site.at;
  if (!at || !bounds.contains(at)) return;
  const p = map.latLngToContainerPoint(at);
  if (near && thing.opening_id !== undefined) S.marks.put(S.shownAs(thing), 17, p.x, p.y, { words: id, open: () => S.showOpening(thing) });
  S.marks.ring(p.x, p.y, near ? 12 : 17);
  const before = S.taken.length;
  for (const [x, y] of [[0, -30], [0, 30], [90, 0], [-90, 0], [110, -44], [-110, -44], [110, 60], [-110, 60]]) {
    S.plate([p.x + x, p.y + y], id, "", "found");
    if (S.taken.length > before) return;
  }
}
S.goTo = (thing, zoom) => {
  const at = S.at(thing);
  if (at) S.map.setView(at, Math.max(S.map.getZoom(), zoom || 18), { animate: false });
};
