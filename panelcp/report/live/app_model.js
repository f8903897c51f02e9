// What the live page knows and reckons: conditions, changes by the sliders, flows, partners, fields.
// No element of the page is touched here.
//
// new Panelcp.live.Model(block, settings)
//   shown            [{condition, solved}] one or two: what the pictures show; solved: without changes
//   changes          by condition: what the sliders have changed, without the slipstream factor
//   factor           slipstream factor of all conditions, or null for the one of the run
//   field            key of FIELDS
//   changesOf(c, solved), isChangedIn(c, solved), nameOf(c): name, said to be changed where it is, flowOf(c, solved), propose(c, name, value), reset()
//   partner          {inlet, exit}: names of the openings that go with a place looked at
//   judged(laid)     patch means of a laid opening in every condition, as the sliders stand
//   partnerOf(use)   that opening with its pressures as the sliders stand, or null
//   valuesOf(shown)  (n) the field at all control points, in SI
//   on("change", handler), tell(what)   what: "flow", "field", "condition", "partner", "units"
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});

  // use: of the small opening a field is about
  const FIELDS = {
    cp: { title: "Pressure coefficient Cp" },
    pressure: { title: "Pressure against outside air", quantity: "pressure" },
    exit: { title: "Exit here: pressure available", quantity: "pressure", use: "exit" },
    exitRatio: { title: "Exit here: least available / needed", use: "exit", ratio: true },
    inlet: { title: "Inlet here: pressure available", quantity: "pressure", use: "inlet" },
    inletRatio: { title: "Inlet here: least available / needed", use: "inlet", ratio: true },
  };

  const CHANGED = " (changed)";
  const other = (use) => (use === "exit" ? "inlet" : "exit");

  live.Model = class Model {
    constructor(block, settings) {
      Object.assign(this, { block, settings });
      const { best } = block.header;
      this.openings = block.header.openings || [];
      this.shown = [{ condition: this._first(), solved: false }];
      this.field = "cp";
      this.recovery = 0.85; // of a small inlet: a number from common practice that can be set
      this.partner = {
        inlet: best ? best[0] : this.partners("inlet")[0]?.name ?? null,
        exit: best ? best[1] : this.partners("exit")[0]?.name ?? null,
      };
      this.laid = new Map();
      this.handlers = { change: [] };
      this.reset();
    }

    on(name, handler) {
      (this.handlers[name] = this.handlers[name] || []).push(handler);
      return this;
    }

    tell(what) {
      for (const handler of this.handlers.change) handler(what);
    }

    // The first condition that decides.
    _first() {
      return Math.max(0, this.block.conditions.findIndex((condition) => condition.decides));
    }

    get deciding() {
      return this.block.conditions.flatMap((condition, c) => (condition.decides ? [c] : []));
    }

    // --- what the sliders change --------------------------------------------------------------

    reset() {
      this.changes = this.block.conditions.map(() => ({}));
      this.factor = null;
      this.flows = new Map();
    }

    get isChanged() {
      return this.factor !== null || this.changes.some((change) => Object.keys(change).length > 0);
    }

    changesOf(c, solved = false) {
      if (solved) return {};
      const change = { ...this.changes[c] };
      if (this.factor !== null && Panelcp.changeable(this.block, c).includes("factor")) change.factor = this.factor;
      return change;
    }

    isChangedIn(c, solved = false) {
      return Object.keys(this.changesOf(c, solved)).length > 0;
    }

    // Name of a condition for a number of its air as the sliders stand.
    nameOf(c) {
      return this.block.conditions[c].name + (this.isChangedIn(c) ? CHANGED : "");
    }

    // Take a change over, or throw in plain words and leave all as it was.
    propose(c, name, value) {
      if (name === "factor") {
        this.block.conditions.forEach((_, k) => {
          const changes = this.changesOf(k);
          if (Panelcp.changeable(this.block, k).includes("factor")) Panelcp.airOf(this.block, k, { ...changes, factor: value });
        });
        this.factor = value;
        return;
      }
      const changes = { ...this.changes[c], [name]: value };
      if (name === "speed") delete changes.calibrated;
      if (name === "calibrated") delete changes.speed;
      Panelcp.airOf(this.block, c, { ...this.changesOf(c), ...changes });
      this.changes[c] = changes;
    }

    // --- flows ------------------------------------------------------------------------------------

    flowOf(c, solved = false) {
      const changes = this.changesOf(c, solved), key = `${c} ${solved}`, text = JSON.stringify(changes);
      const known = this.flows.get(key);
      if (known && known.text === text) return known.flow;
      const flow = Panelcp.flow(this.block, c, changes);
      this.flows.set(key, { text, flow });
      return flow;
    }

    // Whether a condition is shown in Pa, since Cp says nothing there.
    inPascal(c) {
      return this.settings.pascal[c];
    }

    // --- partners of a place ----------------------------------------------------------------------

    partners(use) {
      return this.openings.filter((opening) => opening.use === use || opening.use === "both");
    }

    // The opening that goes with a place of this use.
    partnerOf(use) {
      const name = this.partner[other(use)];
      const found = this.openings.find((opening) => opening.name === name);
      return found ? this.pressuresOf(found) : null;
    }

    // What holds over a laid opening in every condition, as the sliders stand (or as solved): what
    // Panelcp.patch gives. Only conditions that have changed are reckoned anew.
    judged(laid, solved = false) {
      laid.known = laid.known || new Map();
      const rows = this.block.conditions.map((_, c) => {
        const changes = this.changesOf(c, solved), text = JSON.stringify([changes, laid.recovery]);
        const key = `${c} ${solved}`, known = laid.known.get(key);
        if (known && known.text === text) return known.found;
        const found = Panelcp.patchIn(this.block, laid, c, changes);
        laid.known.set(key, { text, found });
        return found;
      });
      const columns = Object.keys(rows[0]).map((name) => [name, rows.map((row) => row[name])]);
      return { ...laid, ...Object.fromEntries(columns) };
    }

    // An opening of the run as the sliders stand: the numbers of the run where nothing is changed.
    pressuresOf(opening) {
      if (!this.isChanged) return opening;
      if (!this.laid.has(opening.name)) {
        const { name, use, centre, length, width, turn, shape, paired, recovery } = opening;
        this.laid.set(opening.name, Panelcp.lay(this.block, { name, use, centre, length, width, turn, shape, paired, recovery }));
      }
      const laid = this.laid.get(opening.name);
      if (!laid.valid) return opening;
      const found = this.judged(laid);
      for (const key of ["patch", "total", "inlet", "spread"]) {
        found[key] = found[key].map((value, c) => (this.isChangedIn(c) ? value : opening[key][c]));
      }
      return found;
    }

    // --- fields -------------------------------------------------------------------------------------

    get spec() {
      return FIELDS[this.field];
    }

    // Fields that can be shown: those about places want a partner, ratios a needed pressure.
    get fields() {
      const needs = this.block.conditions.some((c) => c.decides && c.needed > 0);
      return Object.entries(FIELDS).filter(([, spec]) => {
        if (spec.use && !this.partner[other(spec.use)]) return false;
        return !spec.ratio || needs;
      });
    }

    quantityOf(shown) {
      if (this.spec.quantity) return this.spec.quantity;
      return this.field === "cp" && this.inPascal(shown.condition) ? "pressure" : this.spec.ratio ? "part" : "cp";
    }

    valuesOf({ condition, solved }) {
      const { spec } = this;
      if (spec.ratio) return this._leastRatio(solved);
      const flow = this.flowOf(condition, solved);
      if (spec.use) return this._availableHere(condition, solved);
      return this.field === "cp" && !this.inPascal(condition) ? flow.cp : flow.gauge;
    }

    // (n) Pa: what a small opening at every control point would have, in one condition.
    _availableHere(c, solved) {
      const { use } = this.spec, flow = this.flowOf(c, solved), { gauge } = flow;
      const partner = this._partnerPressure(use, c, solved), values = new Float32Array(gauge.length);
      if (use === "exit") {
        for (let i = 0; i < values.length; i++) values[i] = partner - gauge[i];
        return values;
      }
      flow.heads = flow.heads || Panelcp.headsAt(this.block, flow.air);
      const { upper, wetting } = flow.heads, eta = this.recovery;
      for (let i = 0; i < values.length; i++) {
        values[i] = gauge[i] + eta * (wetting[i] * upper[i] - gauge[i]) - partner;
      }
      return values;
    }

    _partnerPressure(use, c, solved) {
      const name = this.partner[other(use)];
      const opening = this.openings.find((found) => found.name === name);
      const found = solved ? opening : this.pressuresOf(opening);
      return use === "exit" ? found.inlet[c] : found.patch[c];
    }

    // Least available/needed over the deciding conditions, at every control point.
    _leastRatio(solved) {
      const least = new Float32Array(this.block.nPanels).fill(Infinity);
      for (const c of this.deciding) {
        const { needed } = this.block.conditions[c];
        if (!(needed > 0)) continue;
        const values = this._availableHere(c, solved);
        for (let i = 0; i < least.length; i++) least[i] = Math.min(least[i], values[i] / needed);
      }
      return least;
    }

    // What holds at a point of the skin, with the worth of a small opening there where asked for.
    readAt({ point, panel }, { condition, solved }) {
      const found = Panelcp.readOut(this.block, condition, point, panel, this.changesOf(condition, solved));
      const thickness = this.block.thickness(condition, panel);
      return { ...found, thickness, inPascal: this.inPascal(condition), name: this.block.conditions[condition].name };
    }

    // Available and needed pressure of a small opening at a point, in every condition that is wanted.
    worthAt({ point, panel }, use, solved = false) {
      if (!this.partner[other(use)]) return null;
      const text = `${panel} ${point}`;
      if (!this.spot || this.spot.text !== text) {
        this.spot = { text, laid: { points: [point], panels: [panel], weights: [1], recovery: 0 } };
      }
      const found = this.judged(this.spot.laid, solved);
      const rows = this.block.conditions.map((condition, c) => {
        const partner = this._partnerPressure(use, c, solved), gauge = found.patch[c];
        const available = use === "exit" ? partner - gauge
          : gauge + this.recovery * (found.total[c] - gauge) - partner;
        return { available, ratio: condition.needed > 0 ? available / condition.needed : NaN };
      });
      let limiting = -1;
      for (const c of this.deciding) if (limiting < 0 || rows[c].ratio < rows[limiting].ratio) limiting = c;
      return { rows, limiting, least: limiting < 0 ? NaN : rows[limiting].ratio, partner: this.partner[other(use)] };
    }
  };

  // Amount that all but a small part of some values stays within.
  live.usualLimit = (values, chosen, least) => {
    const size = [];
    for (let i = 0; i < values.length; i++) {
      if ((!chosen || chosen[i]) && Number.isFinite(values[i])) size.push(Math.abs(values[i]));
    }
    const sorted = Float32Array.from(size).sort();
    return Math.max(least, sorted[Math.floor(0.99 * (sorted.length - 1))] || 0);
  };

  Object.assign(live, { CHANGED, FIELDS, partnerUse: other });
})();
