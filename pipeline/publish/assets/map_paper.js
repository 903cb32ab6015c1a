// Part 8: the printed sheet, A4 or A3 landscape, laid out on screen as it will lie on paper.
"use strict";
const PAPER = { A4: [281, 194], A3: [404, 281] }; // mm inside margins of 8 mm
let before = null;
S.isPrinting = false;
S.paper = function (size) {
  if (before) return;
  before = { bounds: S.map.getBounds(), focus: document.activeElement, card: !S.byId("card").hidden };
  S.byId("card").hidden = true;
  S.byId("twin").hidden = true;
  document.body.classList.remove("with-twin");
  document.body.classList.add("paper");
  setSize(size);
  S.byId("print-now").focus();
};
function setSize(size) {
  const [wide, high] = PAPER[size];
  document.body.style.setProperty("--preview", Math.min(1, document.documentElement.clientWidth / (wide / 25.4 * 96 + 2)));
  document.body.style.setProperty("--sheet-wide", wide + "mm");
  document.body.style.setProperty("--sheet-high", high + "mm");
  S.byId("page-size").textContent = `@page { size: ${size} landscape; margin: 8mm; }`;
  S.byId("paper-size").value = size;
  S.map.invalidateSize({ animate: false, pan: false });
  S.map.fitBounds(before.bounds, { animate: false });
  S.draw();
  fillSheet();
}
S.leavePaper = function () {
  if (!before) return;
  const { bounds, focus, card } = before;
  before = null;
  document.body.classList.remove("paper");
  S.byId("card").hidden = !card;
  S.map.invalidateSize({ animate: false, pan: false });
  S.map.fitBounds(bounds, { animate: false });
  S.draw();
  if (focus && document.contains(focus)) focus.focus();
};
S.inPaper = () => before !== null;
// one millimetre of paper is so many metres on the ground, at the middle of the sheet
function scaleWords() {
  const size = S.map.getSize(), middle = size.y / 2;
  const a = S.map.containerPointToLatLng([0, middle]), b = S.map.containerPointToLatLng([size.x, middle]);
  const paper_m = size.x / 96 * 0.0254; // a CSS inch is 96 px on paper
  const ratio = S.map.distance(a, b) / paper_m, digits = 10 ** (Math.floor(Math.log10(ratio)) - 1);
  return "about 1 : " + (Math.round(ratio / digits) * digits).toLocaleString("en") + ", printed at 100 %";
}
function fillSheet(withScale) {
  const box = S.byId("sheet"), about = S.page.about;
  const legend = el("div", null, "legend");
  S.fillLegend(legend);
  const event = S.view.event === null ? "Classes at the policy of each site."
    : "Openings by chance: " + S.page.events.find((e) => e.aep === S.view.event).words + ".";
  box.replaceChildren(
    el("h2", about.name), el("p", about.caution, "first"), ...selectedWords(), el("p", S.byId("count").textContent), el("p", S.filterWords()),
    el("p", event + (S.view.sealed ? " As the chosen packages seal." : " As found.")),
    el("p", (withScale === false ? "" : "Scale " + scaleWords() + ". ") + "North is up."), legend,
    ...about.lines.map((line) => el("p", line, "small")));
  fitSheet(box);
}
// what was found or opened last, in words
function selectedWords() {
  if (!S.selected) return [];
  const { id, thing } = S.selected;
  return [el("p", "Ringed and named: " + id + (thing.opening_id === undefined ? "" : ": " + thing.level_class + ", margin " + S.margin(thing)
    + (thing.hold_words ? "; hold (" + thing.hold + "): " + thing.hold_words : "") + "; next step: " + thing.next_words) + ".")];
}
// a sheet is as high as its paper: long words get a smaller letter, so that no line is cut
function fitSheet(box) {
  box.style.fontSize = "";
  if (!before) return; // printed without the preview the sheet is as high as its words
  for (let size = 11; size >= 6.5; size -= 0.25) {
    box.style.fontSize = size + "px";
    if (box.lastChild.getBoundingClientRect().bottom <= box.getBoundingClientRect().bottom - 6) return;
  }
}
// On paper the pictures are cut to the window and drawn flat: whole, enlarged a thousand times, many
// readers of a PDF leave them out; and a canvas is printed also where backgrounds are not.
S.drawPictures = function () {
  const isFlat = before !== null || S.isPrinting, map = S.map;
  document.body.classList.toggle("flat", isFlat);
  const old = map.getPane("tilePane").querySelector("canvas.pictures");
  if (old) old.remove();
  if (!isFlat) return;
  const size = map.getSize(), sharp = Math.max(2, S.ratio), canvas = L.DomUtil.create("canvas", "pictures", map.getPane("tilePane"));
  canvas.setAttribute("aria-hidden", "true");
  canvas.width = size.x * sharp; canvas.height = size.y * sharp;
  canvas.style.width = size.x + "px"; canvas.style.height = size.y + "px";
  L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
  const ctx = canvas.getContext("2d");
  ctx.scale(sharp, sharp);
  S.shownPictures.forEach((p) => drawPicture(ctx, p, size));
};
function drawPicture(ctx, picture, size) {
  const img = S.pictureOf(picture), [[south, west], [north, east]] = picture.bounds;
  if (!img || !img.complete || !img.naturalWidth) { if (img) img.onload = S.drawPictures; return; }
  const a = S.map.latLngToContainerPoint([north, west]), b = S.map.latLngToContainerPoint([south, east]);
  const x = (b.x - a.x) / img.naturalWidth, y = (b.y - a.y) / img.naturalHeight; // paper px of a cell
  const from = [Math.max(0, Math.floor(-a.x / x)), Math.max(0, Math.floor(-a.y / y))];
  const to = [Math.min(img.naturalWidth, Math.ceil((size.x - a.x) / x)), Math.min(img.naturalHeight, Math.ceil((size.y - a.y) / y))];
  const wide = to[0] - from[0], high = to[1] - from[1];
  if (wide <= 0 || high <= 0) return;
  ctx.globalAlpha = picture.opacity;
  ctx.imageSmoothingEnabled = picture.aep === null;
  ctx.drawImage(img, from[0], from[1], wide, high, a.x + from[0] * x, a.y + from[1] * y, wide * x, high * y);
}
S.startPaper = function () {
  S.byId("print").onclick = () => S.paper("A4");
  S.byId("leave-paper").onclick = S.leavePaper;
  S.byId("print-now").onclick = () => window.print();
  S.byId("paper-size").onchange = (event) => setSize(event.target.value);
  // printed by the browser's own command: what is painted already is printed as it stands, made to fit
  window.addEventListener("beforeprint", () => {
    if (before) return;
    const size = S.map.getSize(), side = 280;
    fillSheet(false);
    S.isPrinting = true;
    S.drawPictures();
    document.body.style.setProperty("--map-wide", size.x + "px");
    document.body.style.setProperty("--map-high", size.y + "px");
    document.body.style.setProperty("--fit", Math.min(1, 1060 / (size.x + side), 730 / size.y));
  });
  window.addEventListener("afterprint", () => { S.isPrinting = false; S.drawPictures(); });
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "p" && !before) { event.preventDefault(); S.paper("A4"); }
  });
};
