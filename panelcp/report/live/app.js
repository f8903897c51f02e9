// The live part of the page: builds it from the data in the page and lets its parts know of each other.
//
// Other parts of the page add to it without changing it:
//   Panelcp.live.onReady((view, block, state) => ...)   called once all is there, at once when it is
//     view   the first Panelcp.Viewer
//     block  what Panelcp.readBlock gave
//     state  { model, picture, trial, readOut,
//              shown (pictures: condition, solved), pin (point read, or null), flow(c) as the sliders stand,
//              on(name, handler): "change" what ("flow", "field", "condition", "partner", "units"), "pin" place,
//                "select" {name, group}, "trial" judged opening,
//              add(name, {lines, points}): streaks and numbered points in all pictures, null takes them away,
//              addBox(title): element at the end of the controls, for controls of its own }
// Panelcp.live.painter = "2d" before the page is ready forces the plain canvas.
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});
  const { element } = live;
  const waiting = live.waiting || [];
  let app = null;

  live.onReady = (act) => {
    if (app && app.state) act(app.view, app.block, app.state);
    else waiting.push(act);
  };

  class App {
    constructor(block, settings, root) {
      this.block = block;
      this.model = new live.Model(block, settings);
      this._layout(root);
      this.picture = new live.Picture(this.model, this.places.picture);
      this.picture.update(true);
      this.controls = new live.AirControls(this.model, this.picture, this.places.side);
      this.readOut = new live.ReadOut(this.model, this.picture, this.places.readOut);
      this.handlers = {};
      this.model.on("change", (what) => this._later(what));
      document.addEventListener("panelcp:units", () => this.model.tell("units"));
    }

    get view() {
      return this.picture.views[0];
    }

    _layout(root) {
      const part = (name) => element("div", { class: `live-${name}` });
      this.places = { picture: part("picture"), readOut: part("points"), side: part("side"), bars: part("trial") };
      const { picture, readOut, side, bars } = this.places;
      root.replaceChildren(element("div", { class: "live-layout" }, element("div", { class: "live-main" }, picture, readOut, bars), side));
    }

    // What takes long and is not needed for the first picture.
    finish() {
      Panelcp.prepareOpenings(this.block);
      this.picture.ready = true;
      this.trial = new live.Trial(this.model, this.picture, this.places.side, this.places.bars);
      this.trial.onJudged = (judged) => this._emit("trial", judged);
      this.readOut.onCopy = (opening) => this.trial.copy(opening);
      this.picture.on("select", ({ name, group }) => {
        if (group === "outlines" && name !== live.PLACE) this.readOut.choose(name);
        this._emit("select", { name, group });
      });
      this.picture.on("pin", (place) => this._emit("pin", place));
      this.readOut.update();
      this.state = this._state();
      for (const act of waiting.splice(0)) act(this.view, this.block, this.state);
    }

    _state() {
      const own = this;
      return {
        model: this.model, picture: this.picture, trial: this.trial, readOut: this.readOut,
        get shown() { return own.model.shown; },
        get pin() { return own.picture.pin; },
        flow: (c) => this.model.flowOf(c),
        on: (name, handler) => { (this.handlers[name] = this.handlers[name] || []).push(handler); },
        add: (name, extra) => this.picture.setExtra(name, extra),
        addBox: (title) => {
          const box = element("fieldset", { class: "live-box" }, element("legend", { text: title }));
          this.places.side.append(box);
          return box;
        },
      };
    }

    _emit(name, detail) {
      for (const handler of this.handlers[name] || []) handler(detail);
    }

    _later(what) {
      this.dirty = this.dirty || new Set();
      this.dirty.add(what);
      if (this.frame) return;
      this.frame = requestAnimationFrame(() => {
        this.frame = 0;
        this.updateNow();
      });
    }

    // Everything that follows from what has changed, at once.
    updateNow() {
      const what = this.dirty || new Set(["flow"]);
      this.dirty = null;
      const onlyFlow = [...what].every((word) => word === "flow");
      this.picture.update(!onlyFlow);
      if (what.has("units")) this.controls.rebuild();
      if (what.has("partner")) this.controls.showPartner();
      this.controls.tell();
      this.readOut.update();
      if (this.trial) this.trial.update();
      for (const word of what) this._emit("change", word);
    }
  }

  async function start() {
    const root = document.getElementById("live-app"), data = document.getElementById("live-data");
    if (!root || !data) return;
    try {
      const settings = JSON.parse(await Panelcp.readText(document.getElementById("live-settings").textContent));
      const block = await Panelcp.readBlock(data.textContent);
      live.times = { read: performance.now() }; // ms since the page was opened
      document.getElementById("live-root").classList.add("live-ready");
      app = new App(block, settings, root);
      live.app = app;
      live.times.built = performance.now();
      await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
      live.times.drawn = performance.now();
      app.finish();
      live.times.ready = performance.now();
    } catch (error) {
      live.tellFailure(error);
    }
  }

  live.opened = document.readyState === "loading"
    ? new Promise((done, fail) => document.addEventListener("DOMContentLoaded", () => start().then(done, fail)))
    : start();
})();
