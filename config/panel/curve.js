// The curve of one tun: measured, setpoint, target, what is planned to come, and the heat below.

"use strict";
const Curves = (() => {
  const { celsius, lasting } = Tuns;

  const COLORS = ["mash", "set", "target", "plan", "heat"];

  class Curve {
    constructor(place) {
      Object.assign(this, { place, plot: null, tun: null, wide: 0 });
      new ResizeObserver(() => this.fit()).observe(place);
      matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.fresh());
    }

    fresh() {
      if (this.plot) this.plot.destroy();
      this.plot = null;
      if (this.tun) this.draw(this.tun);
    }

    fit() {
      const wide = this.place.clientWidth;
      if (!this.plot || wide === this.wide || wide === 0) return;
      this.wide = wide;
      this.plot.setSize({ width: wide, height: tall(wide) });
    }

    draw(tun) {
      this.tun = tun;
      const data = dataOf(tun);
      if (this.plot) this.plot.setData(data);
      else this.make(data);
    }

    make(data) {
      const style = getComputedStyle(document.documentElement);
      const [mash, set, target, plan, heat] = COLORS.map((name) => style.getPropertyValue(`--${name}`).trim());
      const axis = { stroke: style.getPropertyValue("--soft").trim(), grid: { stroke: style.getPropertyValue("--line").trim(), width: 1 }, ticks: { show: false }, font: "12px system-ui" };
      this.wide = this.place.clientWidth || 320;
      this.plot = new uPlot({
        width: this.wide, height: tall(this.wide), legend: { show: false }, cursor: { show: false },
        scales: { heat: { range: [0, 500] }, y: { range: (u, low, high) => (low === null ? [0, 100] : [Math.floor((low - 2) / 5) * 5, Math.ceil((high + 2) / 5) * 5]) } },
        axes: [{ ...axis, space: 80, size: 34, values: (u, list) => list.map((at) => clock(at, u.scales.x.max - u.scales.x.min)) }, { ...axis, size: 54, values: (u, list) => list.map((v) => Units.told(`${v} °C`)) }],
        series: [
          {},
          { stroke: heat, fill: `${heat}44`, width: 1, scale: "heat", points: { show: false } },
          { stroke: target, width: 1.5, dash: [2, 4], points: { show: false } },
          { stroke: plan, width: 1.5, dash: [1, 5], points: { show: false }, spanGaps: true },
          { stroke: set, width: 1.5, dash: [8, 4], points: { show: false } },
          { points: { show: false } },
          { points: { show: false } },
          { stroke: mash, width: 2.5, points: { show: false } },
        ],
        bands: [{ series: [6, 5], fill: `${mash}44` }],
      }, data, this.place);
    }
  }

  // The time of day; with seconds where the picture is short.
  function clock(at, span) {
    const form = { hour: "2-digit", minute: "2-digit", hour12: false };
    if (span < 600) form.second = "2-digit";
    return new Date(at * 1000).toLocaleTimeString([], form);
  }

  const tall = (wide) => Math.round(Math.min(380, Math.max(220, wide * 0.4)));

  function dataOf(tun) {
    const past = tun.curve();
    const [when, plan] = toCome(tun.status);
    const none = when.map(() => null), before = past.at.map(() => null);
    const all = (key) => past[key].concat(none);
    return [past.at.concat(when), all("heat"), all("target"), before.concat(plan), all("setpoint"), all("low"), all("high"), all("mash")];
  }

  // Corner points of the planned rest of the run from now on, people answering at once. What is left of rise, mixing and
  // rest is the daemon's own word.
  function toCome(status) {
    const when = [], plan = [];
    const step = status && status.step;
    if (!step || status.temperature_c === null || step.phase === "armed" || !["running", "paused"].includes(status.state)) return [when, plan];
    let at = 0;
    const push = (seconds, value) => {
      at += seconds;
      when.push(status.at + 0.001 * (when.length + 1) + at / status.speed);
      plan.push(value);
    };
    push(0, status.temperature_c);
    if (step.rise_left_s > 0) push(step.rise_left_s, step.target_c);
    const mixed = (step.kind === "dough_in" && status.steps[step.index + 1]?.target_c) || step.target_c;
    push(step.mixing_left_s ?? 0, mixed);
    push(step.kind === "keep" ? 0 : step.remaining_s, mixed);
    for (const next of status.steps.slice(step.index + 1)) {
      push(next.ramp_s + (next.mixing_s ?? 0), next.target_c);
      push(next.kind === "keep" ? 0 : next.planned_s, next.target_c);
    }
    return [when, plan];
  }

  function describe(tun) {
    const s = tun.status;
    const { at } = tun.curve();
    return `Curve of ${lasting(at.length ? (at[at.length - 1] - at[0]) * s.speed : 0)}: measured ${celsius(s.temperature_c)}, setpoint ${celsius(s.setpoint_c)}, target ${celsius(s.step?.target_c)} °C.`;
  }
  return { Curve, describe, toCome };
})();
