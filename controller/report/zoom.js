"use strict";
(() => {
  const place = document.getElementById("zoom");
  const packed = JSON.parse(document.getElementById("samples").textContent);
  const unrun = (list) => list.flatMap((v) => (Array.isArray(v) ? Array(v[1]).fill(v[0]) : [v]));
  const degrees = (list) => unrun(list).map((v) => (v === null ? null : v / 100));
  const rows = [degrees(packed.mash), degrees(packed.setpoint), unrun(packed.heat)];
  const data = [[], [], [], []];
  const put = (second, values) => [second / 60, ...values].forEach((v, i) => data[i].push(v));
  let at = 0;
  unrun(packed.t).forEach((step, i) => {
    if (i && step > packed.gap_s) put(at + 1, [null, null, null]); // nothing is drawn across a gap
    put((at += step), rows.map((row) => row[i]));
  });
  const t = data[0];
  if (t.length < 2) return;
  // Heat as its mean over a few pixels, so that a relay's switching shows as its share, however far one has zoomed.
  const share = (u, series, first, last) => {
    const { left, width } = u.bbox, wide = Math.round(3 * devicePixelRatio), columns = Math.ceil(width / wide);
    const x = u.data[0], y = u.data[series], sum = new Float64Array(columns), fill = new Path2D();
    const place = (i) => (u.valToPos(x[i], "x", true) - left) / wide;
    for (let i = first; i < last; i++) {
      const from = place(i), to = place(i + 1);
      for (let c = Math.max(0, Math.floor(from)); y[i] && c < Math.min(columns, to); c++) sum[c] += y[i] * (Math.min(to, c + 1) - Math.max(from, c));
    }
    const floor = u.valToPos(0, "heat", true);
    sum.forEach((mean, c) => {
      const top = u.valToPos(mean, "heat", true);
      if (mean > 0) fill.rect(left + c * wide, top, wide, floor - top);
    });
    return { fill, stroke: new Path2D() };
  };
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
      axes: [{ ...axis, space: 70, values: (u, v) => v.map((m) => m + " min") }, { ...axis, size: 68, values: (u, v) => v.map((c) => `${c} ${packed.unit}`) }],
      series: [
        { label: "Run time", value: fixed(1, " min") },
        { label: packed.curve, stroke: color("--mash"), width: 2, value: fixed(2, ` ${packed.unit}`) },
        { label: "setpoint", stroke: color("--set"), width: 1.5, dash: [7, 3], value: fixed(2, ` ${packed.unit}`) },
        { label: "heat", scale: "heat", stroke: color("--heat"), fill: color("--heat") + "99", width: 0, paths: share, points: { show: false }, value: fixed(0, " %") },
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
