// The strip: a cell for each mark. Above, the render around its mark; below, the same place of the reference as it lies over
// the render. A tick leads from either mark to the bar between them, which is as long as what the registration leaves.
import * as a from "./actions.js";
import * as d from "./drawing.js";
import { toRender } from "./laid.js";
import { isOff } from "./paint.js";

const $ = (id) => document.getElementById(id);
const WIDTH = 96, BAR = 14;
/** Height of a patch: less of a low window goes to the strip. */
const PATCHES = { low: 46, high: 66, below: 720 };
let PATCH = PATCHES.high, HEIGHT = 0, MIDDLE = 0;
/** Steps of the bars' scale, render pixels for the whole width. */
const SCALES = [1, 2, 3, 5, 8, 12, 20, 30, 50, 80, 120, 200, 500, 1000];
const CLICK = 3;

export class Strip {
  constructor(app) {
    this.app = app;
    this.cells = new Map();
    this.zoom = 3;
    this.sort = "marked";
    this.list = $("strip-cells");
    this.list.addEventListener("scroll", () => this.draw());
    new ResizeObserver(() => this.resize()).observe(this.list);
    window.addEventListener("resize", () => this.resize());
    this.resize();
    $("strip-sort").addEventListener("change", (e) => { this.sort = e.target.value; this.show(); });
    $("strip-part").addEventListener("change", (e) => app.choosePart(e.target.value));
    $("strip-larger").addEventListener("click", () => this.enlarge(1.5));
    $("strip-smaller").addEventListener("click", () => this.enlarge(1 / 1.5));
    $("strip-print").addEventListener("click", () => { this.draw(true); window.print(); });
    window.addEventListener("beforeprint", () => this.draw(true));
  }

  resize() {
    PATCH = window.innerHeight < PATCHES.below ? PATCHES.low : PATCHES.high;
    HEIGHT = 2 * PATCH + BAR;
    MIDDLE = PATCH + BAR / 2;
    this.list.style.setProperty("--cell-height", `${HEIGHT}px`);
    this.draw();
  }

  /** The picture whose coordinates the cells have: that of both images, or the reference where there is no render. */
  get pane() { return this.app.isAlone() ? this.app.reference : this.app.over; }

  enlarge(factor) { this.zoom = Math.min(Math.max(this.zoom * factor, 1), 16); this.draw(); }

  /** What is shown, in its order: the marks that are offered, those without a partner, the landmarks. */
  entries() {
    const { app } = this, state = app.state(), fits = new Map((app.fit()?.landmarks ?? []).map((f) => [f.name, f]));
    const regions = a.viewOf(state, app.view)?.regions ?? [];
    const parts = new Map(regions.flatMap((r) => (r.landmarks ?? []).map((name) => [name, r.name])));
    const looked = new Map((a.carriedOf(state, app.view)?.marks ?? []).map((m) => [m.name, true]));
    let marks = a.landmarksOf(state, app.view).map((mark) => ({ mark, fit: fits.get(mark.name), part: parts.get(mark.name) ?? "", isCarried: looked.has(mark.name) }));
    if (app.part) marks = marks.filter((e) => e.part === app.part);
    const length = (e) => (e.fit ? Math.hypot(...e.fit.residual_px) / Math.max(e.fit.half_px, 1e-6) + (e.fit.finding === "wrong" ? 1e6 : 0) : 0);
    if (this.sort === "worst") marks.sort((x, y) => length(y) - length(x));
    if (this.sort === "part") marks.sort((x, y) => x.part.localeCompare(y.part));
    const offers = app.offers().slice(0, 6).map((offer) => ({ mark: offer, offer }));
    const singles = a.singlesOf(state, app.view).map((mark) => ({ mark, isSingle: true }));
    return [...offers, ...singles, ...marks];
  }

