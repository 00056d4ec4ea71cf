// One image on a canvas: where it lies, what the pointer and the keys do to it. What a click means is told from outside.
import { Tiles } from "./tiles.js";
import * as d from "./drawing.js";

const CLICK = 4, REACH = 11, LOUPE = 136, LOUPE_ZOOM = 8;

export class Pane {
  /** `host` answers: handles(side) -> grabbable points, paint(pane, context), click, grab, dragged, dropped, key. */
  constructor(side, host) {
    this.side = side;
    this.host = host;
    this.canvas = document.getElementById(side);
    this.state = document.getElementById(`${side}-state`);
    this.view = { x: 0, y: 0, scale: 1 };
    this.tiles = new Tiles(() => this.loaded());
    this.pointers = new Map();
    this.cursor = null;
    this.hover = null;
    this.fitted = true;
    new ResizeObserver(() => { if (this.fitted) this.fit(); this.draw(); }).observe(this.canvas);
    this.listen();
  }

  get width() { return this.canvas.clientWidth; }
  get height() { return this.canvas.clientHeight; }
  toScreen([x, y]) { return [this.view.x + x * this.view.scale, this.view.y + y * this.view.scale]; }
  toImage([x, y]) { return [(x - this.view.x) / this.view.scale, (y - this.view.y) / this.view.scale]; }
  middle() { return this.toImage([this.width / 2, this.height / 2]); }
  clamp([x, y]) { const [w, h] = this.tiles.size; return [Math.min(Math.max(x, 0), w), Math.min(Math.max(y, 0), h)]; }
  covers([x, y]) { const [w, h] = this.tiles.size; return x >= 0 && y >= 0 && x <= w && y <= h; }

  async open(index, name) {
    const file = document.getElementById(`${this.side}-file`) ?? {};
    file.textContent = name ?? "";
    this.state.textContent = `Reading ${name ?? "the image"}…`;
    try {
      const before = this.tiles.about?.stamp;
      if (!(await this.tiles.open(this.source(index)))) return;
      const [w, h] = this.tiles.size;
      file.textContent = `${name}, ${w} × ${h} px`;
      this.state.textContent = "";
      if (before !== this.tiles.about.stamp) { this.cursor = null; this.fit(); }
    } catch (error) {
      this.tiles.about = null;
      this.state.textContent = error.message;
    }
    this.draw();
  }

  /** There is no picture to show. */
  close() {
    this.tiles.leave();
    this.state.textContent = "";
    this.draw();
  }

  /** A tile has come. */
  loaded() { this.draw(); this.host.laid(); }

  /** What a drag beside all that can be grabbed does: moves the picture. */
  drag(press, at) { this.view.x += at[0] - press.last[0]; this.view.y += at[1] - press.last[1]; this.fitted = false; }

  /** Where the program tells of the picture. */
  source(index) { return `api/picture/${index}/${this.side}`; }

  /** What lies under the marks. */
  picture(c, view, width, height, ratio) { this.tiles.draw(c, view, width, height, ratio); }

  fit() {
    const [w, h] = this.tiles.size;
    if (!this.width || !this.height) return;
    const scale = Math.min(this.width / w, this.height / h) * 0.98;
    this.view = { scale, x: (this.width - w * scale) / 2, y: (this.height - h * scale) / 2 };
    this.fitted = true;
    this.draw();
  }

  zoom(factor, at = [this.width / 2, this.height / 2]) {
    const scale = Math.min(Math.max(this.view.scale * factor, 0.01), 64);
    const f = scale / this.view.scale;
    this.view = { scale, x: at[0] - (at[0] - this.view.x) * f, y: at[1] - (at[1] - this.view.y) * f };
    this.fitted = false;
    this.draw();
  }

  /** Moves the picture so that a point of it is well inside. */
  show(point, least = 0, margin = 60) {
    if (this.view.scale < least) this.zoom(least / this.view.scale);
    const [x, y] = this.toScreen(point);
    // The whole picture is in the window: nothing is gained by moving it.
    if (this.fitted) return this.draw();
    if (x < margin || y < margin || x > this.width - margin || y > this.height - margin) {
      this.view.x += this.width / 2 - x; this.view.y += this.height / 2 - y; this.fitted = false;
    }
    this.draw();
  }

