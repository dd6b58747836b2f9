// What is known of each tun, and is it still true?

"use strict";
const Tuns = (() => {
  const OLD_MS = 6000; // a status comes every 2 s
  const MOST_POINTS = 1800; // of our own; what is older is the daemon's history
  const MOST_EVENTS = 200;
  const GAP_S = 20;
  const KEYS = ["at", "mash", "low", "high", "setpoint", "target", "heat"];
  const empty = () => Object.fromEntries(KEYS.map((key) => [key, []]));

  class Tun {
    constructor(name) {
      Object.assign(this, { name, status: null, arrived: -Infinity, live: false, unfit: false, online: null, events: [], startable: null, changed: true, run: null });
      this.forget();
    }

    forget() {
      Object.assign(this, { own: empty(), past: empty(), pastStep: 60 });
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
      const own = this.own, last = own.at[own.at.length - 1];
      if (last !== undefined && status.at <= last) return;
      const target = status.step && status.state !== "held" ? status.step.target_c : null;
      const mash = status.temperature_c;
      put(own, [status.at, mash, mash, mash, status.setpoint_c, target, 100 * status.duty]);
      if (own.at.length > MOST_POINTS) for (const key of KEYS) own[key].splice(0, MOST_POINTS / 4);
    }

    // The run so far as the daemon tells it. Its points are told by run time, so that a clock that was set does no harm.
    hear(told) {
      this.happened(told.events);
      if (!told.run || (this.run && told.run !== this.run)) return;
      this.run = told.run;
      this.past = empty();
      this.pastStep = told.point_s / told.speed;
      for (const p of told.points) {
        const at = told.at - (told.t_s - p.t_s - told.point_s / 2) / told.speed;
        put(this.past, [Math.min(at, told.at), p.mean_c, p.min_c, p.max_c, p.setpoint_c, p.target_c, 100 * p.duty]);
      }
      this.changed = true;
    }

    happened(events) {
      const known = new Map(this.events.map((event) => [event.seq, event]));
      for (const event of events) known.set(event.seq, event);
      this.events = [...known.values()].sort((a, b) => a.seq - b.seq).slice(-MOST_EVENTS);
      this.changed = true;
    }

    // The whole curve: the daemon's points where this page was not looking, its own where it was; nothing across a gap.
    curve() {
      const { past, own, pastStep } = this, all = empty();
      const add = (from, i) => {
        const at = from.at[i], last = all.at[all.at.length - 1];
        const gap = from === past ? 2.5 * pastStep : Math.max(GAP_S, 1.5 * pastStep);
        if (last !== undefined && at - last > gap) put(all, [last + 0.001, null, null, null, null, null, null]);
        put(all, KEYS.map((key) => from[key][i]));
      };
      let mine = 0;
      past.at.forEach((at, i) => {
        while (mine < own.at.length && own.at[mine] < at) add(own, mine++);
        const near = Math.min(Math.abs(at - (own.at[mine] ?? Infinity)), Math.abs(at - (own.at[mine - 1] ?? Infinity)));
        if (near > 0.75 * pastStep) add(past, i);
      });
      while (mine < own.at.length) add(own, mine++);
      return all;
    }

    get age() {
      return performance.now() - this.arrived;
    }

    get old() {
      return !this.live || this.age > OLD_MS || this.online === false;
    }
  }

  function put(columns, values) {
    KEYS.forEach((key, i) => columns[key].push(values[i]));
  }

  // ------------------------------------------------------------ shapes

  const number = (value) => typeof value === "number" && Number.isFinite(value);
  const thing = (value) => typeof value === "object" && value !== null;
  const asked = (value) => !value || (typeof value.text === "string" && Array.isArray(value.answers));

  // Is this a status that the page can show? One that is not must not stop the others from being drawn.
  function fits(s) {
    const lists = ["trips", "steps", "notes"].every((key) => Array.isArray(s[key]) && s[key].every((one) => one !== null));
    const parts = number(s.at) && number(s.duty) && thing(s.heater) && thing(s.limits) && (!s.step || thing(s.step));
    return lists && parts && typeof s.state === "string" && asked(s.prompt) && asked(s.offer) && (!s.prediction || thing(s.prediction));
  }

  const event = (e) => thing(e) && number(e.seq) && number(e.at) && typeof e.text === "string";
  const history = (h) => [h.at, h.t_s, h.speed, h.point_s].every(number) && Array.isArray(h.points) && h.points.every((p) => thing(p) && number(p.t_s)) && Array.isArray(h.events) && h.events.every(event);
  const startable = (s) => ["programs", "missing", "unattended", "delayed", "cautions"].every((key) => Array.isArray(s[key])) && s.programs.every((p) => thing(p) && typeof p.name === "string" && ["missing", "grist", "steps", "advice"].every((key) => Array.isArray(p[key])));

  // ------------------------------------------------------------ words

  const celsius = (value, digits = 1) => (number(value) ? value.toFixed(digits) : "–");

  function lasting(seconds) {
    if (!number(seconds)) return "–";
    if (seconds < 90) return `${Math.round(seconds)} s`;
    const minutes = Math.round(seconds / 60);
    return minutes < 90 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  }

  const clock = (at) => new Date(at * 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
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

  // How long until the present step is at its temperature? All that is left, less what comes after that.
  function readyIn(s) {
    const held = (step) => (step.kind === "keep" ? 0 : step.planned_s);
    const later = s.steps.slice(s.step.index + 1).reduce((sum, step) => sum + step.ramp_s + (step.mixing_s ?? 0) + held(step), 0);
    const rest = s.step.kind === "keep" ? 0 : s.step.remaining_s;
    return Math.max(0, s.finish_in_s - later - rest - (s.step.mixing_left_s ?? 0));
  }

  // The present step in progress: how much is done, and what then.
  function progress(s) {
    const step = s.step;
    if (!step || !["running", "paused"].includes(s.state)) return null;
    if (["armed", "heating", "ramping"].includes(step.phase) && number(s.finish_in_s)) {
      const ready = readyIn(s), planned = s.steps[step.index]?.ramp_s || 0;
      const done = step.phase === "armed" || !planned ? 0 : Math.min(1, Math.max(0, 1 - step.rise_left_s / planned));
      const paused = s.state === "paused" ? ", once it goes on" : "";
      return { done, words: `${step.phase === "armed" ? "Heating begins by itself; ready" : "Ready"} about ${clock(s.at + ready / s.speed)}, in ${lasting(ready)}${paused}` };
    }
    if (step.phase !== "resting" || !step.planned_s || step.kind === "keep") return null;
    const next = s.steps[step.index + 1];
    const then = next ? `; then ${next.name}, ${celsius(next.target_c)} °C` : "";
    return { done: step.credited_s / step.planned_s || 0, words: `${lasting(step.remaining_s)} of rest left${then}` };
  }

  // How a held mash cools: measured over the time without heat, at most the last 20 min.
  function cooling(tun) {
    const { at, mash, heat } = tun.curve(), end = at.length - 1, speed = tun.status.speed;
    let first = -1, last = -1;
    for (let i = end; i >= 0 && !(heat[i] > 0) && at[end] - at[i] <= 1200 / speed; i--) {
      if (mash[i] === null) continue;
      if (last < 0) last = i;
      first = i;
    }
    const seconds = last < 0 ? 0 : (at[last] - at[first]) * speed;
    if (seconds < 60) return "Heat is off; how fast it cools shows after a minute.";
    const fallen = mash[first] - mash[last];
    const rate = `${Math.abs((fallen * 3600) / seconds).toFixed(1)} K an hour`;
    return Math.abs(fallen) < 0.05 ? `Heat is off: as warm as ${lasting(seconds)} ago.` : `Heat is off: ${Math.abs(fallen).toFixed(1)} K ${fallen > 0 ? "cooler" : "warmer"} than ${lasting(seconds)} ago, ${rate}.`;
  }
  return { OLD_MS, KEYS, fits, event, history, startable, number, Tun, celsius, lasting, clock, title, sentence, progress, cooling };
})();