  show() {
    const { app } = this;
    this.parts();
    this.shown = this.entries();
    const lengths = this.shown.flatMap(({ fit }) => (fit && fit.finding !== "wrong" ? [Math.hypot(...fit.residual_px) + fit.half_px] : [])).sort((x, y) => x - y);
    const most = lengths[Math.floor(0.95 * (lengths.length - 1))] ?? 1;
    this.scale = SCALES.find((s) => s >= most) ?? 1000;
    const wrong = this.shown.filter(({ fit }) => isOff(fit)).length;
    const whole = a.landmarksOf(app.state(), app.view).length, fit = app.fit();
    $("strip-count").textContent = `${whole} mark${whole === 1 ? "" : "s"}${wrong ? `, ${wrong} to look at` : ""}`;
    $("strip-scale").textContent = fit?.camera && app.isOnModel() ? fit.camera.text : fit?.measured ? fit.measured.head : fit?.map ? `px; a whole bar is ${this.scale} · ${fit.kind}, ${fit.rms_px.toFixed(2)} rms, ${fit.degrees_of_freedom} redundant` : fit?.error ?? "";
    const kept = new Map();
    this.shown.forEach((entry) => {
      const key = `${entry.offer ? "offer" : "cell"}-${entry.mark.name}`, cell = this.cells.get(key) ?? this.cell(key);
      kept.set(key, cell);
      this.describe(cell, entry);
    });
    const isSame = this.list.children.length === kept.size && [...kept.values()].every((cell, i) => this.list.children[i] === cell);
    if (!isSame) {
      const focused = document.activeElement, scroll = this.list.scrollLeft;
      this.list.replaceChildren(...kept.values());
      this.list.scrollLeft = scroll;
      if (focused?.classList.contains("cell") && focused.isConnected) focused.focus({ preventScroll: true });
    }
    this.cells = kept;
    const chosen = this.list.querySelector("[aria-selected=true]");
    if (chosen && chosen.dataset.key !== this.revealed) { this.revealed = chosen.dataset.key; this.reveal(chosen); }
    this.draw();
  }

  reveal(cell) {
    const [left, right] = [cell.offsetLeft - this.list.offsetLeft, cell.offsetLeft - this.list.offsetLeft + cell.offsetWidth];
    if (left < this.list.scrollLeft) this.list.scrollLeft = left - 20;
    if (right > this.list.scrollLeft + this.list.clientWidth) this.list.scrollLeft = right - this.list.clientWidth + 20;
  }

  parts() {
    const { app } = this, names = (a.viewOf(app.state(), app.view)?.regions ?? []).map((r) => r.name);
    if (app.part && !names.includes(app.part)) app.part = "";
    const missing = new Map(app.wanting.map((m) => [m.part, m.missing]));
    $("strip-part").replaceChildren(new Option("every part", ""), ...names.map((n) => new Option(missing.get(n) ? `${n} (${missing.get(n)} missing)` : n, n)), new Option("draw a new part…", "\n"));
    $("strip-part").value = app.part;
  }

  cell(key) {
    const cell = document.createElement("div"), canvas = document.createElement("canvas"), name = document.createElement("span"), words = document.createElement("span");
    cell.className = "cell";
    cell.tabIndex = 0;
    cell.dataset.key = key;
    cell.setAttribute("role", "option");
    name.className = "cell-name";
    words.className = "cell-words";
    cell.append(canvas, name, words);
    canvas.addEventListener("pointerdown", (e) => this.down(cell, canvas, e));
    canvas.addEventListener("pointermove", (e) => this.moved(cell, e));
    canvas.addEventListener("pointerup", (e) => this.up(cell, canvas, e));
    canvas.addEventListener("pointercancel", () => { this.press = null; });
    name.addEventListener("click", () => this.choose(cell.entry));
    words.addEventListener("click", () => this.choose(cell.entry));
    cell.addEventListener("focus", () => { if (!this.press && this.app.selection?.name !== cell.entry.mark.name && !cell.entry.offer) this.choose(cell.entry); });
    cell.addEventListener("keydown", (e) => this.key(cell, e));
    return cell;
  }

  describe(cell, entry) {
    const { app } = this, { mark, fit, offer } = entry;
    cell.entry = entry;
    const chosen = offer ? app.offered() === offer : app.isSelected(mark.name);
    const wrong = isOff(fit);
    cell.className = `cell${offer ? " offer" : ""}${wrong ? " off" : ""}`;
    cell.setAttribute("aria-selected", String(chosen));
    const length = fit && Math.hypot(...fit.residual_px), place = app.told("places", mark.name);
    const figure = offer ? (offer.model_mm ? "predicted, click" : offer.reference?.refined ? "offered, found" : offer.reference ? "offered, click" : "offered") : entry.isSingle ? (app.isOnModel() && mark.reference ? "not on the model yet" : `not in the ${mark.render || app.isOnModel() ? "reference" : "render"} yet`) : length === undefined ? "" : `${length.toFixed(1)} ± ${fit.half_px.toFixed(1)}`;
    const finding = wrong ? (fit.finding === "swapped" ? "exchanged" : "wrong") : entry.isCarried ? "carried: look" : "";
    const [name, words] = [cell.children[1], cell.children[2]];
    name.textContent = wrong ? `! ${mark.name}` : mark.name;
    const isAlone = app.isAlone() && !app.isOnModel();
    words.textContent = isAlone ? place ?? "" : entry.isSingle || offer ? figure : [mark.use ?? "datum", finding || figure].join(" ");
    cell.title = [mark.name, place ?? "", entry.part ? `part of ${entry.part}` : "", fit?.text ?? "", wrong ? figure : ""].filter(Boolean).join("\n");
    cell.setAttribute("aria-label", [mark.name, isAlone ? place : mark.use ?? "datum", figure, finding, fit?.text].filter(Boolean).join(", "));
  }

