// Small helpers: elements are made, text is set as text, nothing is ever parsed as markup.

"use strict";
const Dom = (() => {
  const $ = (id) => document.getElementById(id);

  function make(kind, attributes = {}, ...inside) {
    const element = document.createElement(kind);
    for (const [key, value] of Object.entries(attributes)) {
      if (value === false || value === undefined || value === null) continue;
      if (key === "on") for (const [event, act] of Object.entries(value)) element.addEventListener(event, act);
      else element.setAttribute(key, value === true ? "" : value);
    }
    element.append(...inside.map((part) => (typeof part === "string" ? Units.told(part) : part)));
    return element;
  }

  // Text only where it differs, so that screen readers are told of changes alone.
  function say(element, words) {
    const text = Units.told(words);
    if (element.textContent !== text) element.textContent = text;
  }

  // Children anew only where what they show differs.
  function fill(element, key, build) {
    if (element.dataset.key === key) return;
    element.dataset.key = key;
    element.replaceChildren(...build());
  }
  return { $, make, say, fill };
})();
