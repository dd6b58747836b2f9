// Which program, when, and what must a person say of the tun first? All of it is what the daemon says it could start.

"use strict";
const Start = (() => {
  const { make, say } = Dom;
  const { celsius, clock, lasting, number, title } = Tuns;

  const HEARD = "underback panel cautions"; // who has opened them on which day

  const kg = (value) => `${Number(value.toFixed(2))} kg`;
  const list = (items) => make("ul", {}, ...items.map((words) => make("li", {}, words)));

  // When would it be done, unix s? From now on, or with the liquor ready at a chosen time.
  function ends(program, status, readyAt) {
    if (!number(program.duration_s)) return null;
    return readyAt === null ? status.at + program.duration_s / status.speed : readyAt + (program.duration_s - (program.heat_up_s ?? 0)) / status.speed;
  }

  // The next time the clock shows HH:MM, unix s.
  function next(text, nowS) {
    const [hours, minutes] = text.split(":").map(Number);
    const when = new Date(nowS * 1000);
    when.setHours(hours, minutes, 0, 0);
    if (when.getTime() / 1000 <= nowS) when.setDate(when.getDate() + 1);
    return when.getTime() / 1000;
  }

  function facts(p) {
    const rows = [];
    if (number(p.strike_c)) rows.push(["Strike", `${celsius(p.strike_c)} °C, comes to ${celsius(p.landing_c)} °C`]);
    if (number(p.liquor_kg)) rows.push(["Liquor", `${kg(p.liquor_kg)}, from ${celsius(p.liquor_c, 0)} °C`]);
    if (p.grist.length) rows.push(["Grist", `${p.grist.map((malt) => `${kg(malt.mass_kg)} ${malt.name}`).join(", ")}, at ${celsius(p.grist_c, 0)} °C`]);
    if (number(p.duration_s)) rows.push(["Takes", `${lasting(p.duration_s)}, ${lasting(p.heat_up_s ?? 0)} of it heat-up`]);
    if (p.steps.length) rows.push(["Steps", p.steps.map((step) => `${step.name} ${celsius(step.target_c)} °C${step.planned_s ? ` ${lasting(step.planned_s)}` : ""}`).join("; ")]);
    return make("dl", { class: "facts" }, ...rows.map(([name, value]) => make("div", {}, make("dt", {}, name), make("dd", {}, value))));
  }

  function card(p, status, index) {
    const fits = !p.missing.length;
    const pick = make("input", { type: "radio", name: "program", value: p.name, required: true, disabled: !fits, "aria-describedby": `program-${index}` });
    const end = ends(p, status, null);
    const grist = p.grist.reduce((sum, malt) => sum + malt.mass_kg, 0);
    const what = [number(p.strike_c) ? `strike ${celsius(p.strike_c)} °C` : "", number(p.liquor_kg) ? `${kg(p.liquor_kg)} liquor` : "", grist ? `${kg(grist)} grist` : "", end === null ? "" : `done about ${clock(end)} if started now`];
    const short = fits ? what.filter(Boolean).join(", ") : "cannot be started";
    const head = make("label", {}, pick, make("span", {}, make("b", {}, p.title), ` (${p.name})`, make("span", { class: "small short" }, short)));
    const more = [fits ? facts(p) : list(p.missing)];
    if (p.advice.length) more.push(make("details", {}, make("summary", {}, p.advice.length > 1 ? `${p.advice.length} remarks` : "1 remark"), list(p.advice)));
    return make("div", { class: fits ? "program" : "program no" }, head, make("div", { id: `program-${index}`, class: "inside" }, ...more));
  }

  function cautions(startable, user) {
    const today = `${new Date().toDateString()} ${user}`;
    const details = make("details", { open: localStorage.getItem(HEARD) !== today }, make("summary", {}, `${startable.cautions.length} cautions before heat`), make("ol", {}, ...startable.cautions.map((words) => make("li", {}, words))));
    localStorage.setItem(HEARD, today);
    return details;
  }

  function when(startable) {
    const late = startable.delayed.length > 0;
    const pick = (value, words, more) => make("label", { class: "mark" }, make("input", { type: "radio", name: "when", value, checked: value === "now", ...more }), ` ${words}`);
    const time = make("input", { type: "time", name: "ready", "aria-label": "Liquor ready at", disabled: true });
    return make("fieldset", {}, make("legend", {}, "When"), pick("now", "Start now"), pick("late", "Liquor ready at a time", { disabled: late, "aria-describedby": late ? "late-says" : null }), time,
      ...(late ? [make("div", { id: "late-says", class: "small" }, "A delayed start lacks:", list(startable.delayed))] : []));
  }

  function person(startable, status) {
    const alone = startable.unattended.length > 0;
    return [
      make("label", {}, Units.label(`A hand thermometer in the tun says, °C (the probe ${celsius(status.temperature_c)} °C)`), make("input", { type: "number", name: "hand_c", ...Units.bounds("hand_c", { min: -5, max: 105, step: 0.1 }), required: true, inputmode: "decimal" })),
      make("label", { class: "mark" }, make("input", { type: "checkbox", name: "here", required: true }), " I am at the tun and have looked at liquid, lid and hoses"),
      make("label", { class: "mark" }, make("input", { type: "checkbox", name: "attended", required: alone }), alone ? ` I stay with it. Else it lacks: ${startable.unattended.join("; ")}` : " I stay with it"),
    ];
  }

  // The inside of the dialog.
  function fields(tun, user) {
    const { startable, status } = tun;
    if (!startable) return [make("p", {}, "The daemon has not said yet what it could start. Wait a moment; an older daemon never says it.")];
    const missing = startable.missing.length ? [make("div", { class: "lacks" }, make("b", {}, "Nothing can be started yet:"), list(startable.missing))] : [];
    const programs = make("fieldset", {}, make("legend", {}, "Program"), ...startable.programs.map((p, i) => card(p, status, i)));
    return [...missing, startable.programs.length ? programs : make("p", {}, "There is no program for this tun on the daemon's machine."), when(startable), make("p", { id: "end-says", role: "status" }), ...person(startable, status), cautions(startable, user)];
  }

  // What the choice comes to, as it is made.
  function follow(tun, form) {
    const told = () => {
      const { program, when: at, ready } = form.elements;
      if (!at) return;
      ready.disabled = at.value !== "late";
      ready.required = at.value === "late";
      const chosen = tun.startable.programs.find((p) => p.name === program?.value);
      const readyAt = at.value === "late" && ready.value ? next(ready.value, tun.status.at) : null;
      const end = chosen && (at.value === "now" || readyAt !== null) ? ends(chosen, tun.status, readyAt) : null;
      say(form.querySelector("#end-says"), end === null ? "" : `${chosen.title}: ${readyAt === null ? "heat begins at once" : `liquor ready at ${clock(readyAt)}`}, done about ${clock(end)}, people answering at once.`);
    };
    form.addEventListener("input", told);
    told();
  }

  function args(form, status) {
    const { program, when: at, ready, hand_c, here, attended } = form.elements;
    const found = { program: program.value, hand_c: Units.back("hand_c", Number(hand_c.value)), here: here.checked, attended: attended.checked };
    return at.value === "late" ? { ...found, ready_at: next(ready.value, status.at) } : found;
  }

  const can = (tun) => Boolean(tun.startable && !tun.startable.missing.length && tun.startable.programs.some((p) => !p.missing.length));
  const words = (tun) => `Start a program: ${title(tun)}`;
  return { fields, follow, args, can, words, ends, next };
})();
