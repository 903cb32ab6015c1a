// Part 6: search, filters and legend.
"use strict";
const folded = (text) => text.toLowerCase().replace(/[\u2010-\u2015\u2212]/g, "-").replace(/\s+/g, "");
// letters and figures apart, leading zeros left out: "s08 b1 e1 3" is S08-B1-E1-03
const loose = (text) => (text.toLowerCase().match(/\p{L}+|\d+/gu) || []).map((t) => t.replace(/^0+(?=\d)/, "")).join(".");
const bare = (text) => folded(text).replace(/[^\p{L}\d]/gu, ""); // "s02b1e104"
let index = null;
// every id, name, old number and grid reference; made at the first search, so that the page opens fast
function things() {
  if (index) return index;
  index = [];
  const put = (keys, words, thing, show) => index.push({ keys: keys.filter(Boolean).map(folded), loose: keys.filter(Boolean).map(loose), bare: keys.filter(Boolean).map(bare), words, thing, show });
  S.sites.forEach((s) => put([s.site_id, s.site_name, s.grid_ref], s.site_id + ", " + s.site_name
    + (s.grid_ref ? ", " + s.grid_ref : ""), s, () => S.showSite(s)));
  S.buildings.forEach((b) => put([b.building_id], b.building_id + ", building", b, () => S.showBuilding(b)));
  S.chambers.forEach((c) => put([c.chamber_id, ...c.other_numbers.split(/[,;|]/), c.other_numbers, c.grid_ref],
    c.chamber_id + ", chamber" + (c.other_numbers ? " (also " + c.other_numbers + ")" : "") + (c.grid_ref ? ", " + c.grid_ref : ""),
    c, () => S.showChamber(c)));
  const entries = new Set();
  S.openings.forEach((o) => {
    put([o.opening_id], o.opening_id + ", " + o.opening_kind, o, () => S.showOpening(o));
    if (o.entry_id && o.entry_id !== o.opening_id && !entries.has(o.entry_id)) {
      entries.add(o.entry_id);
      const b = S.placeOf.get(o.building_id);
      put([o.entry_id], o.entry_id + ", entry", o, () => b && b.line_words !== undefined ? S.showBuilding(b) : S.showOpening(o));
    }
  });
  return index;
}
// latitude and longitude as people paste them: two numbers with a point
function typedPlace(text) {
  const m = text.trim().match(/^(-?\d{1,2}\.\d+)\s*[,;\s]\s*(-?\d{1,3}\.\d+)$/);
  if (!m) return null;
  const at = [Number(m[1]), Number(m[2])];
  return Math.abs(at[0]) <= 90 && Math.abs(at[1]) <= 180 ? at : null;
}
const MOST_HITS = 12;
function search() {
  const typed = S.byId("find").value, wanted = folded(typed), box = S.byId("found");
  box.replaceChildren();
  if (!wanted) return [];
  const place = typedPlace(typed);
  if (place) {
    const hit = { words: "Place " + typed.trim(), go: () => { S.map.setView(place, 17, { animate: false }); S.mark(place, typed.trim()); } };
    box.appendChild(item(hit));
    return [hit];
  }
  const ranked = [[], [], [], [], [], []], free = loose(typed), close = bare(typed), inside = "." + free + ".", isLoose = free.includes(".");
  const tests = [
    (t) => t.keys.includes(wanted), (t) => isLoose && (t.loose.includes(free) || t.bare.includes(close)), (t) => t.keys.some((k) => k.startsWith(wanted)),
    (t) => isLoose && t.loose.some((k) => k.startsWith(free + ".")), (t) => t.keys.some((k) => k.includes(wanted)),
    (t) => isLoose && t.loose.some((k) => ("." + k + ".").includes(inside)),
  ];
  things().forEach((t) => {
    const rank = tests.findIndex((test) => test(t));
    if (rank >= 0) ranked[rank].push(t);
  });
  const all = ranked.flat();
  const hits = all.slice(0, MOST_HITS).map((t) => ({ words: t.words, go: () => { S.goTo(t.thing); t.show(); } }));
  hits.forEach((hit) => box.appendChild(item(hit)));
  if (!all.length) box.appendChild(el("li", "Nothing by that name, number or grid reference."));
  if (all.length > MOST_HITS) box.appendChild(el("li", "and " + (all.length - MOST_HITS).toLocaleString("en") + " more: type further", "quiet"));
  return hits;
}
function item(hit) {
  const li = el("li");
  li.appendChild(button(hit.words, hit.go, "linkish"));
  return li;
}
S.startFinding = function () {
  const find = S.byId("find"), box = S.byId("found");
  find.addEventListener("input", search);
  find.addEventListener("keydown", (event) => {
    if (event.key === "Enter") {
      event.preventDefault(); // else the same key press would press the card's close button
      const hits = search();
      if (hits.length) hits[0].go();
    }
    if (event.key === "ArrowDown") { const b = box.querySelector("button"); if (b) { b.focus(); event.preventDefault(); } }
    if (event.key === "Escape" && find.value) { find.value = ""; search(); event.stopPropagation(); }
  });
  box.addEventListener("keydown", (event) => {
    const all = [...box.querySelectorAll("button")], i = all.indexOf(document.activeElement);
    if (i < 0 || !["ArrowDown", "ArrowUp"].includes(event.key)) return;
    event.preventDefault();
    if (event.key === "ArrowUp" && i === 0) find.focus();
    else all[Math.max(0, Math.min(all.length - 1, i + (event.key === "ArrowDown" ? 1 : -1)))].focus();
  });
};

