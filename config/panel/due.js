// What has to be done now: trips with their way out, the question that stands with its deed, and the bar that never scrolls away.

"use strict";
const Due = (() => {
  const { $, fill, make, say } = Dom;
  const { celsius, lasting, number } = Tuns;
  const { ORDERS, ENDS } = Orders;

  const TOO_SOON_MS = 600; // a tap so soon after a button appeared was meant for what stood there before
  const OVER = ["idle", "stopped", "aborted", "complete"]; // no run any more that a trip could hold

  const ALIKE = ["iodine", "iodine_series", "liquor"]; // findings: none of their answers is the ordinary one

  // The deed by question and answer, as a hand with a spoon in it says it.
  const DEEDS = {
    liquor: { "as planned": "As much as planned", "not measured": "It was not measured" },
    dough_in: { begin: "Begin dough-in" },
    grain_in: { yes: "Grain is in" },
    pull: { returning: "I return it now" },
    returned: { yes: "It is back and stirred" },
    add: { adding: "I add it now" },
    added: { yes: "It is in and stirred" },
    water_in: { yes: "It is in and stirred" },
    join: { joining: "I join it now" },
    joined: { yes: "It is in and stirred" },
    enzyme: { "it is in": "It is in", "not added": "It was not added" },
    addition_in: { yes: "It is in and stirred" },
    go_on: { "go on": "Go on to the next step" },
    iodine_decide: { "go on": "Go on all the same" },
    ph: { measured: "pH is measured", later: "Measure it later" },
    take_over: { "taken over": "I take over" },
    settled: { heat: "Mend it with heat", accept: "Leave it as it is" },
  };

  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
  const deed = (id, answer) => DEEDS[id]?.[answer] ?? capital(answer);

  // A button that acts at once, but not on a tap that came too soon.
  function at_once(words, attributes, act) {
    const shown = performance.now();
    const click = (event) => (event.detail === 0 || performance.now() - shown > TOO_SOON_MS ? act() : undefined);
    return make("button", { type: "button", ...attributes, on: { click } }, words);
  }

  // ------------------------------------------------------------ trips, and the way out of them in the same place

  function trips(tun, s, acts) {
    const over = OVER.includes(s.state);
    const waits = !s.trips.some((trip) => trip.latched) && s.state === "held" && ["latched", "trip"].includes(s.held_by);
    const key = tun.name + over + waits + s.state + JSON.stringify(s.trips.map((t) => [t.id, t.text, t.latched, t.first_out]));
    fill($("trips"), key, () => [...s.trips.map((trip) => one(trip, s, over, acts)), ...(waits ? [wayOut(s, acts)] : [])]);
  }

  function one(trip, s, over, acts) {
    const marks = [trip.first_out && s.trips.length > 1 ? "first" : "", trip.latched ? "stays until cleared" : "goes by itself"].filter(Boolean).join(", ");
    const buttons = [make("button", { type: "button", on: { click: () => acts.send("acknowledge", { trip: trip.id }) } }, "I have heard it")];
    if (trip.latched) {
      const click = trip.id === "G24" ? () => acts.form("inspect", { trip: trip.id }) : () => acts.send("clear", { trip: trip.id });
      buttons.unshift(make("button", { type: "button", class: "wide", on: { click } }, `Clear ${trip.id}`));
    }
    const then = trip.latched && !over ? [make("p", { class: "small" }, "Find the cause first. Clear it here, then restart here; clearing alone brings no heat.")] : [];
    return make("div", { class: "trip" }, make("p", {}, make("b", {}, `${over && trip.latched ? "Still latched, clear it" : "Heat is off"}: ${trip.id} `), `${trip.text} (${marks})`), ...then, make("div", { class: "row" }, ...buttons));
  }

  function wayOut(s, acts) {
    const words = s.trips.length ? "Heat stays off until the trip is over." : "The trip is cleared. Heat stays off until you restart.";
    const restart = s.trips.length ? [] : [make("button", { type: "button", class: "wide", "data-order": "restart", on: { click: () => acts.form("restart") } }, "Restart")];
    return make("div", { class: "trip mended" }, make("p", {}, make("b", {}, words)), ...restart);
  }

  // ------------------------------------------------------------ questions

  // What is ordinary stands out; a finding does not: the answers to the iodine test look alike.
  function question(place, words, tun, p, acts, more = () => []) {
    place.hidden = !p;
    fill(place, p ? tun.name + p.id + p.text : "", () => (p ? [
      make("h3", {}, words), make("p", {}, capital(p.text)), ...more(p),
      make("div", { class: "answers" }, ...p.answers.map((answer, i) => at_once(deed(p.id, answer), { class: i || ALIKE.includes(p.id) ? "answer" : "answer first" }, () => acts.send("answer", { prompt: p.id, answer })))),
    ] : []));
  }

  // The correction in figures, one way beside the other.
  function offered(o) {
    if (!number(o.measured_c) || !number(o.wanted_c) || !number(o.apart_k)) return [];
    const rows = [["Measured", `${celsius(o.measured_c)} °C`], ["Wanted", `${celsius(o.wanted_c)} °C`], [o.apart_k < 0 ? "Short by" : "Over by", `${celsius(Math.abs(o.apart_k))} K`]];
    if (number(o.heat_s)) rows.push(["Either full heat for", lasting(o.heat_s)]);
    if (number(o.liquor_kg)) rows.push([number(o.heat_s) ? "or liquor" : "Liquor", `${o.liquor_kg.toFixed(1)} kg at ${celsius(o.liquor_c, 0)}\u00a0°C`]);
    if (number(o.liquor_kg) && number(o.thickness_l_per_kg)) rows.push(["then thickness", `${o.thickness_l_per_kg.toFixed(2)} L/kg`]);
    if (number(o.liquor_kg) && number(o.fill_share)) rows.push(["then full to", `${Math.round(100 * o.fill_share)} %${o.fill_share > 0.95 ? ", no room" : ""}`]);
    return [make("dl", { class: "ways" }, ...rows.map(([name, value]) => make("div", {}, make("dt", {}, name), make("dd", {}, value))))];
  }

  // What was measured is typed where it is asked for.
  function measured(p, acts) {
    if (p.id !== "liquor") return [];
    const bounds = { liquor_volume_l: { min: 0.5, max: 20000, step: 0.1 }, liquor_at_c: { min: 0, max: 100, step: 0.1 } };
    const field = (key, words) => make("label", {}, `${Units.label(words)} `, make("input", { type: "number", name: key, inputmode: "decimal", required: true, ...Units.bounds(key, bounds[key]) }));
    const form = make("form", { class: "measured" }, field("liquor_volume_l", "Measured, L"), field("liquor_at_c", "at, °C"), make("button", { type: "submit", class: "answer" }, "So much is in it"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      acts.send("answer", Object.fromEntries(Object.keys(bounds).map((key) => [key, Units.back(key, Number(form.elements[key].value))])));
    });
    return [form];
  }

  function questions(tun, s, acts) {
    question($("prompt"), "Asked of you", tun, s.prompt, acts, (p) => measured(p, acts));
    question($("offer"), "Offered, if you want it", tun, s.offer, acts, offered);
  }

  // ------------------------------------------------------------ the bar: Hold, what undoes it, and More

  // One tap, undone by one: Hold by a person's restart, a pause by Resume. A trip's restart asks first, and so does one
  // that the daemon refuses: it says what it wants to know.
  function chief(s) {
    if (s.state === "idle") return ["start", "Start a program", (acts) => acts.start()];
    if (["stopped", "aborted", "complete"].includes(s.state)) return ["reset", "Make ready", (acts) => acts.send("reset", {})];
    if (s.state === "held" && s.held_by === "trip") return ["hold", "Stay held", (acts) => acts.send("hold", {})];
    if (s.state === "held" && !s.trips.length) return ["restart", "Go on", (acts) => (s.held_by === "person" ? acts.send("restart", {}, (why) => acts.form("restart", {}, why)) : acts.form("restart"))];
    if (Orders.offered("hold", s)) return ["hold", "Hold", (acts) => acts.send("hold", {})];
    return null;
  }

  function bar(tun, s, acts) {
    const first = chief(s), inside = $("orders").contains(document.activeElement);
    const names = Object.keys(ORDERS).filter((name) => name !== first?.[0] && Orders.offered(name, s) && ORDERS[name][0]);
    fill($("orders"), tun.name + s.state + s.held_by + s.trips.length + names.join(), () => {
      const paused = s.state === "paused" ? [at_once("Resume", { "data-order": "resume", class: "go" }, () => acts.send("resume", {}))] : [];
      const main = first ? [at_once(first[1], { "data-order": first[0], class: first[0] === "hold" ? "cold" : "go" }, () => first[2](acts))] : [];
      const list = make("div", { id: "more", class: "more", hidden: true }, ...more(names.filter((name) => name !== "resume"), acts));
      const fold = make("button", { type: "button", class: "fold", "aria-expanded": "false", "aria-controls": "more", on: { click: () => { list.hidden = !list.hidden; fold.setAttribute("aria-expanded", String(!list.hidden)); } } }, "More");
      return [list, make("div", { class: "bar" }, ...main, ...paused, fold)];
    });
    if (inside && !$("orders").contains(document.activeElement)) $("orders").querySelector(".bar button").focus();
  }

  // What else there is; what ends the run apart from it, with what is lost by it.
  function more(names, acts) {
    const button = (name) => make("button", { type: "button", "data-order": name, class: ENDS.includes(name) ? "cold" : "", on: { click: () => acts.form(name) } }, ORDERS[name][0]);
    const ends = names.filter((name) => ENDS.includes(name)).map((name) => make("div", { class: "end" }, button(name), make("p", { class: "small" }, ORDERS[name][1])));
    return [make("div", { class: "others" }, ...names.filter((name) => !ENDS.includes(name)).map(button)), ...ends];
  }
  return { trips, questions, bar, deed, DEEDS };
})();
