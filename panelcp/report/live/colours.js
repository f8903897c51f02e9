// Colours of pressure: the tables of the static maps, the scale, the legend.
//
// Panelcp.colourTable(grey)           Uint8Array(3 x 511): from -limit to +limit
// Panelcp.colourAt(value, limit, grey) [red, green, blue], 0 to 255
// Panelcp.niceStep(limit)             1, 2 or 5 times a power of ten, at most ten steps a side
// Panelcp.numberText(value, step)     text with a true minus sign and as many digits as needed
// Panelcp.legend(limit, unit, options) HTML element; options: step, grey, low, high, title,
//                                     hatches (true, or list of states), horizontal
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const tables = {};

  Panelcp.colourTable = (grey = false) => {
    const name = grey ? "grey" : "pressure";
    if (!tables[name]) {
      const text = atob(Panelcp.colourTables[name]);
      tables[name] = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
    }
    return tables[name];
  };

  Panelcp.colourAt = (value, limit, grey = false) => {
    const table = Panelcp.colourTable(grey);
    const count = table.length / 3;
    const entry = Math.floor(Math.min(Math.max(((value + limit) * count) / (2 * limit), 0), count - 1));
    return [table[3 * entry], table[3 * entry + 1], table[3 * entry + 2]];
  };

  Panelcp.niceStep = (limit) => {
    const least = limit / 10;
    const power = 10 ** Math.floor(Math.log10(least));
    for (const factor of [1, 2, 5]) {
      if (factor * power >= least * (1 - 1e-9)) return Number((factor * power).toPrecision(12));
    }
    return Number((10 * power).toPrecision(12));
  };

  Panelcp.numberText = (value, step) => {
    let digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const scaled = step * 10 ** digits;
    if (Math.abs(scaled - Math.round(scaled)) > 1e-6) digits += 1;
    const text = value.toFixed(digits);
    return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "\u2212");
  };

  // --- legend ---------------------------------------------------------------------------------

  const SVG = "http://www.w3.org/2000/svg";
  const HATCH_WORDS = {
    2: "separated air: the pressure is a band",
    1: "the air may separate here",
    3: "the pressure does not suffice",
  };
  let count = 0;

  function svgElement(name, attributes, parent, text) {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
    if (parent) parent.append(element);
    return element;
  }

  function gradient(svg, id, low, high, limit, grey, horizontal) {
    const turn = horizontal ? { x1: 0, x2: 1, y1: 0, y2: 0 } : { x1: 0, x2: 0, y1: 1, y2: 0 };
    const stops = svgElement("linearGradient", { id, ...turn }, svgElement("defs", {}, svg));
    for (let k = 0; k <= 64; k++) {
      const colour = Panelcp.colourAt(low + ((high - low) * k) / 64, limit, grey);
      svgElement("stop", { offset: k / 64, "stop-color": `rgb(${colour})` }, stops);
    }
  }

  function levelsBetween(low, high, step) {
    const levels = [];
    for (let k = Math.ceil(low / step - 1e-9); k <= high / step + 1e-9; k++) levels.push(k * step);
    return levels;
  }

  function lineStyle(level, step) {
    const zero = Math.abs(level) < 1e-6 * step;
    return { "stroke-width": zero ? 2.4 : 1, "stroke-dasharray": !zero && level < 0 ? "5 3" : "none" };
  }

  function verticalBar(parts, scale) {
    const { low, high, step } = scale;
    const length = Math.min(320, Math.max(170, 17 * parts.length));
    const svg = svgElement("svg", { width: 84, height: length + 20, role: "img", class: "panelcp-bar" });
    const place = (value) => 10 + (length * (high - value)) / (high - low);
    gradient(svg, scale.id, low, high, scale.limit, scale.grey, false);
    svgElement("rect", { x: 2, y: 10, width: 26, height: length, fill: `url(#${scale.id})`, class: "panelcp-frame" }, svg);
    for (const level of parts) {
      const y = place(level);
      svgElement("line", { x1: 2, x2: 28, y1: y, y2: y, stroke: "#1d2326", ...lineStyle(level, step) }, svg);
      svgElement("text", { x: 35, y: y + 4 }, svg, Panelcp.numberText(level, step));
    }
    return svg;
  }

  function horizontalBar(parts, scale) {
    const { low, high, step } = scale;
    const length = 320, edge = 24; // room for half of the longest number
    const svg = svgElement("svg", { viewBox: `0 0 ${length + 2 * edge} 44`, role: "img", class: "panelcp-bar panelcp-wide" });
    const place = (value) => edge + (length * (value - low)) / (high - low);
    gradient(svg, scale.id, low, high, scale.limit, scale.grey, true);
    svgElement("rect", { x: edge, y: 2, width: length, height: 20, fill: `url(#${scale.id})`, class: "panelcp-frame" }, svg);
    const every = Math.ceil(parts.length / 9);
    for (const level of parts) {
      const x = place(level);
      svgElement("line", { x1: x, x2: x, y1: 2, y2: 22, stroke: "#1d2326", ...lineStyle(level, step) }, svg);
      if (Math.round(level / step) % every === 0) {
        svgElement("text", { x, y: 38, "text-anchor": "middle" }, svg, Panelcp.numberText(level, step));
      }
    }
    return svg;
  }

  function keyRow(list, picture, text) {
    const row = document.createElement("li");
    row.append(picture, document.createTextNode(text));
    list.append(row);
  }

  function lineKey(level) {
    const svg = svgElement("svg", { width: 30, height: 12, "aria-hidden": "true" });
    svgElement("line", { x1: 1, x2: 29, y1: 6, y2: 6, stroke: "currentColor", ...lineStyle(level, 1) }, svg);
    return svg;
  }

  function hatchKey(state, id) {
    const svg = svgElement("svg", { width: 30, height: 16, "aria-hidden": "true" });
    const turn = state === 3 ? -45 : 45;
    const pattern = svgElement(
      "pattern",
      { id, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: `rotate(${-turn})` },
      svgElement("defs", {}, svg),
    );
    svgElement("rect", { width: 5, height: 5, fill: "#dfe3e4" }, pattern);
    const ink = state === 1 ? { x: 1.5, y: 1.5, width: 1.7, height: 1.7 } : { width: 5, height: 1.1 };
    svgElement("rect", { fill: "#20272b", ...ink }, pattern);
    svgElement("rect", { x: 0.5, y: 0.5, width: 29, height: 15, fill: `url(#${id})`, class: "panelcp-frame" }, svg);
    return svg;
  }

  function keyList(scale, options) {
    const list = document.createElement("ul");
    const { low, high } = scale;
    if (low < 0) keyRow(list, lineKey(-1), "\u2212 suction (below outside pressure): dashed");
    if (low <= 0 && high >= 0) keyRow(list, lineKey(0), "0 outside pressure: thick");
    if (high > 0) keyRow(list, lineKey(1), "+ pressure (above outside pressure): unbroken");
    const hatches = options.hatches === true ? [2, 1] : options.hatches || [];
    for (const state of hatches) keyRow(list, hatchKey(state, `${scale.id}h${state}`), HATCH_WORDS[state]);
    return list;
  }

  Panelcp.legend = (limit, unit, options = {}) => {
    const step = options.step || Panelcp.niceStep(limit);
    const low = Math.max(-limit, Math.floor((options.low ?? -limit) / step + 1e-9) * step);
    const high = Math.min(limit, Math.ceil((options.high ?? limit) / step - 1e-9) * step);
    const range = high > low ? [low, high] : [-limit, limit];
    const scale = { low: range[0], high: range[1], step, limit, grey: Boolean(options.grey), id: `panelcp-bar-${count++}` };
    Panelcp.addStyle();
    const figure = document.createElement("figure");
    figure.className = "panelcp-legend" + (options.horizontal ? " panelcp-across" : "");
    const title = document.createElement("figcaption");
    title.textContent = options.title || unit;
    const parts = levelsBetween(scale.low, scale.high, step);
    const bar = options.horizontal ? horizontalBar(parts, scale) : verticalBar(parts, scale);
    const words = `${unit} from ${Panelcp.numberText(scale.low, step)} to ${Panelcp.numberText(scale.high, step)}`;
    bar.setAttribute("aria-label", words);
    figure.append(title, bar, keyList(scale, options));
    return figure;
  };

  // --- style of all that the viewer puts into a page ------------------------------------------

  const STYLE = `
.panelcp-view { position:relative; display:block; overflow:hidden; isolation:isolate }
.panelcp-view > canvas { display:block; touch-action:none; cursor:grab; outline-offset:-2px }
.panelcp-view.panelcp-dragging > canvas { cursor:grabbing }
.panelcp-view > canvas:focus-visible { outline:2px solid var(--ink, #1d2326) }
.panelcp-spare { position:absolute; inset:0; z-index:-1; pointer-events:none }
.panelcp-leaders, .panelcp-labels { position:absolute; inset:0; width:100%; height:100%; pointer-events:none }
.panelcp-leaders line { stroke-width:1.2 }
.panelcp-leaders line.panelcp-casing { stroke:var(--paper, #fff); stroke-width:3.6 }
.panelcp-labels button { position:absolute; left:0; top:0; margin:0; padding:1px 6px; pointer-events:auto;
  font:600 12px/18px system-ui, sans-serif; white-space:nowrap; max-width:46vw; overflow:hidden;
  text-overflow:ellipsis; cursor:pointer; border:1.5px solid; border-radius:3px;
  background:var(--paper, #fff); color:var(--panelcp-mark); border-color:var(--panelcp-mark) }
.panelcp-labels button.panelcp-tap { padding:0; width:22px; height:22px; border-radius:50%; font-size:11px;
  line-height:18px; text-align:center }
.panelcp-labels button[aria-pressed=true] { background:var(--panelcp-mark); color:var(--paper, #fff) }
.panelcp-labels button:focus-visible { outline:3px solid var(--ink, #1d2326); outline-offset:2px; z-index:3 }
.panelcp-labels button.panelcp-behind:not(:focus) { opacity:0; pointer-events:none }
.panelcp-labels button.panelcp-behind { border-style:dashed }
.panelcp-tip { position:absolute; left:0; top:0; z-index:4; pointer-events:none; padding:3px 8px; border-radius:4px;
  font:13px/1.4 system-ui, sans-serif; white-space:pre-line; max-width:min(280px, 70vw);
  background:var(--ink, #1d2326); color:var(--paper, #fff); font-variant-numeric:tabular-nums }
.panelcp-cursor { position:absolute; left:-7px; top:-7px; width:14px; height:14px; pointer-events:none;
  border:2px solid #111; border-radius:50%; box-shadow:0 0 0 1.5px #fff, inset 0 0 0 1.5px #fff }
.panelcp-said { position:absolute; width:1px; height:1px; overflow:hidden; clip-path:inset(50%); white-space:nowrap }
.panelcp-inlet { --panelcp-mark:#1f2a8c } .panelcp-exit { --panelcp-mark:#8a1253 }
.panelcp-best { --panelcp-mark:#000000 } .panelcp-other { --panelcp-mark:#3d464b }
.panelcp-suspect { --panelcp-mark:#b3261e }
.panelcp-leaders line:not(.panelcp-casing) { stroke:var(--panelcp-mark) }
.panelcp-legend { margin:0; font-size:13px; color:var(--ink, #1d2326); font-variant-numeric:tabular-nums }
.panelcp-legend figcaption { font-weight:600; font-size:13px; color:inherit }
.panelcp-legend text { fill:currentColor; font:12px system-ui, sans-serif }
.panelcp-legend .panelcp-frame { stroke:#59636a; stroke-width:1 }
.panelcp-legend ul { list-style:none; margin:6px 0 0; padding:0 }
.panelcp-legend li { display:flex; gap:8px; align-items:center; line-height:1.35; margin:3px 0 }
.panelcp-legend li svg { flex:none }
.panelcp-legend .panelcp-wide { display:block; width:100%; max-width:420px; height:auto }
@media (prefers-color-scheme: dark) {
  .panelcp-inlet { --panelcp-mark:#b3bcff } .panelcp-exit { --panelcp-mark:#ff9ecb }
  .panelcp-best { --panelcp-mark:#ffffff } .panelcp-other { --panelcp-mark:#c3ccd1 }
  .panelcp-suspect { --panelcp-mark:#ff9d96 } }
.panelcp-on-paper { --paper:#ffffff; --ink:#1d2326 }
.panelcp-on-paper .panelcp-inlet { --panelcp-mark:#1f2a8c } .panelcp-on-paper .panelcp-exit { --panelcp-mark:#8a1253 }
.panelcp-on-paper .panelcp-best { --panelcp-mark:#000000 } .panelcp-on-paper .panelcp-other { --panelcp-mark:#3d464b }
.panelcp-on-paper .panelcp-suspect { --panelcp-mark:#b3261e }
@media (pointer: coarse) {
  .panelcp-labels button { padding:4px 9px } .panelcp-labels button.panelcp-tap { width:28px; height:28px; padding:0 } }
.panelcp-view > canvas.panelcp-paper { display:none }
@media print { .panelcp-legend { color:#1d2326; print-color-adjust:exact } .panelcp-tip, .panelcp-cursor { display:none }
  .panelcp-view:has(> .panelcp-paper) > :not(.panelcp-paper) { display:none !important }
  .panelcp-view > canvas.panelcp-paper { display:block; width:100%; height:auto } }
`;

  Panelcp.addStyle = () => {
    if (document.getElementById("panelcp-style")) return;
    const style = document.createElement("style");
    style.id = "panelcp-style";
    style.textContent = STYLE;
    document.head.append(style);
  };
})();
