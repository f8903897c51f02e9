// Bars of the opening that is tried: available against needed pressure in every condition at once.
//
// new Panelcp.live.Bars(model, place); update(patch, result, use, stale), clear()
//   patch   what Panelcp.patch gave; result: what Panelcp.available gave with its partner, or null
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const { element, units } = live;

  live.Bars = class Bars {
    constructor(model, place) {
      this.model = model;
      this.list = element("ul", { class: "live-bars" });
      this.note = element("p", { class: "soft" });
      this.whole = element("p", { class: "live-where" });
      this.box = element("div", { hidden: true }, this.whole, this.list, this.note);
      place.append(this.box);
      this.rows = model.block.conditions.map((condition) => this._row(condition));
    }

    _row(condition) {
      const parts = {};
      for (const name of ["range", "bar", "need", "zero"]) parts[name] = element("span", { class: `live-${name}` });
      const track = element("span", { class: "live-track", "aria-hidden": "true" }, parts.bar, parts.range, parts.zero, parts.need);
      const changed = element("span", { text: live.CHANGED, hidden: true });
      const label = element("span", { class: "live-name", title: condition.name },
        element("bdi", { text: live.shortened(condition.name, 60) }), changed, condition.decides ? element("b", { text: " \u00b7\u00a0decides" }) : null);
      const text = element("span", { class: "live-words" });
      const row = element("li", { class: condition.decides ? "" : "live-watched" }, label, track, text);
      this.list.append(row);
      return { row, text, changed, ...parts };
    }

    clear() {
      this.box.hidden = true;
    }

    update(patch, result, use, stale = false) {
      this.box.hidden = false;
      this.box.classList.toggle("live-stale", stale);
      const shown = this.model.block.conditions.map((condition, c) => this._numbers(condition, c, patch, result, use));
      const ends = shown.flatMap(({ value, low, high, needed }) => [value, low, high, needed]).filter(Number.isFinite);
      const least = Math.min(0, ...ends), most = Math.max(0, ...ends), span = Math.max(most - least, 1e-9);
      const place = (value) => (100 * (value - least)) / span;
      shown.forEach((numbers, c) => {
        this._draw(this.rows[c], numbers, place);
        this.rows[c].changed.hidden = !this.model.isChangedIn(c);
      });
      this.note.textContent = this._note(result, use);
      this.whole.textContent = this._whole(result);
    }

    // Pa: what is drawn. Without partner the pressure at the opening itself.
    _numbers(condition, c, patch, result, use) {
      const half = 0.5 * (patch.highest[c] - patch.lowest[c]);
      const value = result ? result.available[c] : patch.patch[c];
      const [low, high] = !result ? [patch.lowest[c], patch.highest[c]]
        : use === "exit" ? [value + patch.patch[c] - patch.highest[c], value + patch.patch[c] - patch.lowest[c]]
          : [value - half, value + half];
      const needed = result && condition.needed > 0 ? condition.needed : NaN;
      const q = this.model.inPascal(c) ? 0 : patch.dynamicPressure[c];
      return {
        value, low, high, needed, use, problem: patch.problem[c], predicted: patch.predicted[c],
        decides: condition.decides, breathes: use === "exit" && result && result.breathes[c], ratio: result ? result.ratio[c] : NaN,
        cp: q > 0 ? patch.patch[c] / q : NaN, spread: q > 0 ? patch.spread[c] / q : NaN,
        patch: patch.patch[c], deviation: patch.spread[c], partner: Boolean(result),
      };
    }

    _draw({ row, text, bar, range, need, zero }, numbers, place) {
      const { value, low, high, needed } = numbers, known = Number.isFinite(value);
      for (const part of [bar, range]) part.hidden = !known;
      need.hidden = !Number.isFinite(needed);
      if (known) {
        between(bar, place(Math.min(0, value)), place(Math.max(0, value)));
        between(range, place(low), place(high));
      }
      if (!need.hidden) need.style.left = `${place(needed)}%`;
      zero.style.left = `${place(0)}%`;
      const bad = known && numbers.partner && (value < 0 || (needed > 0 && value < needed));
      row.classList.toggle("live-short", bad);
      row.classList.toggle("live-enough", known && numbers.partner && !bad);
      const words = this._words(numbers);
      if (text.textContent !== words) text.textContent = words;
    }

    _words(numbers) {
      const { value, ratio, partner, predicted, breathes, problem, use } = numbers;
      if (problem) return `not possible: ${problem}`;
      if (!Number.isFinite(value)) return "not known";
      const own = Number.isFinite(numbers.cp)
        ? `Cp ${units.number(numbers.cp, "cp", true)} \u00b1 ${units.number(numbers.spread, "cp")}`
        : `${units.text(numbers.patch, "pressure", true)} \u00b1 ${units.number(numbers.deviation, "pressure")}`;
      if (!partner) return own;
      const [right, wrong] = use === "inlet" ? ["in", "out"] : ["out", "in"];
      if (!predicted) return `${value > 0 ? right : wrong}? not predicted`;
      const way = value > 0 ? right : `${wrong}: reversed`;
      const short = ratio > 0 && ratio < 1 ? ", not enough" : "";
      const parts = Number.isFinite(ratio) ? `, ${timesNeeded(ratio)}${short}` : "";
      return `${way}, ${units.text(value, "pressure")}${parts}; ${own}${breathes ? "; breathing: draws in at one end" : ""}`;
    }

    _whole(result) {
      if (!result) return "";
      if (!(result.limiting >= 0) || !Number.isFinite(result.least)) return `With ${result.partner}`;
      return `With ${result.partner}: least available / needed ${units.number(result.least, "part")}, decided by ` +
        `${this.model.nameOf(result.limiting)}; mean ${units.number(result.mean, "part")}`;
    }

    _note(result, use) {
      if (!result) return "No opening of the case goes with it, so its own pressure is shown.";
      const way = use === "inlet" ? "in" : "out";
      return `Bars: available pressure; the thin line is its range over the opening, the thick tick the needed pressure. ` +
        `Right of zero the air goes ${way}. Closed skin: what the flow through it changes is not in here.`;
    }
  };

  const MOST = 20; // more than so many times the needed pressure says no more than that
  function timesNeeded(ratio) {
    return ratio > MOST ? `over ${MOST} \u00d7 needed` : `${units.number(ratio, "part")} \u00d7 needed`;
  }
  live.timesNeeded = timesNeeded;

  function between(part, left, right) {
    part.style.left = `${left}%`;
    part.style.width = `${Math.max(right - left, 0)}%`;
  }
})();
