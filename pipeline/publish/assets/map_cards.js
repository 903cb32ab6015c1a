// Part 3: cards. A short card first; everything else opens below it.
"use strict";
const { el, button } = S;
let came = null; // what had the focus before the card opened
function table(pairs) {
  const box = el("table");
  pairs.forEach(([name, value]) => {
    if (value === null || value === undefined || value === "") return;
    const tr = el("tr"), th = el("th", name);
    th.scope = "row";
    tr.append(th, el("td", value));
    box.appendChild(tr);
  });
  return box;
}
function more(title, parts, isOpen) {
  const box = el("details");
  box.open = Boolean(isOpen);
  box.append(el("summary", title), ...parts);
  return box;
}
function list(tag, texts) {
  const box = el(tag);
  texts.forEach((t) => box.appendChild(el("li", t)));
  return box;
}
// what a card shows of the view (symbols and their words) follows it while the card stays open
function follows(node, fill) {
  node.classList.add("follows");
  node.refill = () => fill(node);
  node.refill();
  return node;
}
S.refreshCard = () => S.byId("card").querySelectorAll(".follows").forEach((node) => node.refill());
S.openCard = function (id, words, cls, parts, thing) {
  const card = S.byId("card");
  if (card.hidden) came = document.activeElement;
  S.stopWay();
  S.highlight.clear();
  S.selected = thing ? { id, thing } : null;
  const close = button("×", S.closeCard, "close");
  close.setAttribute("aria-label", "Close the card");
  const head = el("h2");
  if (thing && thing.opening_id !== undefined) {
    head.append(
      follows(el("span"), (mark) => mark.replaceChildren(S.sign(S.shownAs(thing), 18), " ")),
      el("span", id, "id"),
      follows(el("span"), (as) => { as.textContent = S.isSealedHere(thing) ? ", as sealed: " + S.shownAs(thing) : ""; }));
  } else {
    if (cls) head.append(S.sign(cls, 18), " ");
    head.append(el("span", id, "id"), words ? ", " + words : "");
  }
  const copy = button("Copy the id", () => S.copy(id, copy), "act small");
  const top = el("div", null, "top");
  top.append(head, copy, close);
  card.replaceChildren(top, ...parts);
  card.setAttribute("aria-label", "Details of " + id);
  card.hidden = false;
  card.scrollTop = 0;
  close.focus();
  S.draw();
};
S.closeCard = function () {
  S.byId("card").hidden = true;
  S.stopWay();
  S.highlight.clear(); // what was found stays ringed, for the printed sheet
  S.draw();
  if (came && document.contains(came)) came.focus();
};
S.copy = async function (text, told) {
  let done = false;
  try { await navigator.clipboard.writeText(text); done = true; } catch (e) {
    const box = el("textarea", text, "aside");
    document.body.appendChild(box);
    box.select();
    done = document.execCommand("copy");
    box.remove();
  }
  told.textContent = done ? "Copied: " + text : "Not copied: mark the id and copy it by hand";
};
function stepThrough(row) {
  const rows = (S.shownBySite.get(row.site_id) || { rows: [] }).rows, i = rows.indexOf(row);
  if (i < 0 || rows.length < 2) return [];
  const box = el("p", null, "walk");
  const to = (n) => { const next = rows[(n + rows.length) % rows.length]; S.goTo(next); S.showOpening(next); };
  box.append(button("← before", () => to(i - 1)), button("next →", () => to(i + 1)),
    el("span", " opening " + (i + 1) + " of " + rows.length + " shown at " + row.site_id + S.ofThese(row.site_id), "quiet"));
  return [box];
}
// of the openings shown at a site, how many are of the first, worst symbol: the figure on its label
S.ofThese = (site_id) => {
  const site = S.shownBySite.get(site_id);
  return site ? "; " + site.first + " of these " + S.firstWords().replace("openings ", "") : "";
};
function chanceWords(row) {
  const c = row.onset_chance_per_year;
  if (c === null) return "not known";
  if (c <= 0) return "in no modelled event";
  return (row.onset_bound ? row.onset_bound + " " : "") + "1 in " + Math.round(1 / c).toLocaleString("en") + " a year";
}

