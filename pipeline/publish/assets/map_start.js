// Part 9: views, picture layers, own position, keyboard, and the start.
"use strict";
S.shownPictures = [];
S.layers = { ground: true, flood: true, ducts: true };
function startViews() {
  const event = S.byId("event"), overlay = {};
  event.append(new Option("the policy of each site: classes", ""));
  S.page.events.forEach((e) => event.append(new Option("water in at " + e.words + " or more often", e.aep)));
  event.value = S.view.event === null ? "" : S.view.event;
  const pictures = S.page.pictures;
  const layerOf = (picture) => {
    if (!overlay[picture.name]) overlay[picture.name] = L.imageOverlay(picture.data_uri, picture.bounds, { opacity: picture.opacity, alt: picture.name, interactive: false, pane: "tilePane", className: picture.aep === null ? "" : "cells" });
    return overlay[picture.name];
  };
  S.pictureOf = (picture) => overlay[picture.name] && overlay[picture.name].getElement();
  const wantedAep = () => S.view.event === null ? S.page.design_aep : S.view.event;
  const show = () => {
    const told = [];
    S.shownPictures = [];
    pictures.forEach((p) => {
      const isOn = p.aep === null ? S.layers.ground : S.layers.flood && Math.abs(p.aep - wantedAep()) < 1e-9;
      if (isOn) S.shownPictures.push(p);
      if (isOn) { layerOf(p).addTo(S.map); if (p.aep !== null) told.push(p.name); } else if (overlay[p.name]) overlay[p.name].remove();
    });
    pictures.filter((p) => p.aep !== null).forEach((p) => overlay[p.name] && overlay[p.name].setZIndex(2));
    S.byId("flood-told").textContent = S.layers.flood ? (told.length ? told.join("; ") : "no picture of this event") : "";
  };
  event.onchange = () => { S.view.event = event.value === "" ? null : Number(event.value); show(); S.change(); };
  [["chambers", "with-chambers"], ["sealed", "as-sealed"], ["lines", "with-lines"]].forEach(([name, id]) => {
    const tick = S.byId(id);
    tick.checked = S.view[name];
    tick.onchange = () => { S.view[name] = tick.checked; S.change(); };
  });
  ["ground", "flood", "ducts"].forEach((name) => {
    const tick = S.byId("layer-" + name);
    tick.checked = S.layers[name];
    tick.onchange = () => { S.layers[name] = tick.checked; show(); S.fillLegend(); S.draw(); };
  });
  S.byId("layer-ground").disabled = !pictures.some((p) => p.aep === null);
  S.byId("layer-flood").disabled = !pictures.some((p) => p.aep !== null);
  show();
}
S.mark = function (at, words, radius_m) {
  S.ownLayer.clearLayers();
  if (radius_m) L.circle(at, { radius: radius_m, color: "#1d1d2b", weight: 1, fillOpacity: .08, interactive: false }).addTo(S.ownLayer);
  L.circleMarker(at, { radius: 9, color: "#fff", weight: 3, fillColor: "#1d1d2b", fillOpacity: 1, interactive: false }).addTo(S.ownLayer);
  S.byId("own-told").textContent = words;
};
function startOwnPosition() {
  const b = S.byId("own"), told = S.byId("own-told");
  b.onclick = () => {
    if (!navigator.geolocation) { told.textContent = "This device gives no position."; return; }
    told.textContent = "Waiting for the device's position …";
    navigator.geolocation.getCurrentPosition((p) => {
      const at = [p.coords.latitude, p.coords.longitude];
      S.mark(at, "You are here, to about " + Math.round(p.coords.accuracy) + " m. The position stays on this device.", p.coords.accuracy);
      S.map.setView(at, Math.max(S.map.getZoom(), 17), { animate: false });
    }, (e) => { told.textContent = "No position: " + (e.code === 1 ? "the device does not allow it for this file." : "the device does not know it now."); },
    { enableHighAccuracy: true, timeout: 30000, maximumAge: 60000 });
  };
}
function startKeys() {
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    if (S.inPaper()) S.leavePaper();
    else if (!S.byId("card").hidden) S.closeCard();
    else if (!S.byId("twin").hidden) S.closeTwin();
    else if (S.selected) { S.selected = null; S.draw(); }
  });
  const box = S.map.getContainer();
  box.setAttribute("role", "application");
  box.setAttribute("aria-label", "Map: arrow keys move it, plus and minus zoom. Every opening is also in the table of what is shown.");
  box.tabIndex = 0;
}
function startTiles(map) {
  if (!S.page.tiles) return;
  L.tileLayer(S.page.tiles, { maxZoom: 21, maxNativeZoom: 19, referrerPolicy: "no-referrer", zIndex: 0 }).addTo(map);
}
async function openMap(map) {
  try { await S.read(); } catch (e) {
    S.byId("count").textContent = "This browser is too old to unpack the map's data. Open the file in a browser of 2023 or later.";
    return;
  }
  S.planWords = new Map(S.page.lists.plan.map((w) => [w.value, w.words]));
  S.stateWords = new Map(S.page.lists.state.map((w) => [w.value, w.words]));
  S.readLink();
  S.startDrawing(map);
  S.ownLayer = L.layerGroup().addTo(map);
  const scale = L.control.scale({ imperial: false, maxWidth: 160 }).addTo(map);
  scale.getContainer().setAttribute("aria-hidden", "true");
  map.attributionControl.setPrefix("");
  map.fitBounds(S.page.bounds, { animate: false });
  startTiles(map);
  startViews();
  S.startFinding();
  S.startTwin();
  S.startPaper();
  startOwnPosition();
  startKeys();
  S.byId("whole").onclick = () => { S.selected = null; map.fitBounds(S.page.bounds, { animate: false }); };
  S.byId("clear").onclick = () => { S.filters.forEach((k) => S.state[k].clear()); S.change(); };
  map.on("moveend resize", S.draw);
  S.change();
  document.body.dataset.ready = "yes";
}
