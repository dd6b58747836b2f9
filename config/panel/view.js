// How does a tun look? Rail of all tuns, detail of one. Written only where something has changed.

"use strict";
const View = (() => {
  const { $, fill, make, say } = Dom;
  const { celsius, clock, lasting, number, sentence, title } = Tuns;
  const { describe } = Curves;

  const ENZYMES = [["beta_left_pct", "beta-amylase"], ["alpha_left_pct", "alpha-amylase"], ["glucanase_left_pct", "beta-glucanase"], ["protease_left_pct", "protease"], ["starch_left_pct", "starch left"]];
  const KINDS = { trip: "trip", cleared: "over", latched: "trip", order: "order", answer: "answer", entry: "entry", state: "state", step: "step", "step done": "step", phase: "phase", note: "note", resume: "resumed", run: "run", acknowledge: "heard" };

  // ------------------------------------------------------------ rail

  const entries = new Map();

  function rail(tuns, chosen, choose) {
    const names = [...tuns.keys()].sort();
    $("rail").parentElement.hidden = names.length < 2;
    fill($("rail"), names.join(), () => names.map((name) => railEntry(tuns.get(name), choose)));
    for (const name of names) railState(tuns.get(name), name === chosen);
  }

  function railEntry(tun, choose) {
    const [name, temp, what, bar] = [make("b", {}, title(tun)), make("span", { class: "temp" }), make("span", { class: "what" }), make("progress", { max: 1, value: 0, "aria-label": "Part of the step that is done" })];
    const button = make("button", { type: "button", on: { click: () => choose(tun.name) } }, name, temp, what, bar);
    entries.set(tun.name, { button, temp, what, bar });
    return make("li", {}, button);
  }

  function railState(tun, chosen) {
    const parts = entries.get(tun.name);
    if (!parts) return;
    const s = tun.status;
    const flag = tun.old ? "old" : s?.trips.length ? "tripped" : s?.waiting_for ? "asks" : "";
    say(parts.temp, s ? `${celsius(s.temperature_c)} °C` : "–");
    say(parts.what, tun.unfit ? "cannot be read" : tun.old ? `no news${Number.isFinite(tun.age) ? ` for ${lasting(tun.age / 1000)}` : ""}` : s?.trips.length ? "TRIPPED" : s?.waiting_for ? "asks you" : short(s));
    if (parts.button.dataset.flag !== flag) parts.button.dataset.flag = flag;
    const done = s?.step?.planned_s ? s.step.credited_s / s.step.planned_s || 0 : 0;
    if (Math.abs(parts.bar.value - done) > 0.002) parts.bar.value = done;
    if (parts.button.hasAttribute("aria-current") !== chosen) parts.button.toggleAttribute("aria-current", chosen);
  }

  const short = (s) => (s?.state === "running" && s.step ? `${s.step.phase} ${celsius(s.step.target_c, 0)}` : s?.state ?? "");

  // ------------------------------------------------------------ detail

  function detail(tun, acts) {
    const s = tun.status;
    $("none").hidden = true;
    $("detail").hidden = false;
    say($("headline"), sentence(tun));
    $("detail").toggleAttribute("data-old", tun.old);
    Due.trips(tun, s, acts);
    Due.questions(tun, s, acts);
    progress(tun, s);
    $("adding").hidden = !s.live;
    say($("adding"), s.live ?? "");
    const [warm, degrees] = Units.told(`${celsius(s.temperature_c, 2)} °C`).split(" ");
    say($("temp"), warm);
    say($("temp-unit"), ` ${degrees}`);
    figures(s);
    say($("curve-says"), describe(tun));
    $("plot").setAttribute("aria-label", describe(tun));
    steps(s);
    enzymes(s.prediction);
    Due.bar(tun, s, acts);
    happened(tun, s);
    say($("about"), `underback ${s.version} · run ${s.run ?? "none"} · ${s.simulated ? `SIMULATED, ${s.speed} times real time · ` : ""}health: ${s.health} · limit ${celsius(s.limits.hard_limit_c, 0)} °C`);
  }

  function age(tun) {
    const old = $("old");
    old.hidden = !tun.old;
    const since = Number.isFinite(tun.age) ? `${lasting(tun.age / 1000)} old` : "kept by the broker, age unknown";
    say(old, tun.online === false ? `the daemon is gone; ${since}` : since);
    $("detail").toggleAttribute("data-old", tun.old);
  }

  // How far the present step is, or how the mash cools while it is held.
  function progress(tun, s) {
    const held = ["held", "holding"].includes(s.state);
    const found = held ? null : Tuns.progress(s);
    $("progress").hidden = !found && !held;
    $("done").hidden = !found;
    if (found) $("done").value = found.done;
    say($("ready"), held ? Tuns.cooling(tun) : (found?.words ?? ""));
  }

  function figures(s) {
    const heard = !number(s.heater.duty) ? "silent" : `${Math.round(100 * s.heater.duty)} %, said ${lasting(s.heater.age_s)} ago`;
    const rows = [["Setpoint", `${celsius(s.setpoint_c)} °C`], ["Target", s.step ? `${celsius(s.step.target_c)} °C` : "–"], ["Heat commanded", `${Math.round(100 * s.duty)} %`], ["Heater", s.heater.fault ?? heard], ["Reading", number(s.reading_age_s) ? `${s.reading_age_s.toFixed(0)} s old` : "none"]];
    if (number(s.second_c)) rows.push(["Second probe", `${celsius(s.second_c)} °C`]);
    if (number(s.outlet_c)) rows.push(["Heater outlet", `${celsius(s.outlet_c)} °C`]);
    const place = $("figures");
    fill(place, rows.map((r) => r[0]).join(), () => rows.map(([name]) => make("div", {}, make("dt", {}, name), make("dd", {}))));
    rows.forEach(([, value], i) => say(place.children[i].lastElementChild, value));
  }

  function steps(s) {
    const list = $("steps");
    const here = s.step?.index ?? (s.state === "complete" ? s.steps.length : -1);
    fill(list, JSON.stringify([s.run, here, s.steps]), () => s.steps.map((step, i) => {
      const state = i < here ? "done" : i === here ? "now" : "to come";
      const item = make("li", { class: state.replace(" ", "-"), "aria-current": i === here ? "step" : null },
        make("b", {}, step.name), ` ${celsius(step.target_c)} °C`, step.planned_s ? `, ${lasting(step.planned_s)}` : "", " ", make("span", { class: "tag" }, state));
      if (i === here) item.append(make("span", { class: "left" }), make("p", { class: "small why" }, s.step?.why ?? ""));
      return item;
    }));
    const now = list.querySelector("[aria-current]");
    if (now && s.step) {
      say(now.querySelector(".left"), ` ${s.step.phase}`);
    }
    const goes = s.finish_at && ["running", "paused"].includes(s.state); // a run that is held has no end that could be planned
    const [early, late] = (s.finish_span_s ?? []).map((left) => clock(s.finish_at + (left - s.finish_in_s) / s.speed));
    const span = early ? ` Nine simulated days of ten: ${early} to ${late}.` : "";
    say($("finish"), goes ? `Planned end ${clock(s.finish_at)}, in ${lasting(s.finish_in_s)}, people answering at once.${span}` : "");
  }

  function enzymes(p) {
    fill($("enzymes"), p ? "some" : "none", () => (p ? ENZYMES.map(([, name]) => make("li", {}, make("span", {}, name), make("span", { class: "meter", "aria-hidden": "true" }, make("i")), make("span", { class: "pct" }))) : [make("li", { class: "small" }, "No estimate: nothing has been doughed in, or no malt is known.")]));
    say($("ahead"), p ? ahead(p.ahead) : "");
    if (!p) return say($("wort"), "");
    ENZYMES.forEach(([key], i) => {
      const [, bar, pct] = $("enzymes").children[i].children;
      const value = p[key];
      bar.firstElementChild.style.width = `${Math.min(100, Math.max(0, value ?? 0))}%`;
      say(pct, number(value) ? `${value.toFixed(0)} %` : "–");
    });
    const band = p.apparent_limit_pct;
    const said = iodineOf(p, "iodine still shows starch");
    const iodine = `${said[0].toUpperCase()}${said.slice(1)}.`;
    say($("wort"), `${number(band?.low) && number(band.mid) && number(band.high) ? `Limit attenuation so far about ${band.mid.toFixed(0)} % (${band.low.toFixed(0)} to ${band.high.toFixed(0)}). ` : ""}${iodine}`);
  }

  // A span from the finest grind to crushed malt; nothing where the estimate says nothing.
  function iodineOf(p, starch) {
    if (p.withheld?.some((one) => one.what === "iodine")) return "no figure for iodine";
    if (!number(p.iodine_negative_min)) return number(p.iodine_fine_min) ? `iodine negative from minute ${p.iodine_fine_min.toFixed(0)} at the earliest` : starch;
    return `iodine negative from minute ${number(p.iodine_fine_min) ? `${p.iodine_fine_min.toFixed(0)} to ` : ""}${p.iodine_negative_min.toFixed(0)}, by the crush`;
  }

  // Where the wort would end, as far as the model has data behind it.
  function ahead(a) {
    const band = a?.apparent_limit_pct;
    if (!number(a?.in_s) || !number(band?.low) || !number(band.mid) || !number(band.high)) return "";
    const iodine = `, ${iodineOf(a, "iodine still showing starch")}`;
    return `If the rest runs as planned (${lasting(a.in_s)} more): about ${band.mid.toFixed(0)} % (${band.low.toFixed(0)} to ${band.high.toFixed(0)})${iodine}.`;
  }

  function happened(tun, s) {
    const told = [...(s.meanwhile ? [s.meanwhile] : []), ...s.notes];
    fill($("notes"), told.join("|"), () => told.map((text) => make("li", {}, text)));
    const shown = tun.events.slice(-40).reverse();
    fill($("events"), tun.name + (shown[0]?.seq ?? ""), () => shown.map((e) => make("li", { class: e.kind === "trip" ? "ill" : "" }, make("time", {}, clock(e.at)), ` ${KINDS[e.kind] ?? e.kind}: `, e.text)));
  }
  return { rail, detail, age };
})();
