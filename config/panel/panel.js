// The page's own beat: messages change what is known, a frame draws what has changed, half a second checks what is old.

"use strict";
(() => {
  const { $, make, say } = Dom;
  const { Link } = Links;
  const { FILED, HEAT_OFF, ORDERS, argsOf, build } = Orders;
  const { Curve } = Curves;
  const { Tun, celsius, fits, lasting, sentence, title } = Tuns;

  const tuns = new Map();
  const waiting = new Map(); // order id -> what to do with its reply
  const REPLY_MS = 4000;
  const ALONE = 1;

  const curve = new Curve($("plot"));
  let link = null, chosen = decodeURIComponent(location.hash.slice(1)) || null, drawing = false, linkUp = false, downSince = 0, downWords = "";

  // ------------------------------------------------------------ what comes in

  function message(name, part, payload, retained) {
    if (part === "reply") return reply(payload);
    let tun = tuns.get(name);
    if (!tun) tuns.set(name, (tun = new Tun(name)));
    if (part === "online") tun.online = new TextDecoder().decode(payload).trim() === "true";
    else if (part === "status") status(tun, payload, retained);
    else if (part === "event" && !retained) told(payload, Tuns.event, (event) => tun.happened([event]));
    else if (part === "history") told(payload, Tuns.history, (history) => tun.hear(history));
    else if (part === "startable") told(payload, Tuns.startable, (startable) => { tun.startable = startable; units(startable.units); });
    tun.changed = true;
    chosen ??= name;
    draw();
  }

  function units(text) {
    if (Units.choose(text ?? "metric")) document.querySelectorAll("[data-key]").forEach((part) => { delete part.dataset.key; });
  }

  function parsed(payload) {
    try {
      const found = JSON.parse(new TextDecoder().decode(payload));
      return found && typeof found === "object" ? found : null;
    } catch {
      return null;
    }
  }

  function status(tun, payload, retained) {
    const found = parsed(payload);
    tun.unfit = !found || !fits(found);
    if (tun.unfit) return;
    const before = tun.live ? tun.status : null;
    tun.take(found, retained);
    if (before) announce(tun, before, found);
  }

  // Only what matters is read out: another state or step, a question, the end of a trip. Trips themselves are alerts.
  function announce(tun, before, now) {
    const asks = now.prompt && now.prompt.id !== before.prompt?.id ? ` ${now.prompt.text}` : "";
    const moved = before.state !== now.state || before.step?.index !== now.step?.index || before.step?.phase !== now.step?.phase;
    if ((moved || asks) && tun.name === chosen) say($("said"), sentence(tun) + asks);
    else if (asks) say($("said"), `${title(tun)} asks:${asks}`);
    if (now.trips.length && !before.trips.length && tun.name !== chosen) say($("said"), `${title(tun)} has tripped: ${now.trips[0].text}`);
  }

  // What cannot be read is left alone: it must not stop the rest from being drawn.
  function told(payload, fit, take) {
    const found = parsed(payload);
    if (found && fit(found)) take(found);
  }

  function reply(payload) {
    const found = parsed(payload);
    const done = found && waiting.get(found.id);
    if (!done) return;
    waiting.delete(found.id);
    done(`${found.accepted ? "Accepted" : "Refused"}: ${found.reason}`, found.accepted);
  }

  // ------------------------------------------------------------ drawing

  function draw() {
    if (drawing) return;
    drawing = true;
    requestAnimationFrame(() => {
      drawing = false;
      View.rail(tuns, chosen, choose);
      const tun = tuns.get(chosen);
      if (!tun || !tun.status || !tun.changed) return;
      tun.changed = false;
      View.detail(tun, acts);
      View.age(tun);
      curve.draw(tun);
    });
  }

  function choose(name) {
    chosen = name;
    history.replaceState(null, "", `#${encodeURIComponent(name)}`);
    const tun = tuns.get(name);
    if (tun) tun.changed = true;
    say($("answer"), "");
    draw();
    requestAnimationFrame(() => document.querySelector("#rail [aria-current]")?.scrollIntoView({ block: "nearest", inline: "nearest" }));
  }

  // What is old is said plainly, within seconds, whatever stopped: broker, daemon or network.
  function lookAtAges() {
    const all = [...tuns.values()].filter((tun) => tun.status);
    const old = all.filter((tun) => tun.old);
    let words = "";
    if (link && !linkUp) words = `${downWords} ${all.length ? `Everything below is old, for ${lasting((performance.now() - downSince) / 1000)}. ` : ""}Trying again.`;
    else if (all.length && old.length === all.length && performance.now() - downSince > 3000) words = all.length > ALONE ? "No news from any tun: everything below is old." : `No news from ${title(old[0])}: everything below is old.`;
    const urgent = words.replace(/for [^.]*\. /, ""); // the alert is not read out anew each second
    if ($("stale").dataset.words !== urgent) {
      $("stale").dataset.words = urgent;
      say($("stale"), words);
    }
    document.body.toggleAttribute("data-stale", words !== "");
    const tun = tuns.get(chosen);
    if (tun?.status) View.age(tun);
    View.rail(tuns, chosen, choose);
  }

  // ------------------------------------------------------------ orders

  const acts = {
    send,
    form: (name, more = {}, why = "") => dialog(`${ORDERS[name][0] || "Clear"}: ${title(tuns.get(chosen))}`, fields(name), (form) => send(name, { ...argsOf(name, form), ...more }), { more: why ? `${why}.` : ORDERS[name][1], ...(Orders.ENDS.includes(name) ? { cold: true, yes: `Yes, ${name}` } : {}) }),
    start: () => {
      const tun = tuns.get(chosen);
      const form = dialog(Start.words(tun), Start.fields(tun, link.door.user), (filled) => send("start", Start.args(filled, tun.status)), { yes: "Start it", can: Start.can(tun), focus: "h2" });
      Start.follow(tun, form);
    },
  };

  function fields(name) {
    const s = tuns.get(chosen).status;
    return (ORDERS[name][2] ?? []).map(([key, words, kind, more = {}]) => {
      const { optional, ...rest } = more;
      if (kind === "mark") return make("label", { class: "mark" }, make("input", { type: "checkbox", name: key, required: !optional }), ` ${words}`);
      if (kind === "pick") {
        const options = [["", "none"], ...FILED].map(([value, title]) => make("option", { value }, Units.label(title)));
        return make("label", {}, `${words} `, make("select", { name: key }, ...options));
      }
      if (kind === "step") {
        const options = s.steps.map((step, i) => [i, step]).filter(([i]) => i >= s.step.index);
        return make("label", {}, `${words} `, make("select", { name: key }, ...options.map(([i, step]) => make("option", { value: i }, `${i + 1} ${step.name}: ${celsius(step.target_c)} °C, ${lasting(step.planned_s)}`))));
      }
      return make("label", {}, `${Units.label(words)} `, make("input", { type: kind, name: key, required: !optional && name !== "adjust", ...Units.bounds(key, rest) }));
    });
  }

  // A question before something is sent. The form is made anew each time, so that nothing listens to an old one.
  function dialog(words, inside, act, { more = "", yes = "Yes, send it", can = true, cold = false, focus = "input,select" } = {}) {
    const sure = make("button", { type: "submit", value: "yes", class: cold ? "yes cold" : "yes", disabled: !can }, yes);
    const no = make("button", { type: "button", on: { click: () => $("ask").close("no") } }, "No, back");
    const title = make("h2", { id: "ask-title", tabindex: "-1" }, words);
    const form = make("form", { id: "ask-form", method: "dialog" }, title, ...(more ? [make("p", {}, more)] : []), ...inside, make("div", { class: "row last" }, sure, no));
    $("ask").replaceChildren(form);
    $("ask").onclose = () => { if ($("ask").returnValue === "yes") act(form); };
    $("ask").returnValue = "";
    $("ask").showModal();
    (form.querySelector(focus) ?? sure).focus();
    $("ask").scrollTop = 0;
    return form;
  }

  // `refused`: what to do with a refusal beside showing it.
  async function send(name, args, refused = () => {}) {
    const tun = tuns.get(chosen);
    const answered = (words, well) => {
      $("answer").classList.toggle("ill", !well);
      say($("answer"), words);
    };
    if (!HEAT_OFF.includes(name) && tun.old) return answered("Not sent: what this page shows is old. Wait until it is live again.", false);
    const order = build(name, args, tun.status, tun.arrived, link.door.user);
    answered("Sending …", true);
    const limit = setTimeout(() => {
      if (waiting.delete(order.id)) answered("No answer from the daemon within 4 s. Look at the state before you send it again.", false);
    }, REPLY_MS);
    waiting.set(order.id, (words, well) => {
      clearTimeout(limit);
      answered(words, well);
      if (!well) refused(words);
    });
    try {
      await link.send(tun.name, "order", JSON.stringify(order));
    } catch (error) {
      clearTimeout(limit);
      waiting.delete(order.id);
      answered(error.message, false);
    }
  }

  // ------------------------------------------------------------ door and light

  const DOOR = "underback panel door", LIGHT = "underback panel light";

  function enter(door) {
    $("door").hidden = true;
    $("room").hidden = false;
    $("leave").hidden = false;
    say($("link"), "Connecting …");
    downSince = performance.now();
    downWords = "Connecting to the broker.";
    link = new Link(door, {
      up: () => {
        linkUp = true;
        downSince = performance.now();
        sessionStorage.setItem(DOOR, JSON.stringify(door));
        say($("link"), `Connected${door.user ? ` as ${door.user}` : ""}.`);
        lookAtAges();
      },
      down: (words, final) => {
        if (linkUp || downWords !== words) downSince = performance.now();
        linkUp = false;
        downWords = words;
        say($("link"), "Not connected.");
        if (final) leave(words);
        lookAtAges();
      },
      message,
    });
  }

  function leave(words = "") {
    link?.end();
    link = null;
    linkUp = false;
    sessionStorage.removeItem(DOOR);
    tuns.clear();
    $("room").hidden = true;
    $("detail").hidden = true;
    $("leave").hidden = true;
    $("door").hidden = false;
    say($("door-says"), words);
    say($("link"), "Not connected.");
    lookAtAges();
    $("door").elements.user.focus();
  }

  const LIGHTS = ["auto", "dark", "light"];

  function light(kind) {
    document.documentElement.dataset.light = kind;
    say($("light"), `Light: ${kind}`);
    localStorage.setItem(LIGHT, kind);
    curve.fresh();
  }

  $("light").addEventListener("click", () => {
    light(LIGHTS[(LIGHTS.indexOf(document.documentElement.dataset.light) + 1) % LIGHTS.length]);
  });
  $("leave").addEventListener("click", () => leave());
  $("door").addEventListener("submit", (event) => {
    event.preventDefault();
    say($("door-says"), "");
    enter(Object.fromEntries([...new FormData($("door"))].map(([k, v]) => [k, v.trim()])));
  });
  // The address names the tun, so that these two links must not write theirs into it.
  for (const skip of document.querySelectorAll(".skip")) {
    skip.addEventListener("click", (event) => {
      event.preventDefault();
      $(skip.hash.slice(1)).focus();
    });
  }
  addEventListener("hashchange", () => choose(decodeURIComponent(location.hash.slice(1))));
  setInterval(lookAtAges, 500);

  light(LIGHTS.includes(localStorage.getItem(LIGHT)) ? localStorage.getItem(LIGHT) : "auto");
  $("door").elements.url.value = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host || "127.0.0.1:9001"}/`;
  const before = JSON.parse(sessionStorage.getItem(DOOR) ?? "null");
  if (before) enter(before);
})();
