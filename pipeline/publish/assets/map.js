// The map's own script. All survey text is set with textContent; nothing is ever read as markup.
"use strict";
function openMap(map) {
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const el = (tag, text, cls) => {
    const node = document.createElement(tag);
    if (text !== undefined && text !== null) node.textContent = String(text);
    if (cls) node.className = cls;
    return node;
  };

  // --- symbols: shape, colour and word together -------------------------------------------------
  const colour = data.colours;
  const svgNs = "http://www.w3.org/2000/svg";
  function sign(cls, size) {
    const svg = document.createElementNS(svgNs, "svg");
    svg.setAttribute("viewBox", "0 0 18 18");
    svg.setAttribute("width", size); svg.setAttribute("height", size);
    svg.setAttribute("class", "sign"); svg.setAttribute("aria-hidden", "true");
    const add = (tag, attrs) => {
      const part = document.createElementNS(svgNs, tag);
      Object.entries(attrs).forEach(([k, v]) => part.setAttribute(k, v));
      svg.appendChild(part);
    };
    const c = colour[cls] || "#444444";
    if (cls === "below") {
      add("rect", { x: 2, y: 2, width: 14, height: 14, fill: c, stroke: "#fff", "stroke-width": 1 });
    } else if (cls === "too close to call") {
      add("rect", { x: 2, y: 2, width: 14, height: 14, fill: "#fff", stroke: c, "stroke-width": 2 });
      add("rect", { x: 2, y: 2, width: 7, height: 14, fill: c });
    } else if (cls === "above") {
      add("circle", { cx: 9, cy: 9, r: 6, fill: "#fff", stroke: "#14401d", "stroke-width": 5 });
      add("circle", { cx: 9, cy: 9, r: 6, fill: "none", stroke: c, "stroke-width": 3 });
    } else {
      if (cls === "no flood level") {
        add("rect", { x: 1.5, y: 1.5, width: 15, height: 15, fill: "#fff", stroke: c, "stroke-width": 1.5 });
      }
      add("path", { d: "M4 4L14 14M14 4L4 14", stroke: "#fff", "stroke-width": 5 });
      add("path", { d: "M4 4L14 14M14 4L4 14", stroke: c, "stroke-width": 2.6 });
    }
    return svg;
  }
  const icon = (cls, size) => L.divIcon({
    className: "mark", html: sign(cls, size), iconSize: [size, size], iconAnchor: [size / 2, size / 2],
  });

  // --- state: filters live in the address, so that a link shows the same view -------------------
  const order = data.classes;
  const state = { region: new Set(), level_class: new Set(), hold: new Set() };
  const params = new URLSearchParams(location.hash.slice(1));
  Object.keys(state).forEach((k) => params.getAll(k).forEach((v) => state[k].add(v)));
  function keepInLink() {
    const next = new URLSearchParams();
    Object.entries(state).forEach(([k, set]) => [...set].sort().forEach((v) => next.append(k, v)));
    if (withChambers) next.append("chambers", "shown");
    const text = next.toString();
    history.replaceState(null, "", text ? "#" + text : location.pathname + location.search);
  }
  let withChambers = params.has("chambers");
  const passes = (row, except) => (withChambers || !row.is_chamber_end) && Object.entries(state).every(
    ([k, set]) => k === except || set.size === 0 || set.has(row[k]));
  const shown = () => data.openings.filter((row) => passes(row));

  // --- layers -----------------------------------------------------------------------------------
  const regions = L.layerGroup().addTo(map);
  const links = L.layerGroup().addTo(map);
  const marks = L.layerGroup().addTo(map);
  const plates = L.layerGroup().addTo(map);
  const wayLayer = L.layerGroup().addTo(map);
  data.regions.forEach((r) => {
    L.polygon(r.rings, { color: "#555a6e", weight: 1.5, dashArray: "6 5", fill: false, interactive: false })
      .addTo(regions);
  });
  const NEAR = 16;

  function plateOf(point, title, small, first) {
    const plate = el("div", title, "plate" + (first ? " first" : ""));
    if (small) plate.appendChild(el("small", small));
    return L.marker(point, {
      interactive: false, keyboard: false,
      icon: L.divIcon({ className: "mark", html: plate, iconSize: [0, 0] }),
    });
  }

  const placeOf = new Map();
  data.sites.forEach((s) => placeOf.set(s.site_id, s));
  data.buildings.forEach((b) => placeOf.set(b.building_id, b));
  data.chambers.forEach((c) => placeOf.set(c.chamber_id, c));
  data.openings.forEach((o) => placeOf.set(o.opening_id, o));

  function draw() {
    const rows = shown();
    marks.clearLayers(); links.clearLayers(); plates.clearLayers();
    const near = map.getZoom() >= NEAR;
    const bounds = map.getBounds().pad(0.2);
    const perRegion = new Map(data.regions.map((r) => [r.region, 0]));
    const worst = new Map();
    const belowAt = new Map();
    rows.forEach((row) => {
      if (row.level_class === "below") {
        perRegion.set(row.region, (perRegion.get(row.region) || 0) + 1);
        belowAt.set(row.site_id, (belowAt.get(row.site_id) || 0) + 1);
      }
      const rank = order.indexOf(row.level_class);
      const before = worst.get(row.site_id);
      if (before === undefined || rank < before) worst.set(row.site_id, rank);
    });
    if (near) {
      drawNear(rows, bounds);
    } else {
      data.sites.forEach((site) => {
        if (!worst.has(site.site_id) || site.at === null) return;
        const cls = order[worst.get(site.site_id)];
        L.marker(site.at, { icon: icon(cls, 20), title: site.site_id + ": " + cls, alt: site.site_id + ", " + cls })
          .on("click", () => showSite(site)).addTo(marks);
      });
      data.regions.forEach((r) => {
        plateOf(r.label_at, r.name, (perRegion.get(r.region) || 0) + " openings below").addTo(plates);
      });
      const first = data.first_site && placeOf.get(data.first_site);
      if (first && first.at && worst.has(first.site_id)) {
        const point = map.unproject(map.project(first.at).add([0, -30]));
        plateOf(point, "Comes first: " + first.site_id, (belowAt.get(first.site_id) || 0) + " openings below", true)
          .addTo(plates);
      }
    }
    fillTwin(rows);
    fillFilters();
    const all = data.openings.filter((o) => withChambers || !o.is_chamber_end).length;
    byId("count").textContent = rows.length + " of " + all + " openings shown"
      + (withChambers ? ", mouths in chambers among them" : "");
  }

  function drawNear(rows, bounds) {
    data.links.forEach((link) => {
      if (!bounds.contains(link.from) && !bounds.contains(link.to)) return;
      L.polyline([link.from, link.to], {
        color: "#2c2f3d", weight: 2, dashArray: link.is_proved ? null : "4 6",
      }).bindTooltip(el("span", link.words)).addTo(links);
    });
    data.chambers.forEach((c) => {
      if (c.at === null || !bounds.contains(c.at)) return;
      L.circleMarker(c.at, { radius: 6, color: "#1d1d2b", weight: 2, fillColor: "#fff", fillOpacity: 1 })
        .on("click", () => showChamber(c)).bindTooltip(el("span", c.chamber_id)).addTo(marks);
    });
    data.buildings.forEach((b) => {
      if (b.at === null || !bounds.contains(b.at)) return;
      if (b.rings.length) {
        L.polygon(b.rings, { color: "#1d1d2b", weight: 1.5, fillColor: "#fff", fillOpacity: .55, interactive: false })
          .addTo(links);
      }
      // beside the building, so that the label covers none of its openings
      plateOf(map.unproject(map.project(b.at).add([0, 58])), b.building_id).addTo(plates);
    });
    rows.forEach((row) => {
      if (row.at === null || !bounds.contains(row.at)) return;
      L.marker(row.at, { icon: icon(row.level_class, 15), title: row.opening_id + ": " + row.level_class,
        alt: row.opening_id + ", " + row.level_class })
        .on("click", () => showOpening(row)).addTo(marks);
    });
  }

  // --- cards ------------------------------------------------------------------------------------
  const card = byId("card");
  function openCard(title, cls, pairs, extra) {
    card.replaceChildren();
    const close = el("button", "×", "close");
    close.setAttribute("aria-label", "Close the card");
    close.onclick = closeCard;
    const head = el("h3");
    if (cls) head.appendChild(sign(cls, 18));
    head.appendChild(document.createTextNode(" " + title));
    const table = el("table");
    pairs.forEach(([name, value]) => {
      if (value === null || value === undefined || value === "") return;
      const tr = el("tr");
      const th = el("th", name); th.scope = "row";
      tr.append(th, el("td", value));
      table.appendChild(tr);
    });
    card.append(close, head, table, ...(extra || []));
    card.hidden = false;
    close.focus();
  }
  function closeCard() { card.hidden = true; wayLayer.clearLayers(); }
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    if (!card.hidden) closeCard(); else byId("twin").hidden = true;
  });

  const metres = (v) => v === null ? "not known" : v.toFixed(3) + " m";
  const margin = (row) => row.margin_mm === null ? "not known"
    : (row.margin_is_bound ? "at least " : "") + Math.round(row.margin_mm) + " mm";

  function showOpening(row) {
    const extra = [];
    if (row.way_words) {
      extra.push(el("h4", "The water's way"));
      const list = el("ol");
      row.way_words.split(" -> ").forEach((step) => list.appendChild(el("li", step)));
      extra.push(list);
      const play = el("button", "Show the water's way", "act");
      play.onclick = () => showWay(row);
      extra.push(play);
    }
    if (row.cautions.length) {
      extra.push(el("h4", "Cautions (local codes, permits and the owner's rules decide)"));
      const list = el("ul");
      row.cautions.forEach((c) => list.appendChild(el("li", c)));
      extra.push(list);
    }
    openCard(row.opening_id, row.level_class, [
      ["Class", row.level_class], ["Margin", margin(row)], ["Why", row.reason],
      ["Way", row.way], ["Own level", metres(row.opening_level_m)],
      ["Let-in level", metres(row.let_in_level_m)], ["Policy line", metres(row.policy_level_m)],
      ["Site", row.site_id], ["Building", row.building_id], ["Region", row.region],
      ["Kind", row.opening_kind], ["Seal", row.seal_words], ["Hold", row.hold_words],
      ["Note of the survey", row.note],
    ], extra);
  }
  // --- sensitivity strip: by how much the design water may rise or fall until an opening turns -----
  function strip(rows) {
    const known = rows.filter((r) => !r.is_chamber_end && r.margin_mm !== null)
      .sort((a, b) => a.margin_mm - b.margin_mm || (a.opening_id < b.opening_id ? -1 : 1));
    if (!known.length) return [];
    const most = Math.max(...known.map((r) => Math.abs(r.margin_mm) + (r.limit_mm || 0)));
    const reach = Math.min(1500, Math.max(250, Math.ceil(most / 250) * 250));
    const left = 118, wide = 330, row = 15, top = 26, high = top + known.length * row + 6;
    const x = (mm) => left + 6 + (Math.max(-reach, Math.min(reach, mm)) + reach) / (2 * reach) * (wide - left - 12);
    const svg = document.createElementNS(svgNs, "svg");
    svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
    svg.setAttribute("class", "strip"); svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", "Change of the design water level at which each opening turns");
    const add = (tag, attrs, text) => {
      const part = document.createElementNS(svgNs, tag);
      Object.entries(attrs).forEach(([k, v]) => part.setAttribute(k, v));
      if (text) part.appendChild(document.createTextNode(text));
      svg.appendChild(part);
      return part;
    };
    [-reach, -reach / 2, 0, reach / 2, reach].forEach((mm) => {
      add("line", { x1: x(mm), x2: x(mm), y1: top - 8, y2: high - 2, stroke: mm ? "#d4d6dd" : "#22304a", "stroke-width": mm ? 1 : 1.6 });
      add("text", { x: x(mm), y: 12, "text-anchor": mm === reach ? "end" : "middle" }, (mm > 0 ? "+" : "") + (mm / 1000).toFixed(mm % 1000 ? 2 : 0) + (mm ? "" : " m"));
    });
    known.forEach((r, i) => {
      const y = top + i * row + 4, c = colour[r.level_class] || "#444444", limit = r.limit_mm || 0;
      const beyond = Math.abs(r.margin_mm) > reach;
      const g = add("g", {});
      const title = document.createElementNS(svgNs, "title");
      title.appendChild(document.createTextNode(
        r.opening_id + ", " + r.level_class + ": turns when the design water stands " +
        Math.abs(Math.round(r.margin_mm)) + " mm " + (r.margin_mm < 0 ? "lower" : "higher") + ", give or take " + limit + " mm"));
      g.appendChild(title);
      const name = r.opening_id.startsWith(r.site_id + "-") ? r.opening_id.slice(r.site_id.length + 1) : r.opening_id;
      g.appendChild(add("text", { x: left - 4, y: y + 4, "text-anchor": "end" }, name));
      g.appendChild(add("line", { x1: x(r.margin_mm - limit), x2: x(r.margin_mm + limit), y1: y, y2: y, stroke: c, "stroke-width": 5, "stroke-opacity": .35 }));
      if (beyond) {
        const at = x(r.margin_mm), to = r.margin_mm < 0 ? 6 : -6;
        g.appendChild(add("path", { d: `M${at} ${y}l${to} -4v8z`, fill: c }));
      } else if (r.level_class === "below") {
        g.appendChild(add("rect", { x: x(r.margin_mm) - 3.5, y: y - 3.5, width: 7, height: 7, fill: c }));
      } else {
        g.appendChild(add("circle", { cx: x(r.margin_mm), cy: y, r: 3.6, fill: r.level_class === "above" ? "#fff" : c, stroke: c, "stroke-width": 2 }));
      }
      svg.appendChild(g);
    });
    return [
      el("h4", "If the design water stood lower or higher"),
      el("p", "A mark stands where the opening turns between wet and dry, freeboard included; the bar is the doubt of its level. Left of the dark line: wet at the design level. An arrow lies outside the picture.", "small"),
      svg,
    ];
  }

  function showSite(site) {
    const rows = data.openings.filter((o) => o.site_id === site.site_id);
    const extra = [...strip(rows), el("h4", "Openings")];
    rows.forEach((row) => {
      const go = el("button", row.opening_id + ": " + row.level_class, "linkish");
      go.onclick = () => { goTo(row); showOpening(row); };
      extra.push(go);
    });
    openCard(site.site_id + ", " + site.site_name, null, [
      ["Type", site.site_type], ["Region", site.region], ["Class of site", site.critical_class],
      ["Customers", site.customers_count], ["Programme", site.choice], ["Why", site.reason],
    ], extra);
  }
  function showChamber(c) {
    openCard(c.chamber_id, null, [
      ["Other numbers", c.other_numbers], ["Cover level", metres(c.cover_level_m)],
      ["Water at the design event", c.water_words], ["Site", c.site_id], ["Note of the survey", c.note],
    ]);
  }
  function goTo(row) { if (row.at) map.setView(row.at, Math.max(map.getZoom(), 18)); }

  function showWay(row) {
    wayLayer.clearLayers();
    const points = row.way_places.map((id) => placeOf.get(id)).filter((p) => p && p.at).map((p) => p.at);
    if (row.at) points.push(row.at);
    if (!points.length) return;
    L.polyline(points, { color: "#1d1d2b", weight: 7, opacity: .85 }).addTo(wayLayer);
    L.polyline(points, { color: "#f2c200", weight: 3 }).addTo(wayLayer);
    points.forEach((p, i) => L.marker(p, {
      interactive: false, keyboard: false,
      icon: L.divIcon({ className: "mark", html: el("div", i + 1, "step"), iconSize: [22, 22] }),
    }).addTo(wayLayer));
    map.fitBounds(L.latLngBounds(points).pad(0.4), { maxZoom: 19 });
  }

  // --- search -----------------------------------------------------------------------------------
  const things = [
    ...data.sites.map((s) => ({ words: s.site_id + " " + s.site_name, at: s.at, show: () => showSite(s) })),
    ...data.chambers.map((c) => ({ words: c.chamber_id + " " + (c.other_numbers || ""), at: c.at, show: () => showChamber(c) })),
    ...data.buildings.map((b) => ({ words: b.building_id, at: b.at, show: () => {
      const site = placeOf.get(b.site_id); if (site) showSite(site); } })),
    ...data.openings.map((o) => ({ words: o.opening_id, at: o.at, show: () => showOpening(o) })),
  ];
  function search() {
    const wanted = byId("find").value.trim().toLowerCase();
    const list = byId("found");
    list.replaceChildren();
    if (!wanted) return [];
    const hits = things.filter((t) => t.words.toLowerCase().includes(wanted)).slice(0, 8);
    hits.forEach((hit) => {
      const li = el("li"); const go = el("button", hit.words);
      go.onclick = () => { if (hit.at) map.setView(hit.at, 18); hit.show(); };
      li.appendChild(go); list.appendChild(li);
    });
    if (!hits.length) list.appendChild(el("li", "Nothing by that name."));
    return hits;
  }
  byId("find").addEventListener("input", search);
  byId("find").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault(); // else the same key press would press the card's close button
    const hits = search();
    if (hits.length) { if (hits[0].at) map.setView(hits[0].at, 18); hits[0].show(); }
  });

  // --- filters ----------------------------------------------------------------------------------
  const groups = { region: data.region_list, level_class: data.class_list, hold: data.hold_list };
  function fillFilters() {
    Object.entries(groups).forEach(([key, words]) => {
      const counts = new Map();
      data.openings.forEach((row) => { if (passes(row, key)) counts.set(row[key], (counts.get(row[key]) || 0) + 1); });
      const box = byId("filter-" + key);
      if (!box.childElementCount) {
        words.forEach((word) => {
          const label = el("label");
          const tick = el("input"); tick.type = "checkbox"; tick.checked = state[key].has(word.value);
          tick.onchange = () => {
            if (tick.checked) state[key].add(word.value); else state[key].delete(word.value);
            keepInLink(); draw();
          };
          label.appendChild(tick);
          if (key === "level_class") label.appendChild(sign(word.value, 18));
          label.append(el("span", word.words), el("span", "", "count"));
          label.dataset.value = word.value;
          box.appendChild(label);
        });
      }
      [...box.children].forEach((label) => {
        const count = counts.get(label.dataset.value) || 0;
        label.querySelector(".count").textContent = count;
        label.classList.toggle("none", !count);
      });
    });
  }

  // --- table twin -------------------------------------------------------------------------------
  const twinColumns = [
    ["opening_id", "Opening"], ["site_id", "Site"], ["building_id", "Building"], ["region", "Region"],
    ["opening_kind", "Kind"], ["level_class", "Class"], ["margin_mm", "Margin (mm)"],
    ["let_in_level_m", "Let-in level (m)"], ["policy_level_m", "Policy line (m)"], ["way", "Way"],
    ["hold_words", "Hold"], ["reason", "Why"],
  ];
  let sortBy = "margin_mm"; let up = true;
  const sorted = (rows) => [...rows].sort((a, b) => {
    const x = a[sortBy]; const y = b[sortBy];
    if (x === y) return a.opening_id < b.opening_id ? -1 : 1;
    if (x === null || x === "") return 1;
    if (y === null || y === "") return -1;
    return (x < y ? -1 : 1) * (up ? 1 : -1);
  });
  function fillTwin(rows) {
    if (byId("twin").hidden) return;
    const head = byId("twin-head"); const body = byId("twin-body");
    head.replaceChildren(); body.replaceChildren();
    twinColumns.forEach(([key, words]) => {
      const th = el("th"); th.scope = "col";
      const b = el("button", words + (key === sortBy ? (up ? " ▲" : " ▼") : ""));
      th.setAttribute("aria-sort", key === sortBy ? (up ? "ascending" : "descending") : "none");
      b.onclick = () => { if (sortBy === key) up = !up; else { sortBy = key; up = true; } fillTwin(shown()); };
      th.appendChild(b); head.appendChild(th);
    });
    sorted(rows).forEach((row) => {
      const tr = el("tr"); tr.tabIndex = 0;
      twinColumns.forEach(([key]) => {
        const v = row[key];
        tr.appendChild(el("td", v === null ? "" : v, key === "reason" || key === "hold_words" ? "words" : ""));
      });
      const open = () => { goTo(row); showOpening(row); };
      tr.onclick = open;
      tr.onkeydown = (event) => { if (event.key === "Enter") { event.preventDefault(); open(); } };
      body.appendChild(tr);
    });
  }
  byId("show-twin").onclick = () => { const t = byId("twin"); t.hidden = !t.hidden; fillTwin(shown()); };
  byId("close-twin").onclick = () => { byId("twin").hidden = true; };
  byId("download").onclick = () => {
    const harmless = (v) => {
      if (v === null) return "";
      if (typeof v === "number") return String(v);
      const text = /^[=+\-@\t\r\n＝＋－＠]/.test(v) ? "'" + v : v;
      return '"' + text.replace(/"/g, '""') + '"';
    };
    const lines = [twinColumns.map(([, w]) => harmless(w)).join(",")];
    sorted(shown()).forEach((row) => lines.push(twinColumns.map(([k]) => harmless(row[k])).join(",")));
    const link = el("a"); link.download = "openings.csv";
    link.href = "data:text/csv;charset=utf-8," + encodeURIComponent(lines.join("\r\n"));
    link.click();
  };
  const chambersTick = byId("with-chambers");
  chambersTick.checked = withChambers;
  chambersTick.onchange = () => { withChambers = chambersTick.checked; keepInLink(); draw(); };
  byId("print").onclick = () => window.print();
  byId("whole").onclick = () => { closeCard(); map.fitBounds(data.bounds); };

  L.control.scale({ imperial: false }).addTo(map);
  map.attributionControl.setPrefix("");
  map.on("zoomend moveend", draw);
  map.fitBounds(data.bounds);
  draw();
  document.body.dataset.ready = "yes";
}