  choose(entry, side) {
    const { app } = this;
    if (entry.offer) return app.chooseOffer(entry.offer);
    app.select({ kind: "mark", name: entry.mark.name, ...(side ? { side } : {}) }, true);
  }

  // --- the pictures of a cell ---

  /** Draws the cells that are in the window; all of them to be printed. */
  draw(all = false) {
    if (this.asked && !all) return;
    const paint = () => {
      this.asked = 0;
      const from = this.list.scrollLeft - WIDTH, to = from + this.list.clientWidth + 2 * WIDTH;
      for (const cell of this.cells.values()) {
        const left = cell.offsetLeft - this.list.offsetLeft;
        if (all || (left > from && left < to)) this.paint(cell);
      }
    };
    if (all) paint(); else this.asked = requestAnimationFrame(paint);
  }

  /** Where the middle of both patches lies, in the render. */
  middle({ mark, offer }) {
    const { app } = this, map = app.fit()?.map;
    if (app.isAlone()) return offer ? offer.reference?.place : mark.reference ?? app.fit()?.predictions?.find((p) => p.name === mark.name)?.place;
    if (mark.render) return mark.render;
    return map && mark.reference ? toRender(map, mark.reference) : null;
  }

  paint(cell) {
    const { app } = this, { entry } = cell, { mark, fit, offer } = entry, canvas = cell.firstChild, ratio = window.devicePixelRatio || 1;
    const [w, h] = [Math.round(WIDTH * ratio), Math.round(HEIGHT * ratio)];
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    const c = canvas.getContext("2d"), middle = this.middle(entry);
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.fillStyle = "#808080";
    c.fillRect(0, 0, WIDTH, HEIGHT);
    const patch = (tiles, middle, top, side, height = PATCH) => {
      c.save();
      c.beginPath(); c.rect(0, top, WIDTH, height); c.clip();
      c.translate(0, top);
      c.filter = app.filters[side];
      tiles.draw(c, { scale: this.zoom, x: WIDTH / 2 - middle[0] * this.zoom, y: height / 2 - middle[1] * this.zoom }, WIDTH, height, ratio);
      c.restore();
    };
    if (!middle) return mark.reference && patch(app.reference.tiles, mark.reference, PATCH + BAR, "reference");
    if (app.isAlone()) {
      patch(this.pane.tiles, middle, 0, "reference", HEIGHT);
      if (offer || !mark.reference) return;
      const [x, y] = app.place(`mark/${mark.name}/reference`, mark.reference), isChosen = app.isSelected(mark.name);
      return this.tick(c, [WIDTH / 2 + (x - middle[0]) * this.zoom, HEIGHT / 2 + (y - middle[1]) * this.zoom], [0, HEIGHT], "reference", { isChosen });
    }
    patch(app.over.tiles, middle, 0, "render");
    patch(app.over.laid, middle, PATCH + BAR, "reference");
    const at = (side, top) => {
      const own = offer && side === "reference" ? offer.reference?.place : mark[side];
      if (!own) return null;
      const p = app.inPicture(app.over, side, app.place(`mark/${mark.name}/${side}`, own));
      return [WIDTH / 2 + (p[0] - middle[0]) * this.zoom, top + PATCH / 2 + (p[1] - middle[1]) * this.zoom];
    };
    const side = app.isSelected(mark.name) ? app.selection.side ?? "reference" : null;
    this.tick(c, at("render", 0), [0, PATCH], "render", { isChosen: side === "render", wrong: isOff(fit) });
    this.tick(c, at("reference", PATCH + BAR), [PATCH + BAR, HEIGHT], "reference", { isChosen: side === "reference", wrong: isOff(fit) });
    this.bar(c, fit);
  }

  /** From the mark to the bar; where the mark lies beyond the patch, an arrow at its border. */
  tick(c, at, [top, bottom], side, { isChosen, wrong }) {
    if (!at) return;
    const [x, y] = at, color = d.colour(side), inside = x >= 0 && x <= WIDTH && y >= top && y <= bottom;
    const edge = side === "render" ? bottom : top;
    if (inside) {
      d.line(c, [x, y], [x, edge], color, isChosen ? 3 : 2);
      d.dot(c, [x, y], color, isChosen);
    } else {
      const [mx, my] = [WIDTH / 2, (top + bottom) / 2], f = Math.min(Math.abs((WIDTH / 2 - 6) / (x - mx || 1e-9)), Math.abs(((bottom - top) / 2 - 6) / (y - my || 1e-9)));
      d.residual(c, [mx, my], [mx + (x - mx) * f, my + (y - my) * f], wrong);
    }
  }