  draw() {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.paint(); });
  }

  paint() {
    const ratio = window.devicePixelRatio || 1, c = this.canvas.getContext("2d");
    const [w, h] = [Math.round(this.width * ratio), Math.round(this.height * ratio)];
    if (this.canvas.width !== w || this.canvas.height !== h) { this.canvas.width = w; this.canvas.height = h; }
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, this.width, this.height);
    this.canvas.dataset.view = [this.view.x, this.view.y, this.view.scale].join(" ");
    if (!this.tiles.about) return;
    this.bare(c, () => this.picture(c, this.view, this.width, this.height, ratio));
    this.host.paint(this, c);
    if (this.cursor && document.activeElement === this.canvas) d.cross(c, this.toScreen(this.cursor), d.colour(this.host.sets(this)));
    this.loupe(c, ratio);
  }

  /** Paints a picture as light and contrasty as the user has it shown; what lies over it stays as it is. */
  bare(c, paint) {
    c.filter = this.host.filter(this.side);
    paint();
    c.filter = "none";
  }

  /** The magnified view at the pointer, or at what the keys move. */
  loupe(c, ratio) {
    const at = this.hover ?? (document.activeElement === this.canvas ? this.host.keyPoint(this) ?? this.cursor : null);
    if (!at || !this.covers(at)) return;
    const zoom = Math.max(LOUPE_ZOOM, this.view.scale * 3), [px, py] = this.toScreen(at);
    const left = px < LOUPE + 50 && py > this.height - LOUPE - 50 ? this.width - LOUPE - 6 : 6, top = this.height - LOUPE - 6;
    c.save();
    c.beginPath(); c.rect(left, top, LOUPE, LOUPE); c.clip();
    c.fillStyle = "#888"; c.fillRect(left, top, LOUPE, LOUPE);
    c.translate(left, top);
    const view = { scale: zoom, x: LOUPE / 2 - at[0] * zoom, y: LOUPE / 2 - at[1] * zoom };
    this.bare(c, () => this.picture(c, view, LOUPE, LOUPE, ratio));
    c.restore();
    c.strokeStyle = "#1d1d1b"; c.lineWidth = 1; c.strokeRect(left + 0.5, top + 0.5, LOUPE - 1, LOUPE - 1);
    c.beginPath();
    const m = LOUPE / 2;
    for (const [x1, y1, x2, y2] of [[0, m, m - 6, m], [m + 6, m, LOUPE, m], [m, 0, m, m - 6], [m, m + 6, m, LOUPE]]) { c.moveTo(left + x1, top + y1); c.lineTo(left + x2, top + y2); }
    c.strokeStyle = d.colour(this.host.sets(this)); c.stroke();
    c.fillStyle = d.colour(this.host.sets(this)); c.fillRect(left + m - 1, top + m - 1, 2, 2);
    d.label(c, `${at[0].toFixed(1)}, ${at[1].toFixed(1)}`, left + 5, top + LOUPE - 6);
  }

  at(event) { const box = this.canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; }

  nearest(screen) {
    let best = null;
    for (const handle of this.host.handles(this)) {
      const [x, y] = this.toScreen(handle.point), distance = Math.hypot(x - screen[0], y - screen[1]);
      const near = distance + (handle.behind ?? 0);
      if (distance <= (handle.reach ?? REACH) && (!best || near < best.near)) best = { ...handle, near };
    }
    return best;
  }

  listen() {
    const c = this.canvas;
    c.addEventListener("pointerdown", (e) => this.down(e));
    c.addEventListener("pointermove", (e) => this.moved(e));
    c.addEventListener("pointerup", (e) => this.up(e));
    c.addEventListener("pointercancel", (e) => { this.pointers.delete(e.pointerId); this.press = null; });
    c.addEventListener("pointerleave", () => { this.hover = null; this.draw(); });
    c.addEventListener("contextmenu", (e) => e.preventDefault());
    c.addEventListener("wheel", (e) => {
      e.preventDefault();
      this.zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0016)), this.at(e));
    }, { passive: false });
    c.addEventListener("keydown", (e) => this.key(e));
    c.addEventListener("focus", () => this.draw());
    c.addEventListener("blur", () => this.draw());
  }

  down(event) {
    this.canvas.focus({ preventScroll: true });
    this.canvas.setPointerCapture(event.pointerId);
    const at = this.at(event);
    this.pointers.set(event.pointerId, at);
    if (this.pointers.size === 2) { this.press = null; return; }
    const grabbed = event.button === 0 ? this.nearest(at) : null;
    this.press = { at, last: at, grabbed, button: event.button, far: false };
  }

  moved(event) {
    const at = this.at(event);
    const before = this.pointers.get(event.pointerId);
    if (before && this.pointers.size === 2) return this.pinch(event.pointerId, before, at);
    this.hover = this.toImage(at);
    const press = this.press;
    if (press) {
      if (Math.hypot(at[0] - press.at[0], at[1] - press.at[1]) > CLICK) press.far = true;
      if (press.far && press.grabbed && !press.grabbed.stays) {
        const [gx, gy] = press.grabbed.point;
        const move = [(at[0] - press.at[0]) / this.view.scale, (at[1] - press.at[1]) / this.view.scale];
        this.host.dragged(this, press.grabbed, this.clamp([gx + move[0], gy + move[1]]));
      } else if (press.far) this.drag(press, at, event);
      press.last = at;
    } else {
      showCursor(this.canvas, this.nearest(at));
    }
    this.draw();
  }

  pinch(id, before, at) {
    const [other] = [...this.pointers].filter(([key]) => key !== id).map(([, p]) => p);
    const span = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]);
    const middle = [(at[0] + other[0]) / 2, (at[1] + other[1]) / 2];
    this.view.x += (at[0] - before[0]) / 2; this.view.y += (at[1] - before[1]) / 2;
    this.pointers.set(id, at);
    if (span(before) > 1) this.zoom(span(at) / span(before), middle);
  }

  up(event) {
    this.pointers.delete(event.pointerId);
    const press = this.press;
    this.press = null;
    if (!press || press.button !== 0) return;
    if (press.far && press.grabbed) this.host.dropped(this, press.grabbed);
    else if (!press.far && press.grabbed) this.host.grab(this, press.grabbed);
    else if (!press.far && this.tiles.about) {
      const point = this.toImage(press.at);
      if (this.covers(point)) { this.cursor = point; this.host.click(this, point); }
    }
    this.draw();
  }

  key(event) {
    if (!this.tiles.about) return;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (step && !event.altKey) {
      const size = event.shiftKey ? 1 : event.ctrlKey || event.metaKey ? 10 : 0.1;
      if (!this.host.nudge(this, [step[0] * size, step[1] * size])) {
        const reach = (event.shiftKey ? 1 : event.ctrlKey ? 60 : 10) / this.view.scale;
        const from = this.cursor ?? this.middle();
        this.cursor = this.clamp([from[0] + step[0] * reach, from[1] + step[1] * reach]);
        this.show(this.cursor, 0, 10);
      }
      this.hover = null;
    } else if (event.ctrlKey || event.metaKey || event.altKey) return;
    else if (event.key === "+" || event.key === "=") this.zoom(1.4, this.toScreen(this.host.keyPoint(this) ?? this.cursor ?? this.middle()));
    else if (event.key === "-") this.zoom(1 / 1.4, this.toScreen(this.host.keyPoint(this) ?? this.cursor ?? this.middle()));
    else if (event.key === "0") this.fit();
    else if (event.key === "Enter") this.host.enter(this, this.cursor);
    else return;
    event.preventDefault();
    event.stopPropagation();
    this.draw();
  }
}

function showCursor(canvas, handle) { canvas.style.cursor = handle?.stays ? "pointer" : handle ? "move" : "crosshair"; }
