// The opening that is tried on the live page: laid, moved, judged, copied as an entry of a case.
//
// new Panelcp.live.Trial(model, picture, place)
//   start(place) a new opening, copy(opening) of the run, moveTo(point), nudge(direction, fine), remove()
//   judged       {patch, result} of the last place that lay well, or null; onJudged(judged) is told of it
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const { element, units, labelled, select, fillSelect } = live;
  const STEP = 0.01, FINE = 0.001; // m, by an arrow key
  const USES = [["exit", "exit"], ["inlet", "inlet"]];
  const NEW = { length: 0.12, width: 0.2, turn: 0, shape: "rectangle", use: "exit", kind: "plain exit", recovery: 0 };

  const NOT_COPIED = "What only the cooling network uses is not copied from an opening of the case: flap_angle, flap_chord, " +
    "shut_gap, open_share, discharge, blocked_share, lip_radius. If it has them, add them to the entry by hand.";

  live.Trial = class Trial {
    constructor(model, picture, place, barsPlace) {
      Object.assign(this, { model, picture });
      this.values = null;
      this.judged = null;
      place.append(this._form());
      this.bars = new live.Bars(model, barsPlace);
      picture.on("drag", ({ name, reading }) => name === live.PLACE && this.moveTo(reading.point));
      picture.on("nudge", ({ name, direction, fine }) => name === live.PLACE && this.nudge(direction, fine));
      this._show();
    }

    // --- the form -----------------------------------------------------------------------------------

    _form() {
      const { model } = this, names = model.openings.map(({ name }) => [name, name]);
      this.source = select(names, names[0]?.[0] ?? "", () => {});
      this.startButton = button("New opening at the point read", () => this._startHere());
      const copy = names.length ? element("div", { class: "live-row" }, this.source, button("Copy", () => this._copyChosen())) : null;
      this.source.setAttribute("aria-label", "Opening to copy");
      this.fields = element("div", { hidden: true });
      this.problem = element("p", { class: "live-problem", role: "alert", hidden: true });
      this._buildFields();
      return element("fieldset", { class: "live-box" }, element("legend", { text: "Try an opening" }),
        this.startButton, copy, this.problem, this.fields);
    }

    _buildFields() {
      const { settings } = this.model, take = () => this._typed();
      const number = (quantity) => element("input", { type: "number", step: "any", "data-quantity": quantity, on: { change: take } });
      this.inputs = {
        name: element("input", { type: "text", maxlength: 400, dir: "auto", on: { input: take } }),
        use: select(USES, "exit", take),
        kind: select(settings.kinds.map((kind) => [kind, kind]), NEW.kind, take),
        shape: select(settings.shapes.map((shape) => [shape, shape]), NEW.shape, take),
        length: number("length"), width: number("length"), turn: number("angle"), recovery: number("part"),
        x: number("length"), y: number("length"), z: number("length"),
      };
      this.partner = select([], "", (value) => {
        this.model.partner[live.partnerUse(this.values.use)] = value;
        this.model.tell("partner");
      });
      this.rows = Object.fromEntries(Object.entries(this.inputs).map(([key, input]) => [key, labelled(key, input)]));
      this.partnerRow = labelled("Goes with", this.partner);
      this.entry = element("textarea", { readonly: true, rows: 10, spellcheck: "false", "aria-label": "Entry for the case file" });
      this.notCopied = element("p", { class: "soft", hidden: true, text: NOT_COPIED });
      this.copied = element("span", { class: "soft", role: "status" });
      const half = (...keys) => element("div", { class: "live-grid" }, ...keys.map((key) => this.rows[key]));
      this.fields.append(
        element("p", { class: "soft", text: "Drag it, or move the focus to its label and use the arrow keys (with shift: fine)." }),
        this.notCopied,
        this.rows.name, half("use", "kind", "shape", "turn", "length", "width"), this.rows.recovery, this.partnerRow,
        half("x", "y", "z"),
        element("div", { class: "live-row" }, button("Copy as case entry", () => this._copyEntry()), button("Take it away", () => this.remove()), this.copied),
        this.entry,
      );
    }

    _labels() {
      const mm = units.of("length").unit;
      const texts = { name: "Name", use: "Use", kind: "Kind", shape: "Shape", turn: "Turn, \u00b0", recovery: "Recovery fraction",
        length: `Length, ${mm}`, width: `Width, ${mm}`, x: `STA, ${mm}`, y: `BL, ${mm}`, z: `WL, ${mm}` };
      for (const [key, row] of Object.entries(this.rows)) row.querySelector("label").textContent = texts[key];
    }

    // Fields as the values stand; not the one that has the focus.
    _show() {
      this._labels();
      this.fields.hidden = !this.values;
      this.notCopied.hidden = !this.isCopy;
      if (!this.values) return;
      const { values, inputs } = this, [x, y, z] = values.centre;
      for (const [key, value] of Object.entries({ ...values, x, y, z })) {
        const input = inputs[key];
        if (!input || input === document.activeElement) continue;
        const { quantity } = input.dataset;
        input.value = quantity === "length" ? units.plain(value, "length", units.of("length").digits + 1)
          : quantity ? units.plain(value, quantity, 3) : value;
        input.removeAttribute("aria-invalid");
      }
      this.rows.recovery.hidden = values.use !== "inlet";
      const wanted = live.partnerUse(values.use), partners = this.model.partners(wanted);
      fillSelect(this.partner, partners.map(({ name }) => [name, name]), this.model.partner[wanted]);
      this.partnerRow.hidden = !partners.length;
    }

    // --- starting and moving --------------------------------------------------------------------------

    _startHere() {
      const pin = this.picture.pin;
      if (!pin) this.picture.views[0].readCentre();
      const { pin: found } = this.picture;
      if (!found) {
        this._problem("No skin in the middle of the picture: pick a point on it first.");
        return;
      }
      this.start({ ...NEW, centre: found.point, name: this._freeName("new exit") });
    }

    _copyChosen() {
      const opening = this.model.openings.find(({ name }) => name === this.source.value);
      if (opening) this.copy(opening);
    }

    copy(opening) {
      const { use, kind, shape, length, width, turn, centre, recovery } = opening;
      const eta = Array.isArray(recovery) ? Math.max(0, ...recovery.filter(Number.isFinite)) : recovery || 0;
      this.start({
        use: use === "inlet" ? "inlet" : "exit", kind, shape, length, width, turn: turn || 0, centre: [...centre],
        recovery: Math.min(1, eta), name: this._freeName(`${opening.name} moved`),
      }, true);
    }

    start(values, isCopy = false) {
      this.isCopy = isCopy;
      this.values = { name: this._freeName("new exit"), ...NEW, ...values };
      this.judged = null;
      this._lay();
      this._show();
      this.picture.views[0].labels.items.get(`outlines ${live.PLACE}`)?.button.focus({ preventScroll: true });
    }

    remove() {
      this.values = this.judged = null;
      this.picture.setPlace(null);
      this.bars.clear();
      this._problem("");
      this._show();
    }

    _freeName(wanted) {
      const taken = new Set(this.model.openings.map(({ name }) => name));
      let name = wanted;
      for (let k = 2; taken.has(name); k++) name = `${wanted} ${k}`;
      return name;
    }

    moveTo(point) {
      this.values.centre = [...point];
      this._later();
    }

    nudge(direction, fine) {
      const step = fine ? FINE : STEP;
      const moved = this.values.centre.map((value, k) => value + step * direction[k]);
      const found = Panelcp.nearest(this.model.block, moved);
      this.moveTo(found.point);
    }

    // Once per frame while it moves.
    _later() {
      if (this.frame) return;
      this.frame = requestAnimationFrame(() => {
        this.frame = 0;
        if (this.values) this._lay();
        this._show();
      });
    }

    _typed() {
      const { inputs, values } = this, read = {};
      for (const [key, input] of Object.entries(inputs)) {
        const { quantity } = input.dataset;
        const value = quantity ? (input.value.trim() === "" ? NaN : units.si(Number(input.value), quantity)) : input.value;
        const size = key === "length" || key === "width";
        const good = !quantity || (Number.isFinite(value) && (!size || value > 0) && (key !== "recovery" || (value >= 0 && value <= 1)));
        input.setAttribute("aria-invalid", String(!good));
        if (!good) {
          this._problem(`${this.rows[key].querySelector("label").textContent}: ${size ? "a number above zero" : key === "recovery" ? "a number from 0 to 1" : "a number"} is wanted.`);
          return;
        }
        read[key] = value;
      }
      const { x, y, z, ...rest } = read, shownNow = (value, k) => Number(units.plain(values.centre[k], "length", units.of("length").digits + 1)) === value;
      const typed = [inputs.x, inputs.y, inputs.z].map((input) => Number(input.value));
      const centre = [x, y, z].map((value, k) => (shownNow(typed[k], k) ? values.centre[k] : value));
      Object.assign(values, rest, { centre });
      this._lay();
      this._show();
    }

    // --- judging ----------------------------------------------------------------------------------------

    _lay() {
      const { model, values } = this;
      const found = Panelcp.lay(model.block, { ...values });
      const far = found.valid && found.distance > model.settings.farthest;
      if (!found.valid || far) {
        const why = far ? `its centre is ${units.text(found.distance, "length")} from the skin; at most ${units.text(model.settings.farthest, "length")}` : found.reason;
        this._problem(`Not laid: ${why}. The last place that lies well is kept.`);
        if (this.judged) {
          this.picture.setPlace({ ...this.judged.patch, name: values.name }, true);
          this.judge(true);
        }
        return;
      }
      this._problem("");
      values.centre = [...found.centre];
      this.laid = found;
      this.picture.setPlace({ ...found, name: values.name });
      this.judge();
    }

    // Pressures in every condition, as the sliders stand.
    judge(stale = false) {
      if (!this.values || !this.laid) return;
      const { model, values } = this;
      if (!stale) Object.assign(this.laid, shape(values));
      const { use } = this.laid, patch = model.judged(this.laid);
      const partner = model.partnerOf(use);
      const result = partner && { ...(use === "exit" ? Panelcp.available(model.block, partner, patch) : Panelcp.available(model.block, patch, partner)), partner: partner.name };
      this.judged = { patch, result };
      this.bars.update(patch, result, use, stale);
      if (this.onJudged) this.onJudged(this.judged);
      this.entry.value = live.caseEntry({ ...values, ...(stale ? shape(patch) : {}), centre: patch.centre });
      this.copied.textContent = model.openings.some(({ name }) => name === values.name) ? "The case has an opening of this name." : "";
    }

    // After a change of the air, the units or the partner.
    update() {
      if (this.values && this.laid) this.judge(this.bars.box.classList.contains("live-stale"));
      this._show();
    }

    _problem(text) {
      this.problem.hidden = !text;
      if (this.problem.textContent !== text) this.problem.textContent = text;
    }

    async _copyEntry() {
      try {
        await navigator.clipboard.writeText(this.entry.value);
        this.copied.textContent = "Copied.";
      } catch {
        this.entry.focus();
        this.entry.select();
        this.copied.textContent = document.execCommand("copy") ? "Copied." : "Select the text below and copy it.";
      }
    }
  };

  const shape = ({ name, use, kind, shape: outline, length, width, turn, recovery }) => ({ name, use, kind, shape: outline, length, width, turn, recovery });
  const button = (text, act) => element("button", { type: "button", text, on: { click: act } });
})();
