// Which orders are there, in which state, what do they need, and how do they look on the wire?
// The table of states is the daemon's own (controller/core/procedure/orders/envelope.py); a test holds the two together. The daemon judges
// every order anyway: what is shown here is a courtesy.

"use strict";
const Orders = (() => {
  const ACTIVE = ["running", "pausing", "paused", "holding", "held", "restarting"];
  const ALL = ["idle", "checking", ...ACTIVE, "stopping", "stopped", "aborting", "aborted", "complete"];
  const WITHIN = ["running", "paused", "held"];

  const VALID_S = 10;
  const HEAT_OFF = ["hold", "stop", "abort"];
  const ENDS = ["stop", "abort"];

  const STATES = {
    start: ["idle"],
    pause: ["running"],
    resume: ["paused"],
    hold: ["running", "pausing", "paused", "restarting", "holding", "held"],
    restart: ["held"],
    stop: [...ACTIVE, "checking"],
    abort: [...ACTIVE, "checking", "stopping"],
    reset: ["stopped", "aborted", "complete"],
    clear: ALL.filter((s) => s !== "checking"),
    advance: WITHIN,
    extend: WITHIN,
    adjust: WITHIN,
    answer: ACTIVE,
    announce: ["running", "paused"],
    acknowledge: ALL,
  };

  // What else may be entered, as in controller/core/procedure/entries.py; a test holds the two together.
  const FILED = [
    ["ph_at_c", "sample at, °C"],
    ["crush_gap_mm", "gap of the mill's rollers, mm"],
    ["crush_husk_pct", "husks on the coarsest sieve, % by mass"],
    ["crush_flour_pct", "flour through the finest sieve, % by mass"],
    ["liquor_volume_l", "liquor measured, L"],
    ["liquor_at_c", "liquor measured at, °C"],
    ["gypsum_g", "gypsum, CaSO4·2H2O, g"],
    ["calcium_chloride_g", "calcium chloride, CaCl2·2H2O, g"],
    ["magnesium_sulphate_g", "magnesium sulphate, MgSO4·7H2O, g"],
    ["table_salt_g", "table salt, NaCl, g"],
    ["chalk_g", "chalk, CaCO3, g"],
    ["bicarbonate_g", "sodium bicarbonate, NaHCO3, g"],
    ["lactic_acid_ml", "lactic acid, mL"],
    ["phosphoric_acid_ml", "phosphoric acid, mL"],
    ["acid_strength_pct", "strength of the acid, % by mass"],
    ["first_wort_p", "gravity of the first wort, °P"],
    ["first_wort_volume_l", "first wort, at 20 °C, L"],
    ["last_runnings_p", "gravity of the last runnings, °P"],
    ["congress_p", "gravity of the Congress wort, made up to 9 times the malt, °P"],
    ["isothermal_p", "gravity of the 65 °C wort, 50 g in 515 mL, °P"],
    ["beaker", "number of the beaker"],
    ["runoff_min", "run-off time, min"],
    ["colour_ebc", "colour of the laboratory wort, EBC"],
    ["viscosity_mpas", "viscosity at 8.6 °P, mPa s"],
    ["nitrogen_mgl", "soluble nitrogen, mg/L"],
    ["fan_mgl", "free amino nitrogen, mg/L"],
    ["beta_glucan_mgl", "beta-glucan, mg/L"],
    ["limit_pct", "limit that was fermented out, apparent, % of the extract"],
    ["final_p", "gravity of all the wort, °P"],
    ["final_volume_l", "all the wort, at 20 °C, L"],
    ["batch", "batch number"],
    ["crush", "crush in words"],
    ["salts", "salts in words"],
    ["acid", "acid in words"],
    ["odour", "odour of the mash"],
    ["clarity", "clarity of the wort"],
    ["analyst", "analyst"],
    ["enzyme", "enzyme added, its dose"],
    ["spent_grain", "spent grain"],
  ];
  const WORDS = ["batch", "crush", "salts", "acid", "odour", "clarity", "analyst", "enzyme", "spent_grain"];

  // label, what will happen, and what has to be filled in: [argument, words, kind, further attributes]
  const ORDERS = {
    hold: ["Hold", "Heat goes off, the rest clock stands still, the program is kept until Restart."],
    stop: ["Stop", "The ordinary end: heat goes off and the run ends, filed as stopped. Lost: what is left of the program; it cannot go on later. Hold keeps it."],
    abort: ["Abort", "When something is wrong: heat goes off at once. Lost: the program is dropped and the run filed as aborted."],
    pause: ["Pause", "The temperature is kept, the rest clock stands still."],
    resume: ["Resume", "The run goes on; heat may follow."],
    restart: ["Restart", "Heat may return once the daemon's checks pass. Look at the tun first: liquid, lid, hoses, people.", [
      ["hand_c", "A hand thermometer in the mash says, °C (asked where the probe is in doubt)", "number", { min: 0, max: 105, step: 0.1, optional: true }],
      ["added", "Cold liquor went in meanwhile", "mark", { optional: true }],
      ["added_l", "Or liquor that was added meanwhile, L", "number", { min: 0.1, max: 6000, step: 0.1, optional: true }],
      ["added_c", "and how warm it was, °C", "number", { min: 0, max: 100, step: 0.1, optional: true }],
      ["prove", "No thermometer here: try one small pulse of heat", "mark", { optional: true }],
    ]],
    extend: ["Longer rest", "This rest becomes longer.", [["minutes", "Minutes more", "number", { min: 1, max: 240, step: 1, value: 5 }]]],
    adjust: ["Change a step", "The step is changed for this run; the change goes on record.", [
      ["step", "Step", "step"],
      ["target_c", "Target, °C", "number", { min: 20, max: 84, step: 0.1 }],
      ["minutes", "Minutes of rest", "number", { min: 0, max: 240, step: 1 }],
    ]],
    advance: ["Next step", "This step ends now; the next begins with its rise. Heat may follow."],
    announce: ["Addition coming", "Heat is blocked until you say that the addition is stirred in.", [
      ["hand_c", "Is it in already? Then what a hand thermometer in the mash says, °C", "number", { min: 0, max: 105, step: 0.1, optional: true }],
    ]],
    entry: ["Enter a value", "It goes on record.", [
      ["ph", "pH", "number", { min: 2, max: 9, step: 0.01, optional: true }],
      ["gravity_p", "Gravity, °P", "number", { min: 0, max: 40, step: 0.1, optional: true }],
      ["what", "Another figure", "pick", { optional: true }],
      ["value", "Its value", "text", { maxlength: 300, optional: true }],
      ["remark", "Remark", "text", { maxlength: 300, optional: true }],
    ]],
    inspect: ["", "Heat was interrupted again and again; this trip is cleared only by somebody who knows why.", [["inspected", "I have found the cause and mended it", "mark"]]],
    reset: ["Make ready", "The ended run is put away; a new one can be started."],
  };

  // What is offered now: what the table allows, without a Hold that would change nothing. A run that a trip alone holds
  // goes on by itself once that is over, and Hold keeps it from that.
  function offered(name, status) {
    if (name === "hold" && (status.state === "holding" || (status.state === "held" && status.held_by !== "trip"))) return false;
    return (STATES[name] ?? STATES.answer).includes(status.state);
  }

  const hex = (bytes) => Array.from(crypto.getRandomValues(new Uint8Array(bytes)), (b) => b.toString(16).padStart(2, "0")).join("");

  const word = hex;

  // The order as it goes out. `at` is told in the daemon's own time as its newest status shows it, so that a telephone
  // with a wrong clock can give orders; the nonce is what proves that the sender sees the present state.
  function build(name, args, status, arrivedMs, user) {
    const order = { id: `panel-${hex(8)}`, order: { entry: "answer", inspect: "clear" }[name] ?? name, args, by: user || "panel" };
    const since = (performance.now() - arrivedMs) / 1000;
    order.at = Math.round((status.at + since) * 1000) / 1000;
    order.valid_s = VALID_S;
    order.nonce = status.nonce;
    if (status.run && name !== "start") order.run = status.run;
    if (args.trip) {
      const { trip, ...rest } = args;
      Object.assign(order, { trip, args: rest });
    }
    return order;
  }

  // The form's words as the order's arguments, in base units.
  function argsOf(name, form) {
    const args = {};
    for (const [key, , kind, more = {}] of ORDERS[name]?.[2] ?? []) {
      const field = form.elements[key];
      if (key === "what") continue;
      if (key === "value") {
        const what = form.elements.what.value, said = field.value.trim();
        if (what && said) args[what] = WORDS.includes(what) || !Number.isFinite(Number(said)) ? said : Units.back(what, Number(said));
        continue;
      }
      if (kind === "mark") args[key] = field.checked;
      else if (kind === "step") args.step = Number(field.value);
      else if (kind === "number") {
        if (field.value === "") continue;
        if (key === "minutes") args[name === "extend" ? "by_s" : "hold_s"] = 60 * Number(field.value);
        else args[key] = Units.back(key, Number(field.value));
      } else if (field.value !== "" || !more.optional) args[key] = field.value.trim();
    }
    return args;
  }
  return { VALID_S, HEAT_OFF, ENDS, STATES, offered, ORDERS, FILED, WORDS, word, build, argsOf };
})();