// --- filters: counts beside each value are those of all other filters together --------------------
S.fillFilters = function () {
  const counts = Object.fromEntries(S.filters.map((k) => [k, new Map()]));
  S.openings.forEach((row) => {
    if (!S.view.chambers && S.isChamberEnd(row)) return;
    const failed = S.filters.filter((k) => S.state[k].size && !S.state[k].has(row[k]));
    if (failed.length > 1) return;
    S.filters.forEach((k) => {
      if (failed.length && failed[0] !== k) return;
      counts[k].set(row[k], (counts[k].get(row[k]) || 0) + 1);
    });
  });
  S.filters.forEach((key) => {
    const box = S.byId("filter-" + key), chosen = S.state[key].size;
    if (!box.childElementCount) S.page.lists[key].forEach((word) => box.appendChild(filterLine(key, word)));
    [...box.children].forEach((label) => {
      const count = counts[key].get(label.dataset.value) || 0;
      label.querySelector(".count").textContent = count.toLocaleString("en");
      label.classList.toggle("none", !count);
      label.querySelector("input").checked = S.state[key].has(label.dataset.value);
    });
    const told = S.byId("chosen-" + key);
    if (told) told.textContent = chosen ? " (" + chosen + " chosen)" : "";
  });
  tellCounts();
  S.byId("clear").hidden = !S.filters.some((k) => S.state[k].size);
};
// the counts beside the classes are as found; what the view shows besides is counted below them
function tellCounts() {
  const box = S.byId("class-told");
  box.replaceChildren();
  if (!S.view.sealed && S.view.event === null) return;
  box.appendChild(el("p", "These counts are by class as found, at the policy of each site"
    + (S.view.sealed ? "; the ends below are among them." : "; the symbols show the chosen chance."), "quiet"));
  if (S.view.sealed) Object.entries(S.SEALED_WORDS).forEach(([cls, words]) => {
    const line = el("p", null, "counted");
    line.append(S.sign(cls, 18), el("span", words), el("span", S.countOf(cls), "count"));
    box.appendChild(line);
  });
}
S.countOf = (cls) => S.rows.filter((r) => S.shownAs(r) === cls).length.toLocaleString("en");
function filterLine(key, word) {
  const label = el("label"), tick = el("input");
  tick.type = "checkbox";
  tick.onchange = () => {
    if (tick.checked) S.state[key].add(word.value); else S.state[key].delete(word.value);
    S.change();
  };
  label.appendChild(tick);
  if (key === "level_class") label.appendChild(S.sign(word.value, 18));
  label.append(el("span", word.words), el("span", "", "count"));
  label.dataset.value = word.value;
  return label;
}
// filters in words, for the printed sheet
S.filterWords = function () {
  const parts = S.filters.filter((k) => S.state[k].size).map((k) => S.filterNames[k] + ": "
    + S.page.lists[k].filter((w) => S.state[k].has(w.value)).map((w) => w.words.split(":")[0]).join(" or "));
  return parts.length ? "Only " + parts.join("; ") + "." : "All openings.";
};
S.filterNames = { level_class: "class", region: "region", critical_class: "class of site", state: "state", plan: "programme", hold: "hold", month: "month of work" };

// --- legend: the symbols that are on the map now, in the words of the tables ----------------------
S.legendLines = function () {
  const lines = S.view.event === null
    ? S.page.lists.level_class.map((w) => [w.value, w.words])
    : Object.entries(S.EVENT_WORDS);
  if (S.view.sealed) Object.entries(S.SEALED_WORDS).forEach(([cls, words]) => lines.push([cls, words + " (" + S.countOf(cls) + ")"]));
  if (S.layers.ducts) lines.push(["chamber", "chamber (nearer)"]);
  return lines;
};
S.lineWords = () => [
  ...(S.layers.ducts ? [["line whole", "duct with proved ends (nearer)"], ["line dashed", "duct, ends not proved (nearer)"]] : []),
  ["line edge", "edge of a region"], ["ring", "ringed: found or opened last, or end of a closing line"],
  ...(S.shownPictures.some((p) => p.aep !== null) ? [["tint", "flood surface, three depths: to 0.5 m, to 1.5 m, deeper; no tint is not the same as dry"]] : []),
  ...(S.shownPictures.some((p) => p.aep === null) ? [["ground", "shaded ground, light from the north-west"]] : []),
];
S.fillLegend = function (into) {
  const box = into || S.byId("legend");
  const dl = el("dl");
  S.legendLines().forEach(([cls, words]) => {
    const dt = el("dt");
    dt.appendChild(S.sign(cls, 18));
    dl.append(dt, el("dd", words));
  });
  S.lineWords().forEach(([cls, words]) => {
    const dt = el("dt"), swatch = el("span", null, "swatch " + cls);
    if (cls === "tint") swatch.append(el("i"), el("i"), el("i"));
    dt.appendChild(swatch);
    dl.append(dt, el("dd", words));
  });
  box.replaceChildren(el("p", "From afar one symbol per site: the worst of its openings; a figure beside it counts sites that stand too close to part. Nearer, one per opening.", "quiet"), dl);
};
