// The read-out of the live page: what holds at the point that was picked, and the opening chosen.
//
// It is shown at once; what a screen reader hears follows when it has rested for a moment.
//
// new Panelcp.live.ReadOut(model, picture, place); update(), choose(name) an opening of the run
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const { element, units } = live;
  const REST = 400; // ms without change before it is said

  live.ReadOut = class ReadOut {
    constructor(model, picture, place) {
      Object.assign(this, { model, picture });
      this.body = element("div", { class: "live-readout" });
      this.said = element("p", { class: "live-said", role: "status", "aria-live": "polite" });
      place.append(this.body, this.said);
      picture.on("pin", () => this.update());
      this.update();
    }

    update() {
      const lines = this.picture.pin ? this._lines() : [["p", "soft", "Click or tap the skin, or press Enter on the picture, to read a point."]];
      this.body.replaceChildren(...lines.map(([tag, style, text]) => element(tag, { class: style, text })), ...this._openingLines());
      clearTimeout(this.timer);
      if (!this.picture.pin && !this.chosen) return;
      this.timer = setTimeout(() => { this.said.textContent = this.body.innerText.replace(/\s+/g, " "); }, REST);
    }

    // [tag, class, text]
    _lines() {
      const { model } = this, { pin } = this.picture, lines = [];
      model.shown.forEach((shown, k) => {
        const found = model.readAt(pin, shown);
        if (k === 0) lines.push(["p", "live-where", `${live.placeText(pin.point)} \u00b7 ${found.region}`]);
        lines.push(["p", "live-value", this._valueText(found, shown)]);
        if (found.state) lines.push(["p", found.frozen ? "live-frozen" : "soft", this._stateText(found)]);
      });
      const use = model.spec.use || "exit";
      if (this.picture.ready) {
        const worth = model.worthAt(pin, use);
        if (worth) lines.push(["p", "soft", this._worthText(worth, use)]);
      }
      return lines;
    }

    _valueText(found, shown) {
      const cp = found.inPascal || !Number.isFinite(found.cp) ? "" : `Cp ${units.number(found.cp, "cp", true, 3)}, `;
      const pressure = `${units.text(found.gauge, "pascal", true)} (${units.text(found.gauge, "water", true)})`;
      const solved = shown.solved ? " as solved" : this.model.isChangedIn(shown.condition) ? live.CHANGED : "";
      return `${found.name}${solved}: ${cp}${pressure}`;
    }

    _stateText(found) {
      const thick = Number.isFinite(found.thickness) ? `, ${units.text(found.thickness, "layer")} thick` : "";
      return `Skin layer: ${found.state}${thick}${found.frozen ? ", as solved: it does not follow the sliders" : ""}`;
    }

    _worthText({ rows, limiting, least, partner }, use) {
      const c = this.model.shown[0].condition, row = rows[c], { model } = this;
      const way = row.available < 0 ? `: air would go ${use === "exit" ? "in" : "out"}, the wrong way` : "";
      const ratio = Number.isFinite(row.ratio) ? `, ${live.timesNeeded(row.ratio)}` : "";
      const all = limiting >= 0 && Number.isFinite(least)
        ? ` Least of all deciding conditions: ${live.timesNeeded(least)}, in ${model.nameOf(limiting)}.` : "";
      return `A small ${use} here, with ${partner}: ${units.text(row.available, "pressure")} available${way}${ratio} in ${model.nameOf(c)}.${all}`;
    }

    // --- an opening of the run ----------------------------------------------------------------------

    choose(name) {
      this.chosen = this.model.openings.find((opening) => opening.name === name) || null;
      this.update();
    }

    _openingLines() {
      const opening = this.chosen;
      if (!opening) return [];
      const { model } = this, c = model.shown[0].condition, air = model.pressuresOf(opening);
      const size = `${units.number(opening.length, "length")} \u00d7 ${units.text(opening.width, "length")}`;
      const q = model.inPascal(c) ? 0 : Panelcp.airOf(model.block, c, model.changesOf(c)).dynamicPressure;
      const cp = q > 0 ? `Cp ${units.number(air.patch[c] / q, "cp", true)}, ` : "";
      const spread = `${cp}${units.text(air.patch[c], "pressure", true)}, varies by \u00b1${units.text(air.spread[c], "pressure")}`;
      const title = element("p", { class: "live-where", text: opening.name });
      const text = `${opening.use}, ${opening.kind}, ${size}, ${live.placeText(opening.centre)}${opening.paired ? ", and its mirror image" : ""}; ` +
        `mean over it in ${model.nameOf(c)}: ${spread}`;
      const buttons = element("p", { class: "live-row" });
      const card = live.cardOf(opening.name);
      if (card) buttons.append(element("a", { href: `#${card.id}`, text: "Open its card" }));
      buttons.append(element("button", { type: "button", text: "Take a copy to move", on: { click: () => this.onCopy && this.onCopy(opening) } }));
      return [element("div", { class: "live-chosen" }, title, element("p", { text }), buttons)];
    }
  };

  // The card of an opening on this page: an element with data-opening, else the card whose heading
  // is "number: name"; null without one.
  let named = 0;
  live.cardOf = (name) => {
    const marked = [...document.querySelectorAll("[data-opening]")].find((found) => found.dataset.opening === name);
    const cards = [...document.querySelectorAll(".card")];
    const card = marked || cards.find((found) => {
      const text = found.querySelector("h3")?.textContent || "";
      return text.slice(text.indexOf(": ") + 2) === name && /^\d+: /.test(text);
    });
    if (card && !card.id) card.id = `live-card-${named++}`;
    return card || null;
  };
})();
