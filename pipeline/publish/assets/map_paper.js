// Part 8: the printed sheet, A4 or A3 landscape, laid out on screen as it will lie on paper.
"use strict";
const PAPER = { A4: [281, 194], A3: [404, 281] }; // mm inside margins of 8 mm
let before = null;
S.paper = function (size) {
  if (before) return;
  before = { bounds: S.map.getBounds(), focus: document.activeElement };
  S.byId("card").hidden = true;
  S.byId("twin").hidden = true;
  document.body.classList.remove("with-twin");
  document.body.classList.add("paper");
  setSize(size);
  S.byId("print-now").focus();
};
function setSize(size) {
  const [wide, high] = PAPER[size];
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
  const { bounds, focus } = before;
  before = null;
  document.body.classList.remove("paper");
  S.map.invalidateSize({ animate: false, pan: false });
  S.map.fitBounds(bounds, { animate: false });
  S.draw();
  if (focus && document.contains(focus)) focus.focus();
};
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
    el("h2", about.name), el("p", S.byId("count").textContent), el("p", S.filterWords()),
    el("p", event + (S.view.sealed ? " As the chosen packages seal." : " As found.")),
    el("p", (withScale === false ? "" : "Scale " + scaleWords() + ". ") + "North is up."), legend,
    ...about.lines.map((line) => el("p", line, "small")));
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
    document.body.style.setProperty("--map-wide", size.x + "px");
    document.body.style.setProperty("--map-high", size.y + "px");
    document.body.style.setProperty("--fit", Math.min(1, 1060 / (size.x + side), 730 / size.y));
  });
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "p" && !before) { event.preventDefault(); S.paper("A4"); }
  });
  S.inPaper = () => before !== null;
};
