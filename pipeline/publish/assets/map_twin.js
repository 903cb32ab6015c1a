// Part 7: the table twin: the same openings as a table, sorted, read aloud, downloaded.
"use strict";
const twinColumns = [
  ["opening_id", "Opening"], ["level_class", "Class"], ["margin_mm", "Margin (mm)"], ["state", "State"],
  ["hold", "Hold"], ["next_words", "Next step"], ["plan", "Programme"], ["shown_as", "Shown as"],
  ["site_id", "Site"], ["building_id", "Building or chamber"], ["region", "Region"], ["opening_kind", "Kind"],
  ["let_in_level_m", "Let-in level (m)"], ["policy_level_m", "Policy line (m)"], ["way", "Way"],
  ["hold_words", "Hold and who releases it"], ["reason", "Why"],
];
const LONG = new Set(["reason", "hold_words", "next_words"]);
const twin = { by: "margin_mm", up: true, inView: false, step: 1000, count: 1000 };
const SPOKEN = {
  shown_as: (row) => S.shownAs(row), plan: (row) => S.planWords.get(row.plan), hold: (row) => row.hold === "no seal" ? "" : row.hold,
};
const cell = (row, key) => SPOKEN[key] ? SPOKEN[key](row) : row[key];
function sorted(rows) {
  const keyed = rows.map((row) => [cell(row, twin.by), row.opening_id, row]);
  const blank = (v) => v === null || v === undefined || v === "";
  const lost = (row) => twin.by === "margin_mm" && !S.siteOf.has(row.site_id);
  keyed.sort((a, b) => {
    if (lost(a[2]) !== lost(b[2])) return lost(a[2]) ? 1 : -1; // of no known site: after all others
    if (a[0] === b[0]) return a[1] < b[1] ? -1 : 1;
    if (blank(a[0])) return 1; // what is not known stands last, up or down
    if (blank(b[0])) return -1;
    return (a[0] < b[0] ? -1 : 1) * (twin.up ? 1 : -1);
  });
  return keyed.map((k) => k[2]);
}
function twinRows() {
  if (!twin.inView) return S.rows;
  const bounds = S.map.getBounds();
  return S.rows.filter((row) => { const at = S.at(row); return at !== null && bounds.contains(at); });
}
S.fillTwin = function () {
  if (S.byId("twin").hidden) return;
  const head = S.byId("twin-head"), body = S.byId("twin-body"), rows = sorted(twinRows());
  head.replaceChildren();
  body.replaceChildren();
  twinColumns.forEach(([key, words]) => {
    const th = el("th"), isBy = key === twin.by;
    th.scope = "col";
    th.setAttribute("aria-sort", isBy ? (twin.up ? "ascending" : "descending") : "none");
    const b = button(words, () => {
      if (twin.by === key) twin.up = !twin.up; else { twin.by = key; twin.up = true; }
      S.fillTwin();
      S.byId("twin-head").children[twinColumns.findIndex((c) => c[0] === key)].firstChild.focus();
    }, "sort");
    if (isBy) { const arrow = el("span", twin.up ? " ▲" : " ▼"); arrow.setAttribute("aria-hidden", "true"); b.appendChild(arrow); }
    th.appendChild(b);
    head.appendChild(th);
  });
  const part = document.createDocumentFragment();
  rows.slice(0, twin.count).forEach((row) => part.appendChild(twinLine(row)));
  body.appendChild(part);
  const shown = Math.min(rows.length, twin.count);
  S.byId("twin-told").textContent = shown.toLocaleString("en") + " of " + rows.length.toLocaleString("en")
    + " rows" + (rows.length > shown ? "; the download holds all" : "");
  S.byId("twin-more").hidden = rows.length <= shown;
};
function twinLine(row) {
  const tr = el("tr");
  twinColumns.forEach(([key]) => {
    const value = cell(row, key);
    if (key === "opening_id") {
      const th = el("th");
      th.scope = "row";
      th.appendChild(button(value, () => { S.goTo(row); S.showOpening(row); }, "linkish"));
      tr.appendChild(th);
      return;
    }
    const td = el("td", value === null || value === undefined ? "" : value, LONG.has(key) ? "words" : typeof value === "number" ? "number" : "");
    if (LONG.has(key) && value) td.title = value;
    if (typeof value === "number" && key.endsWith("_m")) td.textContent = value.toFixed(3);
    tr.appendChild(td);
  });
  return tr;
}
// text that a spreadsheet would take for a formula gets a mark in front; numbers stay numbers
S.harmless = (v) => {
  if (v === null || v === undefined) return "";
  if (typeof v === "number") return String(v);
  const text = /^[\s\u0000-\u001f]*[=+\-@|%＝＋－＠]/.test(v) ? "'" + v : v;
  return '"' + text.replace(/"/g, '""') + '"';
};
S.csv = function () {
  const lines = [twinColumns.map(([, w]) => S.harmless(w)).join(",")];
  sorted(twinRows()).forEach((row) => lines.push(twinColumns.map(([k]) => S.harmless(cell(row, k))).join(",")));
  return "\ufeff" + lines.join("\r\n") + "\r\n";
};
S.startTwin = function () {
  const box = S.byId("twin");
  const open = (isOpen) => {
    box.hidden = !isOpen;
    S.byId("show-twin").setAttribute("aria-expanded", String(isOpen));
    document.body.classList.toggle("with-twin", isOpen);
    S.map.invalidateSize({ animate: false });
    twin.count = twin.step;
    S.fillTwin();
    if (isOpen) box.focus(); else S.byId("show-twin").focus();
  };
  S.closeTwin = () => open(false);
  S.byId("show-twin").onclick = () => open(box.hidden);
  S.byId("close-twin").onclick = () => open(false);
  S.byId("twin-in-view").onchange = (event) => { twin.inView = event.target.checked; S.fillTwin(); };
  S.byId("twin-more").onclick = () => { twin.count += twin.step; S.fillTwin(); };
  S.byId("download").onclick = () => {
    const link = el("a"), url = URL.createObjectURL(new Blob([S.csv()], { type: "text/csv;charset=utf-8" }));
    link.download = "openings.csv";
    link.href = url;
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  };
  S.map.on("moveend", () => { if (twin.inView) S.fillTwin(); });
};