  /** The residual as a bar from the left with its interval. */
  bar(c, fit) {
    c.fillStyle = "#f4f4f2";
    c.fillRect(0, PATCH, WIDTH, BAR);
    // Without redundant marks nothing is left anywhere.
    if (!fit || !this.app.fit()?.degrees_of_freedom) return;
    const length = Math.hypot(...fit.residual_px), x = (px) => Math.min(Math.max(px / this.scale, 0), 1) * (WIDTH - 4) + 2;
    c.fillStyle = isOff(fit) ? d.WRONG : "#5c5c58";
    c.fillRect(2, MIDDLE - 3, Math.max(x(length) - 2, 1), 6);
    d.line(c, [x(length - fit.half_px), MIDDLE], [x(length + fit.half_px), MIDDLE], "#1d1d1b", 1.5);
    for (const end of [-1, 1]) d.line(c, [x(length + end * fit.half_px), MIDDLE - 4], [x(length + end * fit.half_px), MIDDLE + 4], "#1d1d1b", 1.5);
  }

  // --- pointer and keys on a cell ---

  sideAt(canvas, event) { return !this.app.isAlone() && event.clientY - canvas.getBoundingClientRect().top < MIDDLE ? "render" : "reference"; }

  down(cell, canvas, event) {
    if (event.button !== 0) return;
    const side = this.sideAt(canvas, event), { entry } = cell, { app } = this;
    canvas.setPointerCapture(event.pointerId);
    const isChosen = entry.offer ? app.offered() === entry.offer : app.isSelected(entry.mark.name);
    this.press = { side, from: [event.clientX, event.clientY], isChosen, far: false, start: this.handle(entry, side) };
  }

  /** What is moved in a half of a cell: its key, where it is in the one picture, what moving it means. */
  handle({ mark, offer }, side) {
    const { app } = this;
    if (offer || !mark[side] || (side === "reference" && !app.fit()?.map && !app.isAlone())) return null;
    const key = `mark/${mark.name}/${side}`;
    return { key, point: app.inPicture(this.pane, side, app.place(key, mark[side])), move: (p) => a.move(app.view, mark.name, side, p) };
  }

  moved(cell, event) {
    const press = this.press;
    if (!press?.start) return;
    const by = [event.clientX - press.from[0], event.clientY - press.from[1]], { app } = this;
    if (Math.hypot(...by) > CLICK) press.far = true;
    if (!press.far) return;
    const p = [press.start.point[0] + by[0] / this.zoom, press.start.point[1] + by[1] / this.zoom];
    app.moving = { key: press.start.key, point: app.native(this.pane, press.side, p), move: press.start.move };
    app.redraw();
  }

  up(cell, canvas, event) {
    const press = this.press, { app } = this, { entry } = cell;
    this.press = null;
    if (!press) return;
    if (press.far) { app.flush(); return this.choose(entry, press.side); }
    if (!press.isChosen) { this.choose(entry, press.side); return cell.focus({ preventScroll: true }); }
    // A click in the chosen cell puts the mark there.
    const box = canvas.getBoundingClientRect(), middle = this.middle(entry), [top, height] = app.isAlone() ? [0, HEIGHT] : [press.side === "render" ? 0 : PATCH + BAR, PATCH];
    if (!middle) return;
    const p = [middle[0] + (event.clientX - box.left - WIDTH / 2) / this.zoom, middle[1] + (event.clientY - box.top - top - height / 2) / this.zoom];
    const native = app.native(this.pane, press.side, p);
    if (entry.offer) app.takeOffered(press.side, native);
    else if (entry.isSingle && !entry.mark[press.side]) app.complete(entry.mark, press.side, native);
    else if (press.start) { app.change(press.start.move(native)); app.select({ kind: "mark", name: entry.mark.name, side: press.side }); }
  }

  key(cell, event) {
    const { app } = this, { entry } = cell;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (step && !entry.offer) {
      const size = event.shiftKey ? 1 : 0.1, side = app.selection?.side ?? "reference";
      if (app.selection?.side !== side) app.selection = { ...app.selection, side };
      app.nudge(this.pane, [step[0] * size, step[1] * size]);
    } else if (event.key === "Enter") {
      if (entry.offer) { app.chooseOffer(entry.offer); app.takeOffered(); }
      else if (entry.isCarried) app.confirmCarried();
      else app.next(1);
    } else if (event.key.toLowerCase() === "t" && !entry.offer && !app.isAlone()) app.select({ kind: "mark", name: entry.mark.name, side: app.selection?.side === "render" ? "reference" : "render" });
    else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
