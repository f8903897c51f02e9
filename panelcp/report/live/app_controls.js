// Controls of the live page: condition, field, comparison, sliders.
//
// new Panelcp.live.AirControls(model, picture, place): builds them; they write into the model and tell it.
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const { element, units, labelled, select, fillSelect } = live;
  const AS_SOLVED = "solved";

  // Sliders in the order of the page. low and high in SI (deg for angles), widened by the own value.
  const SLIDERS = {
    alpha: { text: "Angle of attack", quantity: "angle", low: -8, high: 16, step: 0.5 },
    beta: { text: "Sideslip, wind from the right +", quantity: "angle", low: -15, high: 15, step: 0.5 },
    calibrated: { text: "Calibrated airspeed", quantity: "speed", about: true, step: 0.25 },
    speed: { text: "True airspeed", quantity: "speed", about: true, step: 0.25 },
    groundSpeed: { text: "Ground speed", quantity: "speed", low: 0, high: 30, step: 0.25 },
    windSpeed: { text: "Wind speed", quantity: "speed", low: 0, high: 15, step: 0.25 },
    windFrom: { text: "Wind from, 90 right", quantity: "angle", low: -180, high: 180, step: 5 },
    altitude: { text: "Altitude", quantity: "altitude", low: 0, high: 4000, step: 25 },
    factor: { text: "Slipstream factor, all conditions", quantity: "part", low: 0, high: 1.3, step: 0.01 },
  };

  live.AirControls = class AirControls {
    constructor(model, picture, place) {
      Object.assign(this, { model, picture });
      this.rows = {};
      place.append(this._choices(), this._sliders());
      this.rebuild();
    }

    // --- what is shown ------------------------------------------------------------------------------

    _choices() {
      const { model } = this, names = model.block.conditions.map((condition, c) => [c, this._conditionText(condition)]);
      this.first = select(names, model.shown[0].condition, (value) => {
        model.shown[0] = { condition: Number(value), solved: false };
        this.rebuild();
        model.tell("condition");
      });
      this.field = select([], model.field, (value) => {
        model.field = value;
        this.showPartner();
        model.tell("field");
      });
      this.partner = select([], "", (value) => {
        model.partner[live.partnerUse(model.spec.use)] = value;
        model.tell("partner");
      });
      this.partnerRow = labelled("Goes with", this.partner);
      this.recovery = element("input", {
        type: "number", min: 0, max: 1, step: 0.05, value: String(model.recovery),
        on: { change: () => this._setRecovery() },
      });
      this.recoveryRow = labelled("Recovery of the small inlet", this.recovery);
      this.both = element("input", { type: "checkbox", on: { change: () => this._setBoth() } });
      this.second = select([[AS_SOLVED, "the same, as solved"], ...names], AS_SOLVED, () => this._setBoth());
      this.secondRow = labelled("Second picture", this.second);
      const body = element("fieldset", { class: "live-box" }, element("legend", { text: "Show" }),
        labelled("Condition", this.first), labelled("Colours", this.field), this.partnerRow, this.recoveryRow,
        element("label", { class: "live-check" }, this.both, " two pictures side by side"), this.secondRow,
        ...this._traces());
      this.showPartner();
      return body;
    }

    // Exit air along the skin, where lines are known.
    _traces() {
      if (!this.model.settings.traces?.length) return [];
      const box = element("input", { type: "checkbox", checked: true, on: { change: () => this.picture.showTraces(box.checked) } });
      return [element("label", { class: "live-check" }, box, " air of the exits along the skin (where to look; nothing is cleared)")];
    }

    _conditionText(condition) {
      return condition.decides ? condition.name : `${condition.name} (watched only)`;
    }

    _setRecovery() {
      const value = Number(this.recovery.value);
      const good = this.recovery.value !== "" && value >= 0 && value <= 1;
      this.recovery.setAttribute("aria-invalid", String(!good));
      if (!good) return;
      this.model.recovery = value;
      this.model.tell("partner");
    }

    showPartner() {
      const { model } = this, { use } = model.spec;
      fillSelect(this.field, model.fields.map(([key, spec]) => [key, spec.title]), model.field);
      this.partnerRow.hidden = !use;
      this.recoveryRow.hidden = use !== "inlet";
      this.secondRow.hidden = !this.both.checked;
      if (use) {
        const wanted = live.partnerUse(use);
        fillSelect(this.partner, model.partners(wanted).map(({ name }) => [name, name]), model.partner[wanted]);
      }
    }

    _setBoth() {
      const { model } = this, value = this.second.value;
      model.shown.length = 1;
      this.solvedAgain = value === AS_SOLVED;
      if (this.both.checked) {
        model.shown.push(this.solvedAgain ? { condition: model.shown[0].condition, solved: true } : { condition: Number(value), solved: false });
      }
      this.showPartner();
      model.tell("condition");
    }

    // --- sliders ------------------------------------------------------------------------------------

    _sliders() {
      this.list = element("div", {});
      this.problem = element("p", { class: "live-problem", role: "alert", hidden: true });
      this.told = element("p", { class: "live-told soft", hidden: true });
      this.resetButton = element("button", { type: "button", text: "Back to what was solved", on: { click: () => this.reset() } });
      this.legend = element("legend", { text: "Change the air" });
      this.air = element("p", { class: "live-told soft" });
      return element("fieldset", { class: "live-box" }, this.legend, this.air, this.list, this.problem, this.told, this.resetButton);
    }

    reset() {
      this.model.reset();
      this.rebuild();
      this.model.tell("condition");
    }

    get condition() {
      return this.model.shown[0].condition;
    }

    // Sliders of the condition that the first picture shows.
    rebuild() {
      const { model } = this, c = this.condition;
      if (model.shown[1]?.solved) model.shown[1].condition = c;
      this.first.value = String(c);
      const names = Panelcp.changeable(model.block, c).filter((name) => this._wanted(name));
      this.rows = {};
      this.list.replaceChildren(...Object.keys(SLIDERS).filter((name) => names.includes(name)).map((name) => this._row(name)));
      this._problem("");
      this.tell();
    }

    // One of both airspeeds: the one that the condition was given with.
    _wanted(name) {
      const given = this.model.block.conditions[this.condition].calibrated_airspeed !== null;
      return name === "speed" ? !given : name === "calibrated" ? given : true;
    }

    _own(name) {
      const condition = this.model.block.conditions[this.condition];
      const keys = { calibrated: "calibrated_airspeed", speed: "true_airspeed", groundSpeed: "ground_speed",
        windSpeed: "wind_speed", windFrom: "wind_from" };
      return name === "factor" ? this.model.block.header.factor : condition[keys[name] || name];
    }

    _value(name) {
      if (name === "factor") return this.model.factor ?? this._own(name);
      return this.model.changes[this.condition][name] ?? this._own(name);
    }

    _row(name) {
      const spec = SLIDERS[name], { unit } = units.of(spec.quantity), own = this._own(name) ?? 0;
      let [low, high] = spec.about ? [0.5 * own, own > 0 ? 1.8 * own : 40] : [spec.low, spec.high];
      const value = this._value(name);
      low = Math.min(low, value);
      high = Math.max(high, value);
      const ends = [low, high].map((end) => units.shown(end, spec.quantity));
      const step = spec.quantity === "altitude" && units.system === "cockpit" ? 100 : spec.step;
      const slider = element("input", { type: "range", min: ends[0], max: ends[1], step, on: { input: () => this._take(name, slider.value, number) } });
      const number = element("input", {
        type: "number", step: "any", "aria-label": `${spec.text}${unit ? `, ${unit}` : ""}`,
        on: { change: () => this._take(name, number.value, slider) },
      });
      slider.value = String(units.shown(value, spec.quantity));
      number.value = units.plain(value, spec.quantity);
      const row = labelled(unit ? `${spec.text}, ${unit}` : spec.text, slider);
      row.classList.add("live-slider");
      row.append(number);
      this.rows[name] = { slider, number, row };
      return row;
    }

    // A value typed or drawn, in the unit that is shown; what is impossible is said, the picture stays.
    _take(name, text, twin) {
      const spec = SLIDERS[name], value = text.trim() === "" ? NaN : units.si(Number(text), spec.quantity);
      const { slider, number } = this.rows[name];
      if (Number.isFinite(value)) twin.value = twin === number ? String(Number(Number(text).toFixed(units.of(spec.quantity).digits))) : text;
      try {
        if (!Number.isFinite(value)) throw new Error(`${spec.text}: a number is wanted`);
        this.model.propose(this.condition, name, value);
      } catch (error) {
        for (const control of [slider, number]) control.setAttribute("aria-invalid", "true");
        this._problem(`${this._problemText(error.message, name)}. The picture stays as it was.`);
        return;
      }
      for (const row of Object.values(this.rows)) for (const key of ["slider", "number"]) row[key].removeAttribute("aria-invalid");
      this._problem("");
      this.model.tell("flow");
    }

    // The words of the page and its units instead of the names of the code.
    _problemText(message, name) {
      const { text, quantity } = SLIDERS[name], limits = /: (\w+) is (\S+); expected (\S+) to (\S+)$/.exec(message);
      if (!limits || limits[1] !== name) return message;
      const [value, low, high] = limits.slice(2).map(Number);
      const range = Number.isFinite(high) ? `from ${units.text(low, quantity)} to ${units.text(high, quantity)}` : `${units.text(low, quantity)} or more`;
      return `${text} is ${units.text(value, quantity)}; expected ${range}`;
    }

    _problem(text) {
      this.problem.hidden = !text;
      if (this.problem.textContent !== text) this.problem.textContent = text;
    }

    _airText({ speed, dynamicPressure, temperature, density, meanRise }) {
      const altitude = this._value("altitude") ?? 0;
      const parts = [`${units.text(speed, "speed")} true`, `q ${units.text(dynamicPressure, "pressure")}`, units.text(altitude, "altitude"),
        units.text(temperature, "temperature"), `${density.toFixed(3)}\u00a0kg/m\u00b3`];
      if (meanRise) parts.push(`propeller\u2019s mean rise ${units.text(meanRise, "pressure")}`);
      return parts.join(", ");
    }

    // What is exact, what is rough, what stays as it was solved.
    tell() {
      const { model } = this, changed = model.isChanged;
      this.resetButton.disabled = !changed;
      const flow = model.flowOf(this.condition), lines = [];
      if (flow.frozen.length) lines.push(`Stays as solved while you move: ${[...flow.frozen, ...(model.settings.traces?.length ? ["lines of the exits\u2019 air"] : [])].join(", ")}.`);
      if (flow.approximate.length) {
        lines.push(`Not quite exact: ${flow.approximate.join(", ")} (${(100 * flow.unmatched).toFixed(1)} % of it is not among those stored).`);
      }
      if (!flow.predicted) lines.push("The wind comes from behind into the slipstream: a guess of the sign only.");
      this.told.hidden = !lines.length;
      this.told.textContent = lines.join(" ");
      this.legend.textContent = `Change the air: ${live.shortened(model.block.conditions[this.condition].name)}${model.isChangedIn(this.condition) ? live.CHANGED : ""}`;
      this.air.textContent = this._airText(flow.air);
    }
  };
})();
