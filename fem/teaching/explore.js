// Shows the closure that slider and choice name; texts, numbers and pictures come ready from the page.
"use strict";
(() => {
  const {steps, pictures, stops} = JSON.parse(document.getElementById("steps").textContent);
  const element = (id) => document.getElementById(id);
  const slider = element("stop");
  let before = null;

  const chosen = () => Number(document.querySelector("input[name=choice]:checked").value);
  const current = () => steps[chosen() * stops.length + Number(slider.value)];

  function difference(now) { // of numbers as they are printed, so that it can be checked by eye
    if (before === null || before.reason || before === now) return "";
    const parts = [["cone_height_mm", "cones"], ["scar_length_mm", "scar"]].map(([name, words]) => {
      const printed = (texts) => Number(texts[name].replace("−", "-"));
      const change = printed(now.texts) - printed(before.texts);
      const sign = change > 0.05 ? "+" : change < -0.05 ? "−" : "±";
      return `${words} ${sign}${Math.abs(change).toFixed(1)} mm`;
    });
    return `Against the one before (${before.title}): ${parts.join(", ")}.`;
  }

  function show() {
    const now = current(), said = stops[slider.value].said;
    element("stop-said").textContent = said;
    slider.setAttribute("aria-valuetext", said);
    element("title").textContent = `${now.title}.`;
    element("said").textContent = now.reason ? `No closure was found: ${now.reason}` : now.said;
    element("change").textContent = now.reason ? "" : difference(now);
    element("found").hidden = now.reason !== "";
    document.querySelectorAll("tr[data-step]").forEach((row) => row.classList.toggle("now", row.dataset.step === now.name));
    element("doubt").textContent = now.doubt || "";
    for (const chart of document.querySelectorAll("svg.trade")) {
      const point = [...chart.querySelectorAll("[data-point]")].find((one) => one.dataset.point === now.name);
      const [x, y] = point ? point.getAttribute("transform").match(/-?[\d.]+/g) : [-50, -50];
      const ring = chart.querySelector(".here");
      ring.setAttribute("cx", x);
      ring.setAttribute("cy", y);
      if (point) chart.insertBefore(point, ring); // above those that lie on it
    }
    if (!now.reason) {
      element("ends").textContent = now.ends;
      for (const kind of ["plan", "skin"]) {
        element(kind).src = pictures[now.name][kind];
        element(kind).alt = now[kind];
      }
      const canvas = document.querySelector("canvas[data-case]");
      canvas.dataset.case = now.name;
      canvas.setAttribute("aria-label", now.skin);
      canvas.dispatchEvent(new Event("case"));
      document.querySelectorAll("[data-text]").forEach((one) => { one.textContent = now.texts[one.dataset.text]; });
      document.querySelectorAll("[data-bar]").forEach((bar) => {
        bar.value = Math.abs(now.values[bar.dataset.bar]); // a sunk cone is as long as one that stands
        bar.textContent = now.texts[bar.dataset.bar];
      });
    }
    before = now;
  }

  slider.addEventListener("input", show);
  document.querySelectorAll("input[name=choice]").forEach((choice) => choice.addEventListener("change", show));
  element("live").hidden = false;
  show();
})();
