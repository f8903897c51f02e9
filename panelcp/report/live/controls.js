// What hands do to a view: mouse, touch, wheel and keys.
//
// Mouse: drag turns; right button, middle button or shift moves; the wheel zooms once the picture has
// the focus (so that the page still scrolls), or with ctrl. Touch: one finger turns, two zoom and move.
// Keys on the picture: arrows turn (with shift: move), + and - zoom, 0 fits, Enter reads the middle,
// Escape takes the tip away.
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const DEGREES_PER_PIXEL = 0.4;
  const KEY_DEGREES = 5;
  const KEY_PIXELS = 40;
  const CLICK_ROOM = 5; // pixels that a click may wander

  const middle = (points) => [0, 1].map((i) => points.reduce((sum, p) => sum + p[i], 0) / points.length);
  const apart = ([a, b]) => Math.hypot(a[0] - b[0], a[1] - b[1]);

  Panelcp.Controls = class Controls {
    constructor(view) {
      this.view = view;
      this.fingers = new Map();
      this.handlers = {
        pointerdown: (event) => this._down(event),
        pointermove: (event) => this._move(event),
        pointerup: (event) => this._up(event),
        pointercancel: (event) => this._up(event),
        pointerleave: (event) => this.fingers.size || event.pointerType === "touch" || view.hover(null),
        wheel: (event) => this._wheel(event),
        keydown: (event) => this._key(event),
        contextmenu: (event) => event.preventDefault(),
        dblclick: () => view.fit(),
      };
      for (const [name, handler] of Object.entries(this.handlers)) {
        view.canvas.addEventListener(name, handler, { passive: false });
      }
    }

    remove() {
      for (const [name, handler] of Object.entries(this.handlers)) this.view.canvas.removeEventListener(name, handler);
    }

    _down(event) {
      const { view } = this;
      view.canvas.focus({ preventScroll: true });
      if (event.pointerId !== undefined) {
        try {
          view.canvas.setPointerCapture(event.pointerId);
        } catch {
          // a made-up event has no pointer to hold
        }
      }
      this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
      if (this.fingers.size > 1) {
        this.grabbed = view.endDrag(this.grabbed);
        this.wandered = Infinity;
        return;
      }
      this.wandered = 0;
      this.moves = event.button === 1 || event.button === 2 || event.shiftKey;
      this.grabbed = this.moves ? null : view.startDrag(event.clientX, event.clientY);
      view.frameElement.classList.add("panelcp-dragging");
    }

    _move(event) {
      const { view, fingers } = this;
      const before = fingers.get(event.pointerId);
      if (!before) {
        if (event.pointerType !== "touch") view.hover([event.clientX, event.clientY]);
        return;
      }
      const old = [...fingers.values()];
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      const now = [...fingers.values()];
      const [dx, dy] = [0, 1].map((i) => middle(now)[i] - middle(old)[i]);
      this.wandered += Math.abs(dx) + Math.abs(dy);
      if (this.grabbed) {
        view.drag(this.grabbed, event.clientX, event.clientY);
        return;
      }
      if (fingers.size === 1 && this.wandered <= CLICK_ROOM) return;
      view.hover(null);
      view.change((camera) => {
        if (fingers.size > 1) {
          const [x, y] = view.local(...middle(now));
          camera.pan(dx, dy);
          camera.zoom(Math.max(apart(now), 1) / Math.max(apart(old), 1), x, y);
        } else if (this.moves) camera.pan(dx, dy);
        else camera.turn(-dx * DEGREES_PER_PIXEL, dy * DEGREES_PER_PIXEL);
      });
    }

    _up(event) {
      const { view } = this;
      if (!this.fingers.delete(event.pointerId) || this.fingers.size) return;
      view.frameElement.classList.remove("panelcp-dragging");
      const wasDrag = this.wandered > CLICK_ROOM;
      this.grabbed = view.endDrag(this.grabbed);
      if (!wasDrag && event.type === "pointerup" && event.button === 0) view.click(event.clientX, event.clientY);
    }

    _wheel(event) {
      const { view } = this;
      const wanted = event.ctrlKey || view.options.wheel === "always" || document.activeElement === view.canvas;
      if (!wanted) return;
      event.preventDefault();
      const lines = event.deltaMode === 1 ? 30 : 1;
      const factor = Math.exp(-0.0015 * event.deltaY * lines * (event.ctrlKey ? 4 : 1));
      view.change((camera) => camera.zoom(factor, ...view.local(event.clientX, event.clientY)));
    }

    _key(event) {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const { view } = this;
      const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
      const arrow = arrows[event.key];
      if (arrow && event.shiftKey) view.change((camera) => camera.pan(-arrow[0] * KEY_PIXELS, arrow[1] * KEY_PIXELS));
      else if (arrow) view.change((camera) => camera.turn(arrow[0] * KEY_DEGREES, arrow[1] * KEY_DEGREES));
      else if (event.key === "+" || event.key === "=") view.change((camera) => camera.zoom(1.2));
      else if (event.key === "-" || event.key === "_") view.change((camera) => camera.zoom(1 / 1.2));
      else if (event.key === "0") view.fit();
      else if (event.key === "Enter") view.readCentre();
      else if (event.key === "Escape") view.hover(null);
      else return;
      event.preventDefault();
      if (event.key !== "Enter") view.hover(null);
    }
  };
})();
