// Part 4b: section of a seal: the drawing of the work pack, made beforehand.
"use strict";
S.sectionOf = function (id) {
  const drawing = S.sections.drawings[S.sections.of[id]];
  if (!drawing) return null;
  const [text, ...words] = drawing;
  const svg = document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
  const box = svg.getAttribute("viewBox").split(" ").map(Number);
  svg.setAttribute("class", "section");
  svg.setAttribute("aria-label", "Section of the seal of " + id);
  svg.removeAttribute("height");
  svg.setAttribute("width", Math.round(box[2] * 5)); // letters of 2.2 mm at 11 pixels
  return [svg, el("p", "Seen from the mouth, and along the duct; to scale. Grey is sealant, which covers all but the cables. "
    + "Letters and hatch: cables by class; numbers and outlines: sleeves by size.", "quiet"), list("ul", words)];
};
