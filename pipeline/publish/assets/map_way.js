// Part 5: the water's way, played step by step from where the water stands to the opening.
"use strict";
let playing = null;
S.stopWay = function () {
  clearInterval(playing);
  playing = null;
  if (S.wayLayer) S.wayLayer.clearLayers();
};
// words of the steps, each with the place that it ends at: the next place named, at last the opening
function waySteps(row) {
  const words = row.way_words ? row.way_words.split(" -> ") : [];
  const ids = row.way_places ? row.way_places.split(" > ") : [];
  const places = ids.map((id) => S.placeOf.get(id)).filter((p) => p && S.at(p));
  return words.map((text, i) => {
    const isLast = i >= words.length - 1;
    // the source stands at the first place; every duct leads to the next one; the last is the mouth
    const place = isLast || i >= places.length ? row : places[i];
    return { text, at: S.at(place) };
  });
}
S.wayParts = function (row) {
  const steps = waySteps(row);
  if (!steps.length) return [];
  const start = button("Show the water's way", () => playWay(row, steps, box, start));
  const items = el("ol", null, "way");
  steps.forEach((s) => items.appendChild(el("li", s.text)));
  const box = el("div");
  box.hidden = true;
  const folded = more("The water's way (" + steps.length + " steps)", [items], false);
  return [start, box, folded];
};
function playWay(row, steps, box, start) {
  const points = steps.map((s) => s.at).filter(Boolean);
  if (points.length) S.map.fitBounds(L.latLngBounds(points).pad(0.6), { maxZoom: 19, animate: false });
  let now = 0;
  const said = el("p", "", "said");
  said.setAttribute("aria-live", "polite");
  const show = (n) => {
    now = Math.max(0, Math.min(steps.length - 1, n));
    drawWay(steps, now);
    said.textContent = "Step " + (now + 1) + " of " + steps.length + ": " + steps[now].text;
    // said, not disabled: a disabled button would lose the focus of whoever works by keys
    back.setAttribute("aria-disabled", String(now === 0));
    next.setAttribute("aria-disabled", String(now === steps.length - 1));
    if (now === steps.length - 1) pause();
  };
  const pause = () => { clearInterval(playing); playing = null; play.textContent = now === steps.length - 1 ? "Play again" : "Play"; };
  const back = button("← step back", () => { pause(); show(now - 1); });
  const next = button("step on →", () => { pause(); show(now + 1); });
  const play = button("Play", () => {
    if (playing) { pause(); return; }
    if (now === steps.length - 1) show(0);
    if (now === steps.length - 1) return;
    play.textContent = "Pause";
    playing = setInterval(() => show(now + 1), 1400);
  });
  box.replaceChildren(said, back, play, next);
  box.hidden = false;
  start.hidden = true;
  box.onkeydown = (event) => {
    if (event.key === "ArrowRight") { pause(); show(now + 1); event.preventDefault(); }
    if (event.key === "ArrowLeft") { pause(); show(now - 1); event.preventDefault(); }
  };
  S.stopWay();
  show(0);
  play.focus();
  play.click();
}
function drawWay(steps, now) {
  S.wayLayer.clearLayers();
  const done = steps.slice(0, now + 1).filter((s) => s.at);
  const points = done.map((s) => s.at);
  if (points.length > 1) {
    L.polyline(points, { color: "#1d1d2b", weight: 7, opacity: .85, interactive: false }).addTo(S.wayLayer);
    L.polyline(points, { color: "#f2c200", weight: 3, interactive: false }).addTo(S.wayLayer);
  }
  steps.forEach((s, i) => {
    if (!s.at || i > now) return;
    L.marker(s.at, {
      interactive: false, keyboard: false,
      icon: L.divIcon({ className: "mark", html: el("div", i + 1, "step" + (i === now ? " now" : "")), iconSize: [22, 22] }),
    }).addTo(S.wayLayer);
  });
}