// two heads, named as in trace and work packs: the class follows the first, the seal has to hold the second
function heads(row) {
  const from = row.seal_head_from ? " (" + row.seal_head_from + ")" : "", words = [];
  if (row.head_m !== null) words.push("at the design event: " + row.head_m.toFixed(2) + " m (water of that event with freeboard, over its own invert)");
  if (row.seal_head_m !== null || from) words.push("the seal is designed for: " + (row.seal_head_m === null ? "not known" : row.seal_head_m.toFixed(2) + " m") + from);
  return words.join("; ");
}
S.showOpening = function (row) {
  const parts = [table([
    ["Class", row.level_class],
    ["Margin", S.margin(row)],
    ["Hold", row.hold_words ? row.hold + ": " + row.hold_words : ""],
    ["Next step", row.next_words],
    ["State", row.state ? S.stateWords.get(row.state) : ""],
    ["Programme", S.planWords.get(row.plan)],
    ["Why", row.reason],
    ["Head", heads(row)],
  ])];
  parts.unshift(follows(el("div"), (view) => view.replaceChildren(...S.viewWords(row).map((words) => el("p", words)))));
  parts.push(...S.wayParts(row));
  const place = S.placeOf.get(row.building_id);
  const links = el("p");
  if (place && place.sealed_words !== undefined) links.append(button("Building " + row.building_id, () => S.showBuilding(place), "linkish"));
  else if (place) links.append(button("Chamber " + row.building_id, () => S.showChamber(place), "linkish"));
  const site = S.siteOf.get(row.site_id);
  if (site) links.append(button("Site " + row.site_id, () => S.showSite(site), "linkish"));
  const drawing = S.sectionOf(row.opening_id);
  if (drawing) parts.push(more("Section of the seal", drawing));
  const cautions = row.cautions ? row.cautions.split(" | ") : [];
  if (cautions.length) parts.push(more("Cautions (local codes, permits and the owner's rules decide)", [list("ul", cautions)]));
  parts.push(more("All about this opening", [table([
    ["Kind", row.opening_kind], ["Way", row.way], ["Own level", S.metres(row.opening_level_m)],
    ["Let-in level", S.metres(row.let_in_level_m)], ["Policy line", S.metres(row.policy_level_m)],
    ["Doubt", row.limit_mm === null ? "" : row.limit_mm + " mm"], ["Water comes in", chanceWords(row)],
    ["Seal", row.seal_words], ["In this state since", row.state_since],
    ["Not further because", row.stuck], ["Later states reached all the same", row.ahead], ["Holds lifted", row.lifted], ["Note of the survey", row.note],
    ["Entry", row.entry_id], ["Region", row.region], ["Class of site", row.critical_class],
    ["Surveyed in", row.file ? row.file + (row.sheet ? ", " + row.sheet : "") + (row.row === null ? "" : ", row " + row.row) : ""],
  ])]), links, ...stepThrough(row));
  S.openCard(row.opening_id, "", null, parts, row);
};
S.showBuilding = function (b) {
  const rows = S.openings.filter((o) => o.building_id === b.building_id);
  const parts = [table([
    ["Site", b.site_id], ["Chosen package", b.package_words || "none"],
    ["Before and after", b.sealed_words], ["Closing line", b.line_words],
    ["No seal closes", b.line_cannot],
  ])];
  if (b.line_ends) {
    const show = button("Show the closing line", () => {
      const ids = b.line_ends.split(";");
      S.highlight = new Set(ids);
      const spots = ids.map((id) => S.placeOf.get(id)).filter(Boolean).map(S.at).filter(Boolean);
      if (spots.length) S.map.fitBounds(L.latLngBounds(spots).pad(0.5), { maxZoom: 19, animate: false });
      S.draw();
      told.textContent = ids.length + " ends ringed: " + ids.join(", ");
    });
    const told = el("p", "The cheapest set of ends that shuts the building off at the policy line.", "quiet");
    told.setAttribute("aria-live", "polite");
    parts.push(show, told);
  }
  parts.push(...listOf(rows));
  S.openCard(b.building_id, "building", null, parts);
};
function listOf(rows) {
  if (!rows.length) return [];
  const box = el("div");
  rows.slice(0, 200).forEach((row) => {
    const go = button("", () => { S.goTo(row); S.showOpening(row); }, "linkish");
    box.appendChild(follows(go, () => {
      const cls = S.shownAs(row);
      go.replaceChildren(S.sign(cls, 15), " " + row.opening_id + ": " + cls);
    }));
  });
  if (rows.length > 200) box.appendChild(el("p", "200 of " + rows.length + ": the table holds all."));
  return [more("Openings (" + rows.length + ")", [box], rows.length <= 40)];
}
S.showSite = function (site) {
  const rows = S.bySite.get(site.site_id) || [];
  const buildings = S.buildings.filter((b) => b.site_id === site.site_id);
  const parts = [table([
    ["Programme", site.choice], ["Why", site.choice_reason], ["Type", site.site_type],
    ["Region", site.region], ["Class of site", site.critical_class],
    ["Customers", site.customers_count === null ? "" : site.customers_count.toLocaleString("en")],
    ["Grid reference", site.grid_ref],
  ])];
  if (S.page.packs[site.site_id]) {
    const link = el("a", "Work pack of this site (PDF)");
    link.href = S.page.packs[site.site_id];
    parts.push(link);
  }
  buildings.forEach((b) => parts.push(button("Building " + b.building_id + (b.sealed_words ? ": " + b.sealed_words : ""),
    () => S.showBuilding(b), "linkish")));
  parts.push(...S.strip(rows), ...listOf(rows.filter((r) => S.view.chambers || !S.isChamberEnd(r))));
  S.openCard(site.site_id, site.site_name, null, parts, site);
};
S.showChamber = function (c) {
  const rows = S.openings.filter((o) => o.building_id === c.chamber_id);
  S.openCard(c.chamber_id, "chamber", "chamber", [table([
    ["Other numbers", c.other_numbers], ["Cover level", S.metres(c.cover_level_m)],
    ["Water, by event", c.water_words], ["Site", c.site_id], ["Grid reference", c.grid_ref],
    ["Note of the survey", c.note],
  ]), ...listOf(rows)], c);
};
S.showLink = function (link) {
  S.openCard(link.link_id, "duct", null, [table([
    ["From", S.idOf(S.places[link.a])], ["To", S.idOf(S.places[link.b])],
    ["Crest", S.metres(link.crest_level_m)], ["Proof of its ends", link.proof],
  ])]);
};
