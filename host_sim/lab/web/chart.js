// Charts on narrow screens.
"use strict";

// On a narrow screen a chart keeps its height and the size of its words, and only what is drawn gets narrower.
// Words that no longer fit beside each other go into a list below the chart, in their colour.
const narrow = window.matchMedia("(max-width: 46rem)");

function narrowed(figure, parts) {
  const chart = figure.querySelector("svg");
  if (!chart) { return; }
  if (parts.length) {
    const shown = parts.map((box, at) => {
      const part = chart.cloneNode(true);
      part.setAttribute("viewBox", box.join(" "));
      if (at) { part.removeAttribute("aria-label"); part.setAttribute("aria-hidden", "true"); }
      return part;
    });
    chart.replaceWith(...shown);
    shown.forEach((part, at) => part.after(wordsBelow(part, parts[at][0], parts[at][2])));
    return;
  }
  const [, , width, height] = chart.getAttribute("viewBox").split(" ").map(Number);
  const shown = figure.clientWidth;
  const share = Math.min(shown / width, 1);
  chart.setAttribute("viewBox", `0 0 ${shown} ${height}`);
  for (const one of chart.children) {
    for (const name of ["x", "cx", "width"]) {
      if (one.hasAttribute(name)) { one.setAttribute(name, one.getAttribute(name) * share); }
    }
    const way = one.getAttribute("points");
    if (way) { one.setAttribute("points", way.replace(/([\d.-]+),/g, (_, x) => `${(x * share).toFixed(1)},`)); }
  }
  figure.append(wordsBelow(chart, 0, shown));
}

// Moves words into the part that is shown, and returns a list of those that would cover others.
function wordsBelow(chart, begin, wide) {
  const list = document.createElement("ul");
  list.className = "lab-key";
  const placed = [];
  for (const text of [...chart.querySelectorAll("text")]) {
    const box = text.getBBox();
    if (box.x + box.width < begin || box.x > begin + wide) { continue; }  // Of another part.
    const shift = Math.max(0, begin + 1 - box.x) + Math.min(0, begin + wide - 1 - box.x - box.width);
    text.setAttribute("x", Number(text.getAttribute("x")) + shift);
    const left = box.x + shift;
    const covers = placed.some((other) => left < other.right + 3 && left + box.width > other.left - 3
      && box.y < other.bottom - 2 && box.y + box.height > other.top + 2);
    if (covers && /^[-−\d.]+$/.test(text.textContent)) {
      text.remove();  // A number at an axis, which means nothing elsewhere.
    } else if (covers || box.width > wide) {
      const item = document.createElement("li");
      item.style.color = text.getAttribute("fill");
      item.textContent = text.textContent;
      list.append(item);
      text.remove();
    } else {
      placed.push({left, right: left + box.width, top: box.y, bottom: box.y + box.height});
    }
  }
  return list;
}
