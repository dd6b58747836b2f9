// What is read and typed here is in the units that the daemon's file names; the wire stays metric. Sentences are rewritten
// at the very last, as `controller/settings/own_units.py` does for the terminal; a test holds the two together.

"use strict";
const Units = (() => {
  const GAL = 3.785411784, IMP = 4.54609, LB = 0.45359237;
  const scaled = (name, size, offset = 0) => ({ name, size, of: (x) => (x - offset) / size, back: (x) => x * size + offset });
  const plato = (s) => ((135.997 * s - 630.272) * s + 1111.14) * s - 616.868;
  function gravity(p) {
    let s = 260.4 / (260.4 - p);
    for (let n = 0; n < 4; n++) s -= (plato(s) - p) / ((3 * 135.997 * s - 2 * 630.272) * s + 1111.14);
    return s;
  }
  const KNOWN = {
    "°F": { "°C": scaled("°F", 5 / 9, -160 / 9), "K": scaled("°F", 5 / 9), "K/min": scaled("°F/min", 5 / 9) },
    "lb": { "kg": scaled("lb", LB) }, "oz": { "kg": scaled("oz", LB / 16) }, "g": { "kg": scaled("g", 0.001) },
    "gal": { "L": scaled("gal", GAL) }, "qt": { "L": scaled("qt", GAL / 4) }, "bbl": { "L": scaled("bbl", 31 * GAL) },
    "imp gal": { "L": scaled("imp gal", IMP) }, "imp bbl": { "L": scaled("imp bbl", 36 * IMP) },
    "mL": { "L": scaled("mL", 0.001) }, "hL": { "L": scaled("hL", 100) },
    "SG": { "°P": { name: "SG", size: 1000, of: (p) => (p >= 0 && p <= 30 ? gravity(p) : NaN), back: plato } }, "°Bx": { "°P": scaled("°Bx", 1 / 1.04) },
  };
  const FINER = { lb: KNOWN.oz.kg, gal: KNOWN.qt.L, bbl: KNOWN.gal.L, "imp bbl": KNOWN["imp gal"].L }; // under 1 of the larger
  const SETS = { metric: "", US: "°F lb gal SG", UK: "imp gal SG" };
  const NUMBER = "[-−]?\\d+(?:\\.\\d+)?", JOINED = "(?:\\.\\.| to | and | or | -> )";
  const LISTED = `(?:, ${NUMBER}(?=(?:, ${NUMBER})*(?: and | or )))`; // "65, 70 and 75 °C"
  const SAID = new RegExp(`(^|[^\\w.,:])(${NUMBER}${LISTED}*(?:${JOINED}${NUMBER})*)([ \\u00a0]?)(K/min|L/kg|L/min|°C|°P|kg|K|L)(?![\\w/])`, "g");
  const SUFFIX = { c: "°C", kg: "kg", l: "L", p: "°P" };
  let own = {}, chosen = "metric";

  // Returns whether another choice was made: what is drawn already is drawn anew then.
  function choose(text) {
    if (text === chosen) return false;
    chosen = text;
    own = {};
    for (const name of (SETS[text] ?? text ?? "").match(/imp (?:gal|bbl)|[^\s,]+/g) ?? []) Object.assign(own, KNOWN[name]);
    if (!["gal", "qt", "bbl"].includes(own.L?.name)) return true;
    own["L/min"] = scaled("gal/min", GAL);
    if (["lb", "oz"].includes(own.kg?.name)) own["L/kg"] = scaled("qt/lb", GAL / 4 / LB);
    return true;
  }

  const fixed = (value, digits) => value.toFixed(digits).replace(/^-(0(?:\.0+)?)$/, "$1");

  // A number as it was written, in the other unit, with the digits it takes to read the same one back; a temperature that
  // was written in °F as short as it was.
  function figure(unit, written) {
    const value = Number(written), decimals = (written.split(".")[1] ?? "").length;
    const most = decimals + Math.max(0, Math.ceil(Math.log10(unit.size)));
    let digits = decimals ? most : Math.max(1, most);
    if (decimals > 1 && unit.of(0) !== 0) {
      for (let n = most - 1; n >= 0; n--) if (unit.back(Number(unit.of(value).toFixed(n))).toFixed(decimals) === written) digits = n;
    }
    const text = fixed(unit.of(value), digits);
    return decimals || most ? text : text.replace(/\.0$/, "");
  }

  function told(text) {
    if (!Object.keys(own).length) return text;
    return text.replace(SAID, (whole, before, numbers, gap, metric) => {
      let unit = own[metric];
      if (!unit) return whole;
      const parts = numbers.replaceAll("−", "-").split(new RegExp(`(${JOINED}|, )`));
      const most = Math.max(...parts.filter((_, n) => n % 2 === 0).map((one) => Math.abs(Number(one))));
      if (most && unit.of(most) < 1 && FINER[unit.name]) unit = FINER[unit.name];
      const text = parts.map((one, n) => (n % 2 ? one : figure(unit, one))).join("");
      return text.includes("NaN") ? whole : `${before}${text}${gap || " "}${unit.name}`; // no wort is as strong
    });
  }

  // A label such as "Target, °C", and the bounds of its field; what is typed there goes back by `back`.
  const label = (words) => words.replace(/, (°C|°P|kg|L)(?= \(|$)/, (whole, metric) => (own[metric] ? `, ${own[metric].name}` : whole));
  const of = (key) => own[SUFFIX[key.split("_").pop()]];
  const back = (key, value) => (of(key) ? Number(of(key).back(value).toFixed(4)) : value);
  const bounds = (key, more) => {
    const unit = of(key), found = { ...more };
    if (!unit) return found;
    for (const end of ["min", "max"]) if (end in more) found[end] = Number(unit.of(more[end]).toFixed(3));
    return { ...found, step: unit.name === "SG" ? 0.001 : "any" };
  };
  return { choose, told, label, back, bounds };
})();
