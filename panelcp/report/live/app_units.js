// Units of the live page and the small builder of its elements.
//
// The page has one switch for units: document.documentElement.dataset.units is "metric" or "cockpit",
// and the event `panelcp:units` (detail: the same word) on document tells of a change.
//
// Panelcp.live.units.system                    "metric" or "cockpit"
// Panelcp.live.units.of(quantity)              {unit, factor, shift, digits}: shown = factor * SI + shift
// Panelcp.live.units.shown(value, quantity)    number in the unit that is shown
// Panelcp.live.units.si(shown, quantity)       back to SI
// Panelcp.live.units.text(value, quantity, signed)  "−311 Pa"
// Panelcp.live.element(tag, attributes, ...children)  texts go in as text only, never as markup
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const IN_H2O = 249.08891; // Pa, at 4 degC: as panelcp.report.tables
  const KNOT = 0.514444444, FOOT = 0.3048, INCH = 0.0254;

  const SYSTEMS = {
    metric: {
      length: { unit: "mm", factor: 1000, digits: 0 },
      layer: { unit: "mm", factor: 1000, digits: 1 },
      pressure: { unit: "Pa", factor: 1, digits: 0 },
      speed: { unit: "m/s", factor: 1, digits: 1 },
      altitude: { unit: "m", factor: 1, digits: 0 },
      temperature: { unit: "\u00b0C", factor: 1, shift: -273.15, digits: 0 },
    },
    cockpit: {
      length: { unit: "in", factor: 1 / INCH, digits: 2 },
      layer: { unit: "in", factor: 1 / INCH, digits: 2 },
      pressure: { unit: "inH2O", factor: 1 / IN_H2O, digits: 2 },
      speed: { unit: "kt", factor: 1 / KNOT, digits: 1 },
      altitude: { unit: "ft", factor: 1 / FOOT, digits: 0 },
      temperature: { unit: "\u00b0F", factor: 1.8, shift: -459.67, digits: 0 },
    },
  };
  const COMMON = {
    angle: { unit: "\u00b0", factor: 1, digits: 1 },
    part: { unit: "", factor: 1, digits: 2 },
    cp: { unit: "", factor: 1, digits: 2 },
    pascal: { unit: "Pa", factor: 1, digits: 0 },
    water: { unit: "inH2O", factor: 1 / IN_H2O, digits: 2 },
    millimetre: { unit: "mm", factor: 1000, digits: 0 },
  };

  const units = {
    get system() {
      return document.documentElement.dataset.units === "cockpit" ? "cockpit" : "metric";
    },
    of(quantity) {
      const found = COMMON[quantity] || SYSTEMS[units.system][quantity];
      if (!found) throw new Error(`units: unknown quantity ${quantity}`);
      return { shift: 0, ...found };
    },
    shown(value, quantity) {
      const { factor, shift } = units.of(quantity);
      return factor * value + shift;
    },
    si(shown, quantity) {
      const { factor, shift } = units.of(quantity);
      return (shown - shift) / factor;
    },
    // Digits only, for fields in which numbers are typed.
    plain(value, quantity, digits = units.of(quantity).digits) {
      return String(Number(units.shown(value, quantity).toFixed(digits)));
    },
    number(value, quantity, signed = false, digits = units.of(quantity).digits) {
      if (!Number.isFinite(value)) return "\u2013";
      const text = units.shown(value, quantity).toFixed(digits);
      const clean = Number(text) === 0 ? text.replace("-", "") : text.replace("-", "\u2212");
      return signed && Number(text) > 0 ? `+${clean}` : clean;
    },
    text(value, quantity, signed = false) {
      const { unit } = units.of(quantity);
      return `${units.number(value, quantity, signed)}${unit && unit !== "\u00b0" ? "\u00a0" : ""}${unit}`;
    },
  };

  // Attributes: `on` {event: handler}, `text`, `value`, `checked`, `hidden`, `disabled` and whatever
  // setAttribute takes; those that are null, false or undefined are left out.
  function element(tag, attributes = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (value === null || value === undefined || value === false) continue;
      if (name === "on") for (const [event, handler] of Object.entries(value)) made.addEventListener(event, handler);
      else if (name === "text") made.textContent = value;
      else if (name === "value") made.value = value;
      else made.setAttribute(name, value === true ? "" : value);
    }
    made.append(...children.filter((child) => child !== null && child !== undefined));
    return made;
  }

  let count = 0;
  // A control with its label; `control` gets an id.
  function labelled(text, control) {
    control.id = control.id || `live-control-${count++}`;
    return element("div", { class: "live-field" }, element("label", { for: control.id, text }), control);
  }

  // choices: [[value, text], ...]
  function select(choices, value, onChange) {
    const made = element("select", { on: { change: () => onChange(made.value) } });
    fillSelect(made, choices, value);
    return made;
  }

  function fillSelect(made, choices, value) {
    made.replaceChildren(...choices.map(([key, text]) => element("option", { value: key, text })));
    made.value = String(value);
  }

  Object.assign(live, { units, element, labelled, select, fillSelect });
})();
