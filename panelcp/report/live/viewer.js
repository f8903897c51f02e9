// Surface viewer of the live page. No library, no network; WebGL2, else a plain 2-D canvas.
//
// const view = new Panelcp.Viewer(canvas, surface, options)
//   canvas   in the page, sized by CSS (give it width and height); a frame with the labels is put round it
//   surface  {points: Float32Array(3 n) m, x aft, y right, z up; triangles: Uint32Array(3 m),
//            counter-clockwise from outside; mirrored: draw y -> -y too}
//   options  view: "three-quarter"; focus: {low, high} box that fit() shows (default: the body);
//            perspective: false; label: words for those who do not see the picture; unit: "Cp";
//            describe(reading): text of tip and read-out; wheel: "focused" or "always";
//            margin: 0.08; animate: false to jump; painter: "auto" (WebGL2 where a graphics processor
//            does it, else the 2-D canvas, which is faster than WebGL2 computed without one), "webgl2", "2d"
//
// Fields
//   setField(values, {limit, step or levels, grey, lines, per})   values at the vertices (n), on triangles
//            (m, shown smooth) or at their corners (3 m); on a mirrored surface twice as many when the
//            halves differ; NaN where not known; null takes the field away. per: "vertex", "triangle" or
//            "corner" where the count does not tell. Levels are multiples of one step.
//   setHatch(states)     Uint8Array(m) or (2 m): 0 none, 1 may separate, 2 separated, 3 not enough; or null
//   setOutlines([{name, points, kind, selected, draggable, text}])   kinds: inlet exit best other suspect
//   setLines([{points, kind, dashed, width}])                       e.g. traces of exit air
//   setPoints([{number, point, kind, name, selected}])              e.g. pressure taps
// Reading
//   pick(clientX, clientY)   {triangle, weights, point, mirrored, distance} or null; triangle counts within
//            the half, weights belong to its three vertices as given; also the way to drag along the skin
//   valueAt(pick)            the value shown there, or null
//   rayTo(clientX, clientY)  {origin, direction}
//   project(point)           {x, y, hidden}: client pixels
//   readCentre()             as the Enter key does
// Camera
//   setCamera({view or azimuth, elevation, target, span, perspective, animate}), fit(box), camera.state
//   Panelcp.link(viewA, viewB, ...)   turn, zoom and point together
// Events: on(name, handler)
//   hover  reading or null     read  reading (click or Enter)     select {name, group: "outlines" or "points"}
//   drag, drop {name, reading} nudge {name, direction: unit vector along the screen, fine}
//   camera state               painter {kind, reason}
//   reading = pick with value, clientX, clientY
// Other: kind ("webgl2" or "2d"), reason (why it is the 2-D canvas, if not wished), refresh(),
//   toCanvas(ratio), toImage(ratio) (PNG as data URL), frameTime() (ms, median between frames while
//   moving, NaN before that), measure(n) (ms of n finished frames), remove()
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const REST = 160; // ms without change, after which the picture is drawn in full
  const FLIGHT = 260; // ms from one view to another
  const LOST = 3000; // ms that a lost context may take to come back
  const SLOW = 55; // ms between frames, above which moving pictures are drawn coarser
  const COARSE = 0.6;
  const KEYS_TEXT =
    "Arrow keys turn, with shift move; plus and minus zoom; 0 shows all; Enter reads the middle. Tab goes to the marks.";

  const median = (values) => [...values].sort((a, b) => a - b)[values.length >> 1] ?? NaN;
  const element = (name, className, parent) => {
    const made = document.createElement(name);
    made.className = className;
    if (parent) parent.append(made);
    return made;
  };

  Panelcp.Viewer = class Viewer {
    constructor(canvas, surface, options = {}) {
      Panelcp.addStyle();
      this.options = { view: "three-quarter", unit: "Cp", wheel: "focused", margin: 0.08, animate: true, painter: "auto", ...options };
      this.canvas = canvas;
      this.handlers = {};
      this.linked = new Set();
      this.intervals = [];
      this.scale = 1; // of moving pictures
      this.geometry = Panelcp.buildGeometry(surface);
      const { points, triangles } = surface;
      this.picker = new Panelcp.Picker(new Float32Array(points), new Uint32Array(triangles), this.geometry.mirrored);
      this.camera = new Panelcp.Camera(this.geometry.centre, this.geometry.radius);
      this.camera.perspective = Boolean(this.options.perspective);
      const halves = this.geometry.mirrored ? 2 : 1;
      this.values = Array.from({ length: halves }, () => new Float32Array(this.geometry.source.length));
      this.states = Array.from({ length: halves }, () => null);
      this.scene = { limit: 1, step: 0.1, grey: false, hasField: false, drawLines: true, strokes: [], edges: [] };
      this.strokes = { outlines: [], lines: [] };
      this._buildFrame();
      this._choosePainter();
      this._watch();
      this._setView(this.options.view);
      this._resize();
    }

    on(name, handler) {
      (this.handlers[name] = this.handlers[name] || []).push(handler);
      return this;
    }

    _emit(name, detail) {
      for (const handler of this.handlers[name] || []) handler(detail);
    }

    // --- frame round the canvas, painters -------------------------------------------------------

    _buildFrame() {
      const { canvas } = this;
      this.frameElement = element("div", "panelcp-view");
      canvas.before(this.frameElement);
      this.frameElement.append(canvas);
      canvas.tabIndex = 0;
      canvas.setAttribute("role", "application");
      canvas.setAttribute("aria-label", `${this.options.label || "Surface of the aircraft"}. ${KEYS_TEXT}`);
      this.labels = new Panelcp.Labels(this);
      this.cursor = element("div", "panelcp-cursor", this.frameElement);
      this.tip = element("div", "panelcp-tip", this.frameElement);
      this.cursor.style.display = this.tip.style.display = "none";
      this.said = element("div", "panelcp-said", this.frameElement);
      this.said.setAttribute("aria-live", "polite");
    }

    get kind() {
      return this.painter.kind;
    }

    _choosePainter() {
      this.drawn = this.canvas;
      if (this.options.painter === "2d") {
        this._take(new Panelcp.CanvasPainter(this.canvas));
        return;
      }
      try {
        this._take(new Panelcp.GlPainter(this.canvas, this.options.painter === "webgl2"));
      } catch (error) {
        this._fallBack(error.message);
      }
    }

    // The 2-D canvas instead; on a canvas of its own when this one has had another context.
    _fallBack(reason) {
      this.reason = reason;
      if (!this.canvas.getContext("2d")) {
        this.drawn = element("canvas", "panelcp-spare");
        this.canvas.after(this.drawn);
      }
      this._take(new Panelcp.CanvasPainter(this.drawn));
      this._emit("painter", { kind: "2d", reason });
    }

    _take(painter) {
      this.painter = painter;
      painter.setGeometry(this.geometry);
      this.values.forEach((values, half) => painter.setValues(half, values));
      this.states.forEach((states, half) => states && painter.setStates(half, states));
      this.refresh();
    }

    _watch() {
      this.controls = new Panelcp.Controls(this);
      this.observer = new ResizeObserver(() => this._resize());
      this.observer.observe(this.canvas);
      this.onLost = (event) => {
        event.preventDefault();
        this.lostTimer = setTimeout(() => this._fallBack("the graphics context was lost"), LOST);
      };
      this.onRestored = () => {
        clearTimeout(this.lostTimer);
        if (this.kind === "webgl2") this._take(new Panelcp.GlPainter(this.canvas, true));
      };
      this.onPrint = () => this._forPaper();
      this.afterPrint = () => this.frameElement.querySelector(".panelcp-paper")?.remove();
      globalThis.addEventListener("beforeprint", this.onPrint);
      globalThis.addEventListener("afterprint", this.afterPrint);
      this.canvas.addEventListener("webglcontextlost", this.onLost);
      this.canvas.addEventListener("webglcontextrestored", this.onRestored);
    }

    remove() {
      this.gone = true;
      this.observer.disconnect();
      this.controls.remove();
      clearTimeout(this.lostTimer);
      clearTimeout(this.restTimer);
      globalThis.removeEventListener("beforeprint", this.onPrint);
      globalThis.removeEventListener("afterprint", this.afterPrint);
      this.canvas.removeEventListener("webglcontextlost", this.onLost);
      this.canvas.removeEventListener("webglcontextrestored", this.onRestored);
      for (const other of this.linked) other.linked.delete(this);
      this.frameElement.before(this.canvas);
      this.frameElement.remove();
    }

    // --- what is shown --------------------------------------------------------------------------

    setField(values, options = {}) {
      this.scene.hasField = Boolean(values);
      if (values) {
        this.values = this._drawnValues(values, options.per);
        this.scene.limit = options.limit || greatest(this.values) || 1;
        this.scene.step = options.step || stepOf(options.levels) || Panelcp.niceStep(this.scene.limit);
        this.scene.grey = Boolean(options.grey);
        this.scene.drawLines = options.lines !== false;
        this.values.forEach((half, k) => this.painter.setValues(k, half));
      }
      this.refresh();
    }

    // Values at the drawn vertices of each half.
    _drawnValues(values, per) {
      const { geometry } = this;
      const sizes = { vertex: geometry.vertexCount, triangle: geometry.areas.length, corner: 3 * geometry.areas.length };
      const copies = geometry.mirrored ? [1, 2] : [1];
      const kinds = Object.keys(sizes).filter((kind) => !per || kind === per);
      const kind = kinds.find((name) => copies.some((count) => count * sizes[name] === values.length));
      if (!kind) {
        const wanted = kinds.map((name) => `${sizes[name]} (${name})`).join(", ");
        throw new Error(`field: ${values.length} values; expected ${wanted}${geometry.mirrored ? ", or twice as many" : ""}`);
      }
      const size = sizes[kind];
      return this.values.map((_, half) => {
        const start = values.length === size ? 0 : half * size;
        const own = new Float32Array(size);
        for (let k = 0; k < size; k++) own[k] = Number.isFinite(values[start + k]) ? values[start + k] : Panelcp.UNKNOWN;
        if (kind === "triangle") return Panelcp.cornerMeans(geometry, own);
        const out = new Float32Array(geometry.source.length);
        if (kind === "vertex") for (let k = 0; k < out.length; k++) out[k] = own[geometry.source[k]];
        else for (let k = 0; k < size; k++) out[geometry.triangles[k]] = own[k];
        return out;
      });
    }

    setHatch(states) {
      const count = this.geometry.areas.length;
      if (states && states.length !== count && states.length !== count * this.states.length) {
        throw new Error(`hatch: ${states.length} states; expected ${count}${this.geometry.mirrored ? ", or twice as many" : ""}`);
      }
      this.states = this.states.map((_, half) => {
        if (!states) return null;
        const start = states.length === count ? 0 : half * count;
        return Uint8Array.from(states.slice(start, start + count));
      });
      this.states.forEach((own, half) => this.painter.setStates(half, own));
      this.refresh();
    }

    setOutlines(outlines) {
      this.strokes.outlines = outlines.map(({ points, kind = "other", selected }) => {
        const [colour, width] = Panelcp.markStyle(kind);
        return { segments: Panelcp.segments(points, true), colour, width: selected ? width + 1.6 : width, casing: true };
      });
      const marks = outlines.map((outline) => ({
        key: `outlines ${outline.name}`,
        name: outline.name,
        text: outline.text || outline.name,
        kind: outline.kind || "other",
        selected: outline.selected,
        draggable: outline.draggable,
        points: outline.points,
        ...Panelcp.anchorOf(outline.points, this.picker, this.geometry),
      }));
      this.labels.set("outlines", marks);
      this.refresh();
    }

    setLines(lines) {
      this.strokes.lines = lines.map(({ points, kind = "other", dashed, width }) => {
        const [colour, usual] = Panelcp.markStyle(kind);
        return { segments: Panelcp.segments(points), colour, width: width || 0.8 * usual, casing: true, dashed };
      });
      this.refresh();
    }

    setPoints(points) {
      const marks = points.map(({ number, point, kind = "other", name, selected }) => ({
        key: `points ${number}`,
        name: name || String(number),
        text: String(number),
        title: name || `point ${number}`,
        kind,
        selected,
        tap: true,
        ...Panelcp.skinBelow(point, this.picker, this.geometry),
      }));
      this.labels.set("points", marks);
      this.refresh();
    }

    // --- reading ----------------------------------------------------------------------------------

    local(clientX, clientY) {
      const box = this.canvas.getBoundingClientRect();
      return [clientX - box.left, clientY - box.top];
    }

    rayTo(clientX, clientY) {
      return this.camera.ray(...this.local(clientX, clientY));
    }

    pick(clientX, clientY) {
      const { origin, direction } = this.rayTo(clientX, clientY);
      return this.picker.cast(origin, direction);
    }

    valueAt(pick) {
      if (!pick || !this.scene.hasField) return null;
      const values = this.values[pick.mirrored ? 1 : 0];
      const value = pick.weights.reduce((sum, w, i) => sum + w * values[this.geometry.triangles[3 * pick.triangle + i]], 0);
      return Math.abs(value) < 1e20 ? value : null;
    }

    project(point) {
      const [x, y] = this.camera.project(point);
      const box = this.canvas.getBoundingClientRect();
      const line = this.camera.towardViewer(point);
      const start = point.map((value, i) => value + 0.004 * this.geometry.radius * line[i]);
      return { x: box.left + x, y: box.top + y, hidden: this.picker.cast(start, line) !== null };
    }

    _reading(clientX, clientY) {
      const pick = this.pick(clientX, clientY);
      return pick && { ...pick, value: this.valueAt(pick), clientX, clientY };
    }

    describe(reading) {
      if (this.options.describe) return this.options.describe(reading);
      const [x, y, z] = reading.point.map((value) => Panelcp.numberText(1000 * value, 1));
      const value = reading.value === null ? "" : `${this.options.unit} ${Panelcp.numberText(reading.value, this.scene.step / 10)}\n`;
      return `${value}STA ${x}, BL ${y}, WL ${z} mm`;
    }

    hover(place) {
      this.hovered = place;
      if (this.hoverFrame) return;
      this.hoverFrame = requestAnimationFrame(() => {
        this.hoverFrame = 0;
        this._show(this.hovered ? this._reading(...this.hovered) : null);
      });
    }

    // Tip and ring here, ring in the views that are linked.
    _show(reading, fromOther = false) {
      const old = this.shownReading;
      if (!reading && !old) return;
      this.shownReading = reading;
      this._drawCursor();
      this.tip.style.display = reading && !fromOther ? "" : "none";
      if (reading && !fromOther) this._placeTip(reading);
      this._emit("hover", reading);
      if (fromOther) return;
      for (const other of this.linked) {
        const same = reading && other.geometry.areas.length === this.geometry.areas.length;
        other._show(same ? { ...reading, value: other.valueAt(reading) } : null, true);
      }
    }

    _placeTip(reading) {
      const [x, y] = this.local(reading.clientX, reading.clientY);
      this.tip.textContent = this.describe(reading);
      const [w, h] = [this.tip.offsetWidth, this.tip.offsetHeight];
      const left = x + 16 + w > this.camera.width ? x - 16 - w : x + 16;
      const top = y + 14 + h > this.camera.height ? y - 14 - h : y + 14;
      this.tip.style.transform = `translate(${Math.max(2, left)}px, ${Math.max(2, top)}px)`;
    }

    _drawCursor() {
      const reading = this.shownReading;
      this.cursor.style.display = reading ? "" : "none";
      if (!reading) return;
      const [x, y] = this.camera.project(reading.point);
      this.cursor.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    }

    readCentre() {
      const box = this.canvas.getBoundingClientRect();
      this._read(box.left + box.width / 2, box.top + box.height / 2);
    }

    _read(clientX, clientY) {
      const reading = this._reading(clientX, clientY);
      this._show(reading);
      this.said.textContent = reading ? this.describe(reading).replaceAll("\n", ", ") : "no surface here";
      if (reading) this._emit("read", reading);
    }

    // --- marks ------------------------------------------------------------------------------------

    // The first outline under the pointer that fits.
    _outlineAt(clientX, clientY, fits = () => true) {
      const [x, y] = this.local(clientX, clientY);
      const matrix = this.camera.matrix;
      const items = [...this.labels.items.values()].filter((item) => item.group === "outlines" && !item.behind && fits(item));
      return items.find((item) => insideOutline(item.points, x, y, (point) => this.camera.project(point, matrix)));
    }

    click(clientX, clientY) {
      const item = this._outlineAt(clientX, clientY);
      if (item) this._emit("select", { name: item.name, group: item.group });
      this._read(clientX, clientY);
    }

    pressed(item) {
      if (item.behind) this._face(item);
      this._emit("select", { name: item.name, group: item.group });
    }

    // Turn the view to a mark.
    _face({ anchor, normal }) {
      const elevation = (Math.asin(Math.max(-1, Math.min(1, normal[2]))) * 180) / Math.PI;
      const level = Math.hypot(normal[0], normal[1]) > 0.05;
      const azimuth = level ? (Math.atan2(normal[1], normal[0]) * 180) / Math.PI : -90;
      const near = this.camera.span < 0.6 * this._fitted().span;
      this.setCamera({ azimuth, elevation, target: near ? anchor : this.camera.target });
    }

    nudged(item, event) {
      const { right, up } = this.camera.frame;
      const turned = { ArrowRight: [right, 1], ArrowLeft: [right, -1], ArrowUp: [up, 1], ArrowDown: [up, -1] }[event.key];
      if (!item.draggable || !turned) return;
      event.preventDefault();
      this._emit("nudge", { name: item.name, direction: turned[0].map((v) => v * turned[1]), fine: event.shiftKey });
    }

    startDrag(clientX, clientY) {
      const item = this._outlineAt(clientX, clientY, (mark) => mark.draggable);
      return item ? { name: item.name, reading: null } : null;
    }

    drag(grabbed, clientX, clientY) {
      const reading = this._reading(clientX, clientY);
      if (!reading) return;
      grabbed.reading = reading;
      this._show(reading);
      this._emit("drag", grabbed);
    }

    endDrag(grabbed) {
      if (grabbed && grabbed.reading) this._emit("drop", grabbed);
      return null;
    }

    // --- camera -----------------------------------------------------------------------------------

    change(move) {
      cancelAnimationFrame(this.flight);
      move(this.camera);
      this.touched = true;
      this._moved();
    }

    _moved() {
      this._emit("camera", this.camera.state);
      for (const other of this.linked) other._follow(this.camera.state);
      this._stir();
    }

    _follow(state) {
      cancelAnimationFrame(this.flight);
      this.camera.state = state;
      this.touched = true;
      this._stir();
    }

    _setView(name) {
      const angles = Panelcp.VIEWS[name];
      if (!angles) throw new Error(`view: unknown view ${name}; there are: ${Object.keys(Panelcp.VIEWS).join(", ")}`);
      [this.camera.azimuth, this.camera.elevation] = angles;
    }

    // State of the camera that shows a box from the present direction.
    _fitted(box = this.options.focus || this.geometry) {
      const before = this.camera.state;
      this.camera.fit(Panelcp.pointsIn(this.geometry, box.low, box.high), this.options.margin);
      const after = this.camera.state;
      this.camera.state = before;
      return after;
    }

    fit(box) {
      this._fly(this._fitted(box));
    }

    setCamera({ view, animate, ...state }) {
      const before = this.camera.state;
      let wanted = { ...before, ...state };
      if (view) {
        this._setView(view);
        wanted = { ...this._fitted(), ...state };
        this.camera.state = before;
      }
      this._fly(wanted, animate);
    }

    _fly(wanted, animate = this.options.animate) {
      cancelAnimationFrame(this.flight);
      const still = matchMedia("(prefers-reduced-motion: reduce)").matches || document.hidden;
      const before = this.camera.state;
      const begin = performance.now();
      const turn = ((wanted.azimuth - before.azimuth + 540) % 360) - 180;
      const step = (now) => {
        const share = animate && !still ? Math.min(1, Math.max(0, (now - begin) / FLIGHT)) : 1;
        const t = share * share * (3 - 2 * share);
        const mix = (a, b) => a + t * (b - a);
        const state = {
          ...wanted,
          azimuth: before.azimuth + t * turn,
          elevation: mix(before.elevation, wanted.elevation),
          span: before.span * (wanted.span / before.span) ** t,
          target: before.target.map((v, i) => mix(v, wanted.target[i])),
        };
        this.camera.state = share < 1 ? state : wanted;
        this._moved();
        if (share < 1) this.flight = requestAnimationFrame(step);
      };
      step(begin);
    }

    // --- drawing ----------------------------------------------------------------------------------

    refresh() {
      if (this.frame || this.gone) return;
      this.frame = requestAnimationFrame((now) => {
        this.frame = 0;
        this._time(now);
        this._draw();
      });
    }

    // The picture moves: drawn coarser on slow machines, in full once it rests.
    _stir() {
      this.moving = true;
      clearTimeout(this.restTimer);
      this.restTimer = setTimeout(() => {
        this.moving = false;
        this.lastFrame = 0;
        if (this.scale === 1) return;
        if (median(this.intervals.slice(-5)) < SLOW * COARSE ** 2) this._setScale(1);
        this.refresh();
      }, REST);
      this.refresh();
    }

    _time(now) {
      if (this.moving && this.lastFrame && now - this.lastFrame < REST) {
        this.intervals.push(now - this.lastFrame);
        if (this.intervals.length > 30) this.intervals.shift();
        const recent = this.intervals.slice(-5);
        if (this.scale === 1 && recent.length === 5 && median(recent) > SLOW) this._setScale(COARSE);
      }
      this.lastFrame = this.moving ? now : 0;
    }

    _setScale(scale) {
      this.scale = scale;
      this.intervals.length = 0;
    }

    frameTime() {
      return median(this.intervals);
    }

    measure(count = 10) {
      return Array.from({ length: count }, () => {
        const begin = performance.now();
        this.camera.turn(3, 0);
        this._draw();
        this.painter.finish();
        return performance.now() - begin;
      });
    }

    _resize() {
      const [width, height] = [this.canvas.clientWidth, this.canvas.clientHeight];
      if (!width || !height) return;
      Object.assign(this.camera, { width, height });
      if (!this.touched) {
        this.camera.state = this._fitted();
        for (const other of this.linked) other._follow(this.camera.state);
      }
      this.refresh();
    }

    _draw(ratio) {
      const { camera, drawn } = this;
      if (camera.width <= 1) return;
      const full = Math.min(globalThis.devicePixelRatio || 1, 2);
      const sharp = ratio || full * (this.moving ? this.scale : 1);
      const [width, height] = [camera.width, camera.height].map((side) => Math.max(1, Math.round(side * sharp)));
      if (drawn.width !== width || drawn.height !== height) Object.assign(drawn, { width, height });
      if (drawn !== this.canvas) Object.assign(drawn.style, { width: `${camera.width}px`, height: `${camera.height}px` });
      this.scene.edges = Panelcp.edgesInView(this.geometry, camera);
      this.scene.strokes = [...this.strokes.lines, ...this.strokes.outlines];
      this.painter.draw(this.scene, camera, width, height, width / camera.width);
      this.labels.update(camera, this.picker);
      this._drawCursor();
    }

    // What WebGL has drawn is gone by the time a page is printed: a picture takes its place.
    _forPaper() {
      this.afterPrint();
      if (this.camera.width <= 1) return;
      this.frameElement.classList.add("panelcp-on-paper");
      const picture = this.toCanvas(2);
      this.frameElement.classList.remove("panelcp-on-paper");
      picture.className = "panelcp-paper";
      this.frameElement.append(picture);
    }

    toCanvas(ratio = Math.max(2, globalThis.devicePixelRatio || 1)) {
      const { camera } = this;
      const picture = document.createElement("canvas");
      this._draw(ratio);
      Object.assign(picture, { width: this.drawn.width, height: this.drawn.height });
      const context = picture.getContext("2d");
      context.fillStyle = getComputedStyle(this.frameElement).getPropertyValue("--paper") || "#ffffff";
      context.fillRect(0, 0, picture.width, picture.height);
      context.drawImage(this.drawn, 0, 0);
      context.scale(picture.width / camera.width, picture.height / camera.height);
      this.labels.paint(context);
      this.refresh();
      return picture;
    }

    toImage(ratio) {
      return this.toCanvas(ratio).toDataURL("image/png");
    }
  };

  // Greatest amount among the values that are known.
  function greatest(halves) {
    let most = 0;
    for (const values of halves) {
      for (let k = 0; k < values.length; k++) {
        const amount = Math.abs(values[k]);
        if (amount > most && amount < 1e20) most = amount;
      }
    }
    return most;
  }

  // Common step of levels that are multiples of it; undefined without levels.
  function stepOf(levels) {
    if (!levels || levels.length < 2) return undefined;
    const step = levels[1] - levels[0];
    const off = levels.some((level) => Math.abs(level / step - Math.round(level / step)) > 1e-6);
    if (!(step > 0) || off) throw new Error(`levels: ${levels.slice(0, 4).join(", ")} ... are not multiples of one step`);
    return step;
  }

  function insideOutline(points, x, y, project) {
    const places = [];
    for (let k = 0; k < points.length; k += 3) places.push(project([points[k], points[k + 1], points[k + 2]]));
    let inside = false;
    places.forEach(([ax, ay], k) => {
      const [bx, by] = places[(k + 1) % places.length];
      if (ay > y !== by > y && x < ax + ((y - ay) / (by - ay)) * (bx - ax)) inside = !inside;
    });
    return inside;
  }

  // Turn, zoom and point together from now on; all take the camera of the first.
  Panelcp.link = (first, ...others) => {
    const views = [first, ...others];
    for (const view of views) for (const other of views) if (other !== view) view.linked.add(other);
    for (const other of others) other._follow(first.camera.state);
  };
})();
