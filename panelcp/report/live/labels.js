// Names of outlines and numbers of taps: real buttons over the picture, with leaders.
//
// A label looks for a free place round its outline and keeps it while it can. What lies on the far side
// stays in the order of the Tab key, invisible until it has the focus; pressing it turns the view to it.
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const SVG = "http://www.w3.org/2000/svg";
  const DIRECTIONS = Array.from({ length: 12 }, (_, k) => [Math.cos((k * Math.PI) / 6), Math.sin((k * Math.PI) / 6)]);
  const DISTANCES = [16, 34, 58, 90];
  const LIFT = 0.004; // of the radius, above the skin, from where the viewer must be seen

  Panelcp.MARK_STYLES = {
    inlet: [[31, 42, 140], 2],
    exit: [[138, 18, 83], 2],
    best: [[0, 0, 0], 2.8],
    other: [[61, 70, 75], 1.6],
    suspect: [[179, 38, 30], 1.4],
  };
  Panelcp.markStyle = (kind) => {
    const style = Panelcp.MARK_STYLES[kind];
    if (!style) throw new Error(`mark: unknown kind ${kind}; there are: ${Object.keys(Panelcp.MARK_STYLES).join(", ")}`);
    return style;
  };

  const overlap = (a, b) =>
    Math.max(0, Math.min(a[2], b[2]) - Math.max(a[0], b[0])) * Math.max(0, Math.min(a[3], b[3]) - Math.max(a[1], b[1]));
  const boxAt = (x, y, [w, h]) => [x - w / 2, y - h / 2, x + w / 2, y + h / 2];
  const clamp = (value, low, high) => Math.min(Math.max(value, low), Math.max(low, high));

  // Middle of an outline on the skin, and the outward normal there.
  Panelcp.anchorOf = (points, picker, geometry) => {
    const count = points.length / 3;
    const middle = [0, 0, 0], normal = [0, 0, 0];
    for (let k = 0; k < count; k++) {
      const [a, b] = [3 * k, 3 * ((k + 1) % count)];
      for (let i = 0; i < 3; i++) {
        const [j, l] = [(i + 1) % 3, (i + 2) % 3];
        middle[i] += points[a + i] / count;
        normal[i] += points[a + j] * points[b + l] - points[a + l] * points[b + j];
      }
    }
    const length = Math.hypot(...normal);
    if (length === 0) return Panelcp.skinBelow(middle, picker, geometry);
    const unit = normal.map((value) => value / length);
    let best = null;
    for (const sign of [1, -1]) {
      const direction = unit.map((value) => sign * value);
      const start = middle.map((value, i) => value - 0.02 * geometry.radius * direction[i]);
      const hit = picker.cast(start, direction);
      const off = hit ? Math.abs(hit.distance - 0.02 * geometry.radius) : Infinity;
      if (hit && (!best || off < best.off)) best = { ...hit, off };
    }
    return best ? { anchor: best.point, normal: Panelcp.normalAt(geometry, best) } : { anchor: middle, normal: unit };
  };

  // Outward normal of the triangle that was met.
  Panelcp.normalAt = (geometry, { triangle, mirrored }) => {
    const [x, y, z] = geometry.faceNormals.subarray(3 * triangle, 3 * triangle + 3);
    return [x, mirrored ? -y : y, z];
  };

  // A point near the skin: the skin next to it along the rays from the middle of the body's axis.
  Panelcp.skinBelow = (point, picker, geometry) => {
    const inner = [point[0], 0, geometry.centre[2]];
    const line = point.map((value, i) => value - inner[i]);
    const length = Math.hypot(...line) || 1;
    const direction = line.map((value) => value / length);
    const start = point.map((value, i) => value - Math.min(0.02 * geometry.radius, length) * direction[i]);
    const hit = picker.cast(start, direction);
    return { anchor: [...point], normal: hit ? Panelcp.normalAt(geometry, hit) : direction };
  };

  Panelcp.Labels = class Labels {
    constructor(view) {
      this.view = view;
      this.items = new Map(); // key -> item
      this.leaders = document.createElementNS(SVG, "svg");
      this.leaders.setAttribute("class", "panelcp-leaders");
      this.leaders.setAttribute("aria-hidden", "true");
      this.list = document.createElement("div");
      this.list.className = "panelcp-labels";
      view.frameElement.append(this.leaders, this.list);
    }

    // marks: [{key, text, kind, selected, anchor, normal, points, tap, target, title}]
    set(group, marks) {
      const wanted = new Set(marks.map((mark) => mark.key));
      for (const [key, item] of this.items) if (item.group === group && !wanted.has(key)) this._drop(key);
      for (const mark of marks) {
        const item = this.items.get(mark.key) || this._create(mark.key);
        Object.assign(item, mark, { group });
        item.button.className = `panelcp-${mark.kind}` + (mark.tap ? " panelcp-tap" : "");
        if (item.button.textContent !== mark.text) item.button.textContent = mark.text;
        if (mark.title) item.button.setAttribute("aria-label", mark.title);
        item.button.title = mark.title || mark.text;
        item.button.setAttribute("aria-pressed", String(Boolean(mark.selected)));
        item.line.setAttribute("class", `panelcp-${mark.kind}`);
        item.size = null;
      }
    }

    _create(key) {
      const button = document.createElement("button");
      button.type = "button";
      const [casing, line] = ["panelcp-casing", ""].map((name) => {
        const element = document.createElementNS(SVG, "line");
        element.setAttribute("class", name);
        this.leaders.append(element);
        return element;
      });
      const item = { key, button, casing, line, place: null, behind: false };
      button.addEventListener("click", () => this.view.pressed(item));
      button.addEventListener("keydown", (event) => this.view.nudged(item, event));
      this.list.append(button);
      this.items.set(key, item);
      return item;
    }

    _drop(key) {
      const item = this.items.get(key);
      for (const element of [item.button, item.casing, item.line]) element.remove();
      this.items.delete(key);
    }

    update(camera, picker) {
      const matrix = camera.matrix;
      const items = [...this.items.values()];
      for (const item of items) {
        item.at = camera.project(item.anchor, matrix);
        item.behind = this._hidden(item, camera, picker);
        item.size = item.size || [item.button.offsetWidth, item.button.offsetHeight];
        item.around = this._around(item, camera, matrix);
      }
      const shown = items.filter((item) => !item.behind);
      const taken = shown.filter((item) => item.tap).map((item) => boxAt(item.at[0], item.at[1], item.size));
      const order = shown.filter((item) => !item.tap).sort((a, b) => Number(Boolean(b.selected)) - Number(Boolean(a.selected)));
      for (const item of order) this._place(item, camera, taken, shown);
      for (const item of items) this._put(item, camera);
    }

    _hidden({ anchor, normal, at }, camera, picker) {
      const line = camera.towardViewer(anchor);
      if (Panelcp.dot(normal, line) < 0.03) return true;
      if (at[0] < 0 || at[0] > camera.width || at[1] < 0 || at[1] > camera.height) return true;
      const start = anchor.map((value, i) => value + LIFT * camera.radius * normal[i]);
      return picker.cast(start, line) !== null;
    }

    // Box of the outline in the picture.
    _around({ points, at }, camera, matrix) {
      const box = [at[0], at[1], at[0], at[1]];
      for (let k = 0; points && k < points.length; k += 3) {
        const [x, y] = camera.project([points[k], points[k + 1], points[k + 2]], matrix);
        box[0] = Math.min(box[0], x);
        box[1] = Math.min(box[1], y);
        box[2] = Math.max(box[2], x);
        box[3] = Math.max(box[3], y);
      }
      return box;
    }

    _place(item, camera, taken, shown) {
      const { around, size } = item;
      const middle = [(around[0] + around[2]) / 2, (around[1] + around[3]) / 2];
      let best = null;
      for (const [dx, dy] of DIRECTIONS) {
        for (const distance of DISTANCES) {
          const reach = [(around[2] - around[0] + size[0]) / 2, (around[3] - around[1] + size[1]) / 2];
          const scale = Math.min(reach[0] / (Math.abs(dx) || 1e-9), reach[1] / (Math.abs(dy) || 1e-9));
          const x = middle[0] + dx * (scale + distance), y = middle[1] + dy * (scale + distance);
          const box = boxAt(x, y, size);
          let cost = distance + 0.15 * scale;
          for (const other of taken) cost += 20 * overlap(grown(box, 4), other);
          for (const other of shown) cost += 0.3 * overlap(box, other.around);
          cost += 50 * outside(box, camera);
          if (item.place) cost += 0.25 * Math.hypot(x - middle[0] - item.place[0], y - middle[1] - item.place[1]);
          if (!best || cost < best.cost) best = { cost, box, place: [x - middle[0], y - middle[1]] };
        }
      }
      item.place = best.place;
      item.box = best.box;
      taken.push(best.box);
    }

    _put(item, camera) {
      const { button, size, at, behind } = item;
      button.classList.toggle("panelcp-behind", behind);
      if (behind || item.tap) {
        item.box = boxAt(
          clamp(at[0], size[0] / 2, camera.width - size[0] / 2),
          clamp(at[1], size[1] / 2, camera.height - size[1] / 2),
          size,
        );
      }
      if (behind) item.place = null;
      button.style.transform = `translate(${item.box[0].toFixed(1)}px, ${item.box[1].toFixed(1)}px)`;
      const leader = !behind && !item.tap;
      const ends = [at[0], at[1], clamp(at[0], item.box[0], item.box[2]), clamp(at[1], item.box[1], item.box[3])];
      for (const line of [item.casing, item.line]) {
        line.style.display = leader ? "" : "none";
        ["x1", "y1", "x2", "y2"].forEach((name, k) => line.setAttribute(name, ends[k].toFixed(1)));
      }
      item.leader = leader ? ends : null;
    }

    // The same on a 2-D canvas, for pictures that are saved.
    paint(context) {
      for (const item of this.items.values()) {
        if (item.behind || !item.box) continue;
        const style = getComputedStyle(item.button);
        const ink = style.borderTopColor;
        for (const [width, colour] of [[3.6, style.getPropertyValue("--paper") || "#ffffff"], [1.2, ink]]) {
          if (!item.leader) continue;
          context.beginPath();
          context.moveTo(item.leader[0], item.leader[1]);
          context.lineTo(item.leader[2], item.leader[3]);
          Object.assign(context, { lineWidth: width, strokeStyle: colour });
          context.stroke();
        }
      }
      for (const item of this.items.values()) if (!item.behind && item.box) paintBox(context, item);
    }
  };

  const grown = ([a, b, c, d], by) => [a - by, b - by, c + by, d + by];
  const outside = ([left, top, right, bottom], { width, height }) =>
    Math.max(0, 4 - left) + Math.max(0, 4 - top) + Math.max(0, right - width + 4) + Math.max(0, bottom - height + 4);

  function paintBox(context, { box, button, tap }) {
    const style = getComputedStyle(button);
    const [left, top, right, bottom] = box;
    context.beginPath();
    if (tap) context.arc((left + right) / 2, (top + bottom) / 2, (right - left) / 2, 0, 7);
    else context.rect(left, top, right - left, bottom - top);
    Object.assign(context, { fillStyle: style.backgroundColor, strokeStyle: style.borderTopColor, lineWidth: 1.5 });
    context.fill();
    context.stroke();
    Object.assign(context, { fillStyle: style.color, textAlign: "center", textBaseline: "middle" });
    context.font = `600 ${style.fontSize} system-ui, sans-serif`;
    context.fillText(button.textContent, (left + right) / 2, (top + bottom) / 2 + 0.5, right - left - 6);
  }
})();
