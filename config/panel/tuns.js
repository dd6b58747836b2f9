// What is known of each tun, and is it still true?

"use strict";
const Tuns = (() => {
  const OLD_MS = 6000; // a status comes every 2 s
  const MOST_POINTS = 6000;
  const KEPT_POINTS = 500;
  const GAP_S = 20;

  class Tun {
    constructor(name) {
      Object.assign(this, { name, status: null, arrived: -Infinity, live: false, unfit: false, online: null, events: [], changed: true, run: null });
      this.forget();
    }

    forget() {
      this.history = { at: [], mash: [], setpoint: [], target: [], heat: [] };
    }

    take(status, retained) {
      if (status.run && status.run !== this.run) this.forget(); // a daemon that has just begun anew names no run yet
      this.run = status.run ?? this.run;
      this.status = status;
      this.changed = true;
      if (retained) return;
      this.live = true;
      this.arrived = performance.now();
      this.remember(status);
    }

    remember(status) {
      const past = this.history;
      const last = past.at[past.at.length - 1];
      if (last !== undefined && status.at <= last) return;
      if (last !== undefined && status.at - last > GAP_S) this.point(last + 1, null, null, null, null);
      const target = status.step && status.state !== "held" ? status.step.target_c : null;
      this.point(status.at, status.temperature_c, status.setpoint_c, target, 100 * status.duty);
      if (past.at.length > MOST_POINTS) thin(past);
    }

    point(at, mash, setpoint, target, heat) {
      const past = this.history;
      past.at.push(at);
      past.mash.push(mash);
      past.setpoint.push(setpoint);
      past.target.push(target);
      past.heat.push(heat);
    }

    get age() {
      return performance.now() - this.arrived;
    }

    get old() {
      return !this.live || this.age > OLD_MS || this.online === false;
    }
  }

  // Every second point of the older half goes.
  function thin(past) {
    const half = past.at.length >> 1;
    const keep = (_, i) => i >= half || i % 2 === 0;
    for (const key of Object.keys(past)) past[key] = past[key].filter(keep);
  }

  const PLACE = "underback panel curves";

  // The curves outlive a reload of the tab, thinned.
  function save(tuns) {
    const kept = {};
    for (const tun of tuns) {
      const every = Math.ceil(tun.history.at.length / KEPT_POINTS) || 1;
      const pick = (list) => list.filter((_, i) => i % every === 0).map((v) => (v === null ? null : Math.round(v * 100) / 100));
      kept[tun.name] = { run: tun.run, history: Object.fromEntries(Object.entries(tun.history).map(([k, v]) => [k, pick(v)])) };
    }
    try {
      sessionStorage.setItem(PLACE, JSON.stringify(kept));
    } catch {
      sessionStorage.removeItem(PLACE);
    }
  }

  function restore(tun) {
    try {
      const kept = JSON.parse(sessionStorage.getItem(PLACE) ?? "{}")[tun.name];
      if (!kept || (tun.run && kept.run !== tun.run)) return;
      tun.history = kept.history;
      tun.run = kept.run;
    } catch {
      tun.forget();
    }
  }

  // ------------------------------------------------------------ words

  const number = (value) => typeof value === "number" && Number.isFinite(value);
  const thing = (value) => typeof value === "object" && value !== null;
  const asked = (value) => !value || (typeof value.text === "string" && Array.isArray(value.answers));

  // Is this a status that the page can show? One that is not must not stop the others from being drawn.
  function fits(s) {
    const lists = ["trips", "steps", "notes"].every((key) => Array.isArray(s[key]) && s[key].every((one) => one !== null));
    const parts = number(s.at) && number(s.duty) && thing(s.heater) && thing(s.limits) && (!s.step || thing(s.step));
    return lists && parts && typeof s.state === "string" && asked(s.prompt) && asked(s.offer) && (!s.prediction || thing(s.prediction));
  }

  const celsius = (value, digits = 1) => (number(value) ? value.toFixed(digits) : "–");

  function lasting(seconds) {
    if (!number(seconds)) return "–";
    if (seconds < 90) return `${Math.round(seconds)} s`;
    const minutes = Math.round(seconds / 60);
    return minutes < 90 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  }

  const title = (tun) => tun.name.charAt(0).toUpperCase() + tun.name.slice(1);

  // The tun in one sentence.
  function sentence(tun) {
    const s = tun.status;
    const name = title(tun);
    if (!s) return `${name} has not said anything yet.`;
    const step = s.step;
    const target = step ? `${celsius(step.target_c)} °C` : "";
    switch (s.state) {
      case "idle": return `${name} is idle.`;
      case "checking": return `${name} checks its probes and heater; heat is off.`;
      case "held": case "holding": return `${name} is held: heat off, program kept.`;
      case "paused": case "pausing": return `${name} is paused: temperature kept, clock stands still.`;
      case "restarting": return `${name} restarts: heat returns after the checks.`;
      case "stopping": case "stopped": return `${name} is stopped.`;
      case "aborting": case "aborted": return `${name} is aborted: the program is lost.`;
      case "complete": return `${name} is done.`;
    }
    if (!step) return `${name} is running.`;
    switch (step.phase) {
      case "armed": return `${name} waits for its time to start.`;
      case "heating": return `${name} heats liquor to ${target}.`;
      case "waiting": return `${name} waits for you, in ${step.name}.`;
      case "adding": return `${name}: heat blocked while you add.`;
      case "settling": return `${name} settles after the addition.`;
      case "ramping": return `${name} climbs to ${target}, ${step.name}.`;
    }
    return step.kind === "keep" ? `${name} keeps ${target} until taken over.` : `${name} rests at ${target}, ${step.name}: ${lasting(step.remaining_s)} left.`;
  }
  return { OLD_MS, fits, number, Tun, save, restore, celsius, lasting, title, sentence };
})();
