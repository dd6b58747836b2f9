"use strict";
(() => {
  const place = document.getElementById("zoom");
  const packed = JSON.parse(document.getElementById("samples").textContent);
  const unrun = (list) => list.flatMap((v) => (Array.isArray(v) ? Array(v[1]).fill(v[0]) : [v]));
  let at = 0;
  const t = unrun(packed.t).map((step) => (at += step) / 60);
  if (t.length < 2) return;
  const degrees = (list) => unrun(list).map((v) => (v === null ? null : v / 100));
  const data = [t, degrees(packed.mash), degrees(packed.setpoint), unrun(packed.heat)];
  const color = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const fixed = (digits, unit) => (u, v) => (v == null ? "–" : v.toFixed(digits) + unit);
  let plot;
  const build = () => {
    if (plot) plot.destroy();
    const axis = { stroke: color("--soft"), grid: { stroke: color("--line"), width: 1 }, ticks: { stroke: color("--line") } };
    plot = new uPlot({
      width: place.clientWidth, height: Math.min(460, Math.max(280, place.clientWidth * 0.45)),
      scales: { x: { time: false }, heat: { range: [0, 400] } },
      cursor: { drag: { x: true, y: false } },
      axes: [{ ...axis, values: (u, v) => v.map((m) => m + " min") }, { ...axis, size: 68, values: (u, v) => v.map((c) => c + " °C") }],
      series: [
        { label: "Run time", value: fixed(1, " min") },
        { label: packed.curve, stroke: color("--mash"), width: 2, value: fixed(2, " °C") },
        { label: "setpoint", stroke: color("--set"), width: 1.5, dash: [7, 3], value: fixed(2, " °C") },
        { label: "heat", scale: "heat", stroke: color("--heat"), fill: color("--heat") + "55", value: fixed(0, " %") },
      ],
    }, data, holder);
  };
  const holder = document.createElement("div");
  const see = (low, high) => {
    const wide = Math.min(Math.max(high - low, 0.5), t[t.length - 1] - t[0]);
    const from = Math.min(Math.max(low, t[0]), t[t.length - 1] - wide);
    plot.setScale("x", { min: from, max: from + wide });
  };
  const zoom = (factor, shift) => () => {
    const { min, max } = plot.scales.x;
    const middle = (min + max) / 2 + shift * (max - min), half = (factor * (max - min)) / 2;
    see(middle - half, middle + half);
  };
  for (const [name, act] of [
    ["closer", zoom(0.5, 0)], ["wider", zoom(2, 0)], ["earlier", zoom(1, -0.4)], ["later", zoom(1, 0.4)],
    ["whole run", () => see(t[0], t[t.length - 1])],
  ]) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name;
    button.addEventListener("click", act);
    place.append(button);
  }
  place.append(holder);
  place.hidden = false;
  holder.setAttribute("role", "img");
  holder.setAttribute("aria-label", "The same chart to zoom into; drag over it, or use the buttons. Double-click shows the whole run.");
  const fresh = () => { if (place.open) build(); };
  place.addEventListener("toggle", fresh);
  addEventListener("resize", fresh);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", fresh);
})();
