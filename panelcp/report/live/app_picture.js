// The pictures of the live page: one viewer, or two that are linked, with legend and named views.
//
// new Panelcp.live.Picture(model, place)
//   views            viewers that are there, in the order of model.shown
//   update(rescale)  fields, hatching and titles as the model stands; rescale: also the colours' ends
//   setPlace(laid, wrong)   outline of the opening that is tried, or null; wrong: the last one that lay well
//   showTraces(wanted)      lines of the exits' air
//   setExtra(name, {lines, points})  lines and points of other parts of the page, by name
//   pin              what was read last: {point, panel}, or null
//   on(name, handler)  "pin" reading, "select" name, "drag" reading, "nudge" {direction, fine}
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const { element, units } = live;
  const VIEWS = [["three-quarter", "Three-quarter"], ["left", "Left"], ["right", "Right"], ["top", "Top"],
    ["bottom", "Bottom"], ["front", "Front"]];
  const KINDS = { inlet: "inlet", exit: "exit", both: "exit" };
  const NOT_ENOUGH = 3;
  const WHOLE_SKIN = "Shown for the whole skin, also where nothing may be cut.";

  live.Picture = class Picture {
    constructor(model, place) {
      this.model = model;
      this.views = [];
      this.extras = new Map();
      this.tracesShown = true;
      this.handlers = {};
      this.pin = null;
      this.place = null;
      this.panes = element("div", { class: "live-panes" });
      this.legendPlace = element("div", { class: "live-legend" });
      this.reason = element("p", { class: "live-reason soft", hidden: true });
      place.append(this.panes, this._tools(), this.legendPlace, this.reason);
      this.focusPanels = this._focusPanels();
    }

    on(name, handler) {
      (this.handlers[name] = this.handlers[name] || []).push(handler);
      return this;
    }

    _emit(name, detail) {
      for (const handler of this.handlers[name] || []) handler(detail);
    }

    _tools() {
      const go = (act) => () => this.views[0] && act(this.views[0]);
      const buttons = VIEWS.map(([view, text]) =>
        element("button", { type: "button", text, on: { click: go((own) => own.setCamera({ view })) } }));
      const { block } = this.model, low = [0, 1, 2], vertices = block.vertices;
      const box = { low: low.map(() => Infinity), high: low.map(() => -Infinity) };
      for (let k = 0; k < vertices.length; k++) {
        box.low[k % 3] = Math.min(box.low[k % 3], vertices[k]);
        box.high[k % 3] = Math.max(box.high[k % 3], vertices[k]);
      }
      buttons.push(element("button", { type: "button", text: "Fit", on: { click: go((own) => own.fit()) } }));
      buttons.push(element("button", { type: "button", text: "Whole body", on: { click: go((own) => own.fit(box)) } }));
      return element("div", { class: "live-tools", role: "group", "aria-label": "Views" }, ...buttons);
    }

    // Whether a panel lies in the part that is looked at: the colours are chosen for it.
    _focusPanels() {
      const { block, settings } = this.model, chosen = new Uint8Array(block.nPanels);
      for (let i = 0; i < chosen.length; i++) {
        chosen[i] = Number([0, 1, 2].every((k) => block.points[3 * i + k] >= settings.focus.low[k] - 1e-6 &&
          block.points[3 * i + k] <= settings.focus.high[k] + 1e-6));
      }
      return chosen;
    }

    // --- viewers ------------------------------------------------------------------------------------

    _addView() {
      const { block, settings } = this.model, number = this.views.length;
      const title = element("p", { class: "live-title" });
      const canvas = element("canvas", { class: "live-canvas" });
      const pane = element("div", { class: "live-pane" }, title, canvas);
      this.panes.append(pane);
      const view = new Panelcp.Viewer(canvas, { points: block.vertices, triangles: block.triangles }, {
        focus: settings.focus,
        label: "Body of the aircraft in colours of pressure",
        describe: (reading) => this._tip(reading, number),
        painter: live.painter || "auto",
      });
      view.said.removeAttribute("aria-live"); // the read-out of the page speaks
      Object.assign(view, { pane, title });
      view.on("read", (reading) => this.setPin({ point: reading.point, panel: reading.triangle }));
      view.on("select", ({ name, group }) => this._emit("select", { name, group }));
      view.on("drag", ({ name, reading }) => this._emit("drag", { name, reading }));
      view.on("nudge", (detail) => this._emit("nudge", detail));
      view.on("painter", () => this._tellReason());
      this.views.push(view);
      if (number > 0) Panelcp.link(this.views[0], view);
      this._tellReason();
    }

    setPin(place) {
      this.pin = place;
      this._emit("pin", place);
    }

    _tellReason() {
      const plain = this.views.find((view) => view.kind === "2d" && view.reason);
      this.reason.hidden = !plain;
      if (!plain) return;
      this.reason.textContent = "Drawn without the graphics processor: turning is slower.";
      this.reason.title = plain.reason;
    }

    _tip(reading, number) {
      const { model } = this, shown = model.shown[number] || model.shown[0];
      const place = live.placeText(reading.point);
      if (!this.ready) return place;
      const found = model.readAt({ point: reading.point, panel: reading.triangle }, shown);
      const cp = found.inPascal ? "" : `Cp ${units.number(found.cp, "cp", true)}, `;
      const lines = [`${cp}${units.text(found.gauge, "pressure", true)}`];
      if (model.spec.use && Number.isFinite(reading.value)) lines.unshift(`${model.spec.title}: ${this._valueText(reading.value, shown)}`);
      return [...lines, place].join("\n");
    }

    // A value as it is drawn, in the unit of the legend.
    _valueText(value, shown) {
      const quantity = this.model.quantityOf(shown), { unit, digits } = units.of(quantity);
      return `${value.toFixed(digits).replace("-", "\u2212")}${unit ? ` ${unit}` : ""}`;
    }

    // --- what is shown --------------------------------------------------------------------------------

    update(rescale = false) {
      const { model } = this;
      while (this.views.length < model.shown.length) this._addView();
      while (this.views.length > model.shown.length) this._dropView();
      this.panes.classList.toggle("live-two", model.shown.length > 1);
      const fields = model.shown.map((shown) => this._drawn(shown));
      const quantities = model.shown.map((shown) => model.quantityOf(shown));
      if (rescale || !this.scales) this.scales = this._scales(fields, quantities);
      model.shown.forEach((shown, k) => {
        const { limit, step } = this.scales[k];
        this.views[k].setField(fields[k], { limit, step, per: "triangle", lines: true });
        this.views[k].title.textContent = this.titleOf(shown);
        const key = `${model.field} ${shown.condition}`;
        if (model.spec.ratio || rescale || this.views[k].hatched !== key) this.views[k].setHatch(this._hatch(shown, fields[k]));
        this.views[k].hatched = key;
      });
      if (!rescale) this._extras();
      if (rescale || !this.legendPlace.firstChild) {
        this._legend(quantities);
        this._marks();
        this._extras();
      }
    }

    _dropView() {
      const view = this.views.pop();
      view.remove();
      view.pane.remove();
    }

    titleOf({ condition, solved }) {
      const { model } = this, { ratio } = model.spec;
      const name = ratio ? "all deciding conditions" : model.block.conditions[condition].name;
      const changed = !solved && (ratio ? model.deciding : [condition]).some((c) => model.isChangedIn(c));
      return name + (changed ? live.CHANGED : solved ? " (as solved)" : "");
    }

    _drawn(shown) {
      const { factor } = units.of(this.model.quantityOf(shown)), values = this.model.valuesOf(shown);
      return factor === 1 ? values : values.map((value) => factor * value);
    }

    // Ends of the colours: those of the maps for Cp; one scale for pictures of the same quantity.
    _scales(fields, quantities) {
      const { model } = this;
      const limits = fields.map((values, k) => {
        if (quantities[k] === "cp") return model.settings.cp.limit;
        const least = quantities[k] === "part" ? 1 : units.of(quantities[k]).factor;
        return live.usualLimit(values, this.focusPanels, least);
      });
      return quantities.map((quantity) => {
        if (quantity === "cp") return { ...model.settings.cp };
        const limit = Math.max(...limits.filter((_, k) => quantities[k] === quantity));
        const step = Panelcp.niceStep(limit);
        return { limit: step * Math.ceil(limit / step - 1e-9), step };
      });
    }

    _hatch(shown, values) {
      const { block, settings, spec } = this.model, out = new Uint8Array(block.nPanels);
      if (spec.ratio) {
        for (let i = 0; i < out.length; i++) out[i] = values[i] < 1 ? NOT_ENOUGH : 0;
        return out;
      }
      const state = block.state[shown.condition];
      if (!state) return null;
      const codes = new Map(Object.entries(settings.hatch).map(([code, hatch]) => [Number(code), hatch]));
      for (let i = 0; i < out.length; i++) out[i] = codes.get(state[i]) || 0;
      return out;
    }

    _legend(quantities) {
      const { model } = this, hatches = model.spec.ratio ? [NOT_ENOUGH] : model.block.header.separated.has_state ? [2, 1] : [];
      const seen = new Set(), legends = [];
      quantities.forEach((quantity, k) => {
        if (seen.has(quantity)) return;
        seen.add(quantity);
        const { limit, step } = this.scales[k], { unit } = units.of(quantity);
        const title = model.field === "cp" && quantity === "pressure" ? live.FIELDS.pressure.title : model.spec.title;
        const name = unit || (quantity === "cp" ? "Cp" : "available / needed");
        const legend = Panelcp.legend(limit, name, {
          step, title: unit ? `${title}, ${unit}` : title, horizontal: true, hatches: legends.length ? [] : hatches,
        });
        if (model.spec.use) legend.querySelectorAll("li").forEach((row) => this._wordsOfPlaces(row));
        legends.push(legend);
      });
      const note = model.spec.use ? [element("p", { class: "soft", text: WHOLE_SKIN })] : [];
      this.legendPlace.replaceChildren(...legends, ...note);
    }

    // The keys of the lines speak of pressures; here they mean the way of the air.
    _wordsOfPlaces(row) {
      const text = row.lastChild, { use } = this.model.spec, way = use === "exit" ? ["in", "out"] : ["out", "in"];
      if (text.data.startsWith("\u2212")) text.data = `\u2212 air would go ${way[0]}: dashed`;
      else if (text.data.startsWith("0")) text.data = "0 no flow: thick";
      else if (text.data.startsWith("+")) text.data = `+ air goes ${way[1]}: unbroken`;
    }

    // --- marks ------------------------------------------------------------------------------------------

    setPlace(laid, wrong = false) {
      this.place = laid && { laid, wrong };
      this._marks();
    }

    _marks() {
      const { model } = this;
      const best = model.block.header.best || [];
      const marks = model.openings.map((opening) => ({
        name: opening.name, text: shortened(opening.name), points: flat(opening.outline),
        kind: KINDS[opening.use] || "other", selected: best.includes(opening.name),
      }));
      if (this.place) {
        const { laid, wrong } = this.place;
        marks.push({
          name: live.PLACE, text: shortened(laid.name || "new opening"), points: flat(laid.outline),
          kind: wrong ? "suspect" : "best", selected: true, draggable: true,
        });
      }
      for (const view of this.views) view.setOutlines(marks);
    }

    setExtra(name, extra) {
      if (extra) this.extras.set(name, extra);
      else this.extras.delete(name);
      this._extras();
    }

    _extras() {
      const all = [...this.extras.values()];
      this.views.forEach((view, k) => {
        view.setLines([...this._traces(this.model.shown[k]), ...all.flatMap(({ lines }) => lines || [])]);
        view.setPoints(all.flatMap(({ points }) => points || []));
      });
    }

    // Exit air of a condition as it was solved; dashed where the sliders have changed the condition.
    _traces({ condition, solved }) {
      const { model } = this, found = (model.settings.traces || []).find((row) => row.condition === condition);
      if (!this.tracesShown || !found || !model.openings.length) return [];
      const dashed = model.isChangedIn(condition, solved);
      return found.lines.map(({ points }) => ({ points: summed(points), kind: "exit", dashed, width: 1.2 }));
    }

    showTraces(wanted) {
      this.tracesShown = wanted;
      this._extras();
    }
  };

  live.PLACE = "\u0000place"; // no opening of a case can have this name
  const LONGEST = 28;
  const shortened = (text, longest = LONGEST) => {
    const letters = [...text];
    return letters.length <= longest ? text : `${letters.slice(0, longest - 1).join("")}\u2026`;
  };
  // Changes of the steps in millimetres to places in metres.
  const summed = (changes) => {
    const places = new Float32Array(changes.length), step = [0, 0, 0], at = [0, 0, 0];
    for (let k = 0; k < changes.length; k++) {
      step[k % 3] += changes[k];
      at[k % 3] += step[k % 3];
      places[k] = 0.001 * at[k % 3];
    }
    return places;
  };
  const flat = (points) => Float32Array.from(points.flat());

  // "STA 812, BL −120, WL 330 mm"
  live.placeText = (point) => {
    const [x, y, z] = point.map((value) => units.number(value, "length"));
    return `STA ${x}, BL ${y}, WL ${z} ${units.of("length").unit}`;
  };
  live.shortened = shortened;
})();
