// Marking: what can be grabbed in a picture, and what a click or Enter on it means.
import * as a from "./actions.js";
import { ellipseInRender, toReference, toRender } from "./laid.js";
import { CORNERS, paint } from "./paint.js";
import { ask } from "./server.js";

const $ = (id) => document.getElementById(id);
/** How long keys that move a mark are gathered, milliseconds. */
const WAIT = 250;

/** What belongs to marking in the app: added to it. */
export const marking = {
  OFFER_REACH: 26,

  find(name) { return [...a.landmarksOf(this.state(), this.view), ...a.singlesOf(this.state(), this.view)].find((l) => l.name === name); },
  region(name) { return (a.viewOf(this.state(), this.view)?.regions ?? []).find((r) => r.name === name); },
  isSelected(name) { return this.selection?.kind === "mark" && this.selection.name === name; },
  single() { return this.selection?.kind === "mark" && a.singlesOf(this.state(), this.view).find((l) => l.name === this.selection.name); },
  predicted(side) { return this.single() && this.fit()?.predictions?.find((p) => p.name === this.selection.name && p.side === side); },

  /** What a view without a render tells of a span, an angle or a place ("places"), in words. */
  told(list, name) { return this.fit()?.measured?.[list].find(([own]) => own === name)?.[1]; },

  /** The image whose mark is still missing, of the selected landmark; "model" for its place on the model. */
  lacks() {
    const single = this.single();
    if (!single) return null;
    if (this.isOnModel()) return single.reference ? "model" : "reference";
    return !single.render ? "render" : "reference";
  },
  /** The selected mark, where a place on the model would be its first. */
  unplaced() { const mark = this.selection?.kind === "mark" && this.find(this.selection.name); return mark && !mark.model_mm ? mark : null; },
  /** The image that a click in this pane marks. */
  sets(pane) { return pane.side === "over" ? this.lacks() ?? pane.seen : pane.side; },
  isSeen(pane, side) { return pane.side === "over" || pane.side === side; },
  missing(pane) { const side = this.lacks(); return side && this.isSeen(pane, side) ? side : null; },

  /** Where a point of an image lies in a pane's picture, and the way back. */
  inPicture(pane, side, point) { return side === "model" ? pane.project(point) : pane.side === "over" && side === "reference" ? (this.fit()?.map ? toRender(this.fit().map, point) : [-1e6, -1e6]) : point; },
  native(pane, side, point) { return pane.side === "over" && side === "reference" ? toReference(this.fit().map, point) : point; },

  /** Where the partner of the selected mark is expected, in a pane's picture. */
  predictedIn(pane) {
    const side = this.missing(pane), there = side && this.predicted(side);
    if (!there || pane.side !== "over" || side === "render") return there || null;
    return this.fit()?.map ? ellipseInRender(this.fit().map, there) : null;
  },

  /** Where something is, also while it is moved; in its own image. */
  place(key, point) { return this.moving?.key === key ? this.moving.point : point; },

  /** Everything that can be grabbed in a pane, with what moving it means. */
  handles(pane) {
    const state = this.state(), list = [];
    if (pane.side === "model") return this.tool === "mark" ? this.handlesOnModel(pane) : [];
    if (this.tool === "mark") {
      // While a mark waits for its partner here, a click beside another mark sets it and does not grab the other.
      const reach = this.missing(pane) ? 4 : undefined;
      for (const l of [...a.landmarksOf(state, this.view), ...a.singlesOf(state, this.view)]) {
        for (const side of ["render", "reference"]) {
          if (!l[side] || !this.isSeen(pane, side)) continue;
          // In the one picture its partner lies where it does itself.
          if (reach && pane.side === "over" && this.isSelected(l.name)) continue;
          list.push({
            key: `mark/${l.name}/${side}`, point: this.inPicture(pane, side, l[side]), reach, select: { kind: "mark", name: l.name, side },
            behind: pane.side === "over" && pane.seen !== side ? 4 : 0,
            native: (p) => this.native(pane, side, p), move: (p) => a.move(this.view, l.name, side, p),
          });
        }
      }
    }
    if (this.tool === "region" && pane.side !== "reference") list.push(...this.regionHandles(state));
    if (this.tool === "corners" && pane.side === "reference") {
      a.cornersOf(state, this.view).forEach((point, i) => list.push({ key: `corner/${i}`, point, select: { kind: "corner", index: i }, move: (p) => a.moveScreenCorner(this.view, i, p) }));
    }
    return list;
  },

  /** The marks that are seen on the model. The chosen one can be dragged; beginning at another one a drag turns the model, as it does beside them. */
  handlesOnModel(pane) {
    const reach = this.unplaced() ? 3 : undefined;
    return this.onModel().filter((l) => l.name !== this.unplaced()?.name && !pane.hides(l.model_mm)).map((l) => ({
      key: `mark/${l.name}/model`, point: pane.project(l.model_mm), reach, select: { kind: "mark", name: l.name },
      ...(this.isSelected(l.name) ? { drop: (point) => this.replace(pane, l.name, point) } : { stays: true }),
    }));
  },

  regionHandles(state) {
    const draft = a.draftOf(state, this.view).outline ?? [];
    if (draft.length) return draft.length < 3 ? [] : [{ key: "close", point: draft[0], close: true }];
    const s = this.selection?.kind === "region" ? this.region(this.selection.name) : null;
    if (!s) return [];
    const put = (i, p, insert) => { const o = [...s.outline]; o.splice(i, insert ? 0 : 1, p); return a.reshape(this.view, s.name, o); };
    const corners = s.outline.map((point, i) => ({ key: `region/${i}`, point, select: { kind: "region", name: s.name, corner: i }, move: (p) => put(i, p, false) }));
    const middles = s.outline.map((p, i) => {
      const q = s.outline[(i + 1) % s.outline.length], point = [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
      return { key: `between/${i}`, point, reach: 7, between: true, select: { kind: "region", name: s.name, corner: i + 1 }, move: (at) => put(i + 1, at, true) };
    });
    return [...corners, ...middles];
  },

  /** All marks with a place on the model. */
  onModel() { return [...a.landmarksOf(this.state(), this.view), ...a.singlesOf(this.state(), this.view)].filter((l) => l.model_mm); },

  /** The handle that the arrow keys move in a pane: in the one picture the mark that was chosen, else that of the image seen. */
  keyHandle(pane) {
    const s = this.selection;
    if (!s || pane.side === "model") return null;
    const side = pane.side === "over" ? s.side ?? pane.seen : pane.side;
    const key = s.kind === "mark" ? `mark/${s.name}/${side}` : s.kind === "corner" ? `corner/${s.index}` : s.corner !== undefined ? `region/${s.corner}` : null;
    return this.handles(pane).find((h) => h.key === key) ?? null;
  },

  /** Moves what the arrow keys move by a step in the pane's picture; false where nothing is. */
  nudge(pane, [dx, dy]) {
    const handle = this.keyHandle(pane);
    if (!handle) return false;
    // What was moved just before is another thing: it is sent, not forgotten.
    if (this.moving && this.moving.key !== handle.key) this.flush();
    const { side } = handle.select, native = handle.native ?? ((p) => p);
    const from = this.moving ? (side ? this.inPicture(pane, side, this.moving.point) : this.moving.point) : handle.point;
    const point = pane.clamp([from[0] + dx, from[1] + dy]);
    this.moving = { key: handle.key, point: native(point), move: handle.move };
    this.busy();
    pane.show(point, 0, 10);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.flush(), WAIT);
    $("live").textContent = `${point[0].toFixed(1)}, ${point[1].toFixed(1)}`;
    this.redraw();
    return true;
  },

  /** Sends what was moved. */
  flush() {
    clearTimeout(this.timer);
    const m = this.moving;
    this.moving = null;
    if (m?.drop) m.drop(m.point);
    else if (m) this.change(m.move(m.point));
    this.busy();
    // A mark in a render whose camera is known takes its place on the model along, unless that was cleared.
    const name = m?.key?.match(/^mark\/(.*)\/render$/)?.[1];
    if (name !== undefined && this.find(name)?.model_mm) this.tellPlace(name);
  },

  /** A click on the drawn model: the place is that of the mark that waits for one, else of a new mark. */
  async pick(pane, point) {
    const { click, picked } = await this.placeAt(pane, point);
    if (!picked) return;
    const { view } = this, waits = this.unplaced(), single = this.single();
    let name = waits?.name;
    if (single && waits && this.isOnModel()) {
      name = a.namedAt(this.state(), view, waits.name, picked);
      this.change(a.completeOnModel(view, waits.name, { picked }));
    } else if (waits) {
      name = this.isAlone() ? a.namedAt(this.state(), view, waits.name, picked) : name;
      this.change(a.place(view, waits.name, picked));
    } else if (this.isOnModel()) {
      name = a.namedAt(this.state(), view, a.freeName(a.names(this.state(), view), "mark"), picked);
      this.change(a.beginOnModel(view, name, this.use, picked));
    } else return this.say("Choose a landmark first: a click here tells its place on the model.");
    this.picked = { name, click, ...picked };
    const next = waits && a.singlesOf(this.state(), view).find((l) => l.reference && !l.model_mm);
    this.select({ kind: "mark", name: next?.name ?? name });
    this.say(`${name}: ${this.pickedWords(picked)}.${next ? ` Next: ${next.name} on the model.` : ""}`);
    if (!waits) this.awaitPrediction(name, "reference");
  },

  /** What a click on the drawn model means, with the click itself; nothing where the model is not. */
  async placeAt(pane, point) {
    const click = { turn: pane.turn, view: a.viewIndex(this.state(), this.view), at: point, zoom: pane.view.scale };
    return { click, picked: await this.ask("api/pick", { ...click, plain: Boolean(pane.isPlain) }) };
  },

  /** A mark on the model was dragged to another place of it. */
  async replace(pane, name, point) {
    const { click, picked } = await this.placeAt(pane, point);
    if (!picked || !this.find(name)) return this.redraw();
    const to = this.isAlone() ? a.namedAt(this.state(), this.view, name, picked) : name;
    this.change(a.place(this.view, name, picked));
    this.picked = { name: to, click, ...picked };
    this.select({ kind: "mark", name: to });
    this.say(`${to}: ${this.pickedWords(picked)}.`);
  },

  pickedWords({ kind, part }) { return `${{ corner: "a corner", middle: "the middle of a round", edge: "on an edge", surface: "on the surface" }[kind]} of the ${part}`; },

  /** The place as it was clicked, whatever corner or edge is near. */
  async pickPlain() {
    const { name, click } = this.picked, picked = await this.ask("api/pick", { ...click, plain: true });
    if (!picked) return;
    this.picked = { name, click, ...picked };
    this.change(a.place(this.view, name, picked));
    this.show();
  },

  /** Asks for the place on the model of a mark in the render, whose camera tells it. */
  async tellPlace(name) {
    const at = this.find(name)?.render;
    if (!at || !this.fit()?.tells_places) return;
    const pane = this.mainPane(), click = { view: a.viewIndex(this.state(), this.view), at, zoom: pane.view.scale };
    const picked = await this.ask("api/pick", click, true);
    if (!picked || String(this.find(name)?.render) !== String(at)) return;
    this.picked = { name, click, ...picked };
    this.change(a.place(this.view, name, picked));
  },

  /** Asks the program while a program that drives the page waits; says why there is no answer, unless it may be none. */
  async ask(path, body, isQuiet) {
    this.asking = (this.asking ?? 0) + 1;
    this.busy();
    const { ok, data } = await ask(path, body);
    this.asking -= 1;
    this.busy();
    const text = data?.error?.text ?? "the program does not answer";
    if (!ok && !isQuiet) this.say(`${text[0].toUpperCase()}${text.slice(1)}.`);
    return ok ? data : null;
  },

  /** A click or Enter on an empty place of a pane. */
  set(pane, point) {
    this.flush();
    if (this.tool === "region") {
      if (pane.side === "reference") return this.say("Outlines are drawn on the render.");
      if (this.selection?.kind === "region") this.select(null);
      return this.change(a.addOutlineCorner(this.view, point));
    }
    if (this.tool === "corners") {
      if (pane.side !== "reference") return this.say("The reference is rectified: set the corners there.");
      if (a.cornersOf(this.state(), this.view).length >= 4) return this.say("All four corners are set: drag them, or choose one and use the arrow keys.");
      return this.change(a.addScreenCorner(this.view, point, $("job-form").elements.aspect.value.trim()));
    }
    if (this.tool === "length" || this.tool === "line") return this.addPoint(pane, point);
    if (this.tool === "anchor") {
      if (pane.side === "reference") return this.say("The point that a part turns about is set on the render.");
      const { name } = this.selection ?? {};
      if (this.selection?.kind === "region") this.change(a.setPartKey(this.view, name, "anchor", point.map(a.round)));
      this.setTool("region");
      return this.select({ kind: "region", name });
    }
    if (pane.side === "model") return this.pick(pane, point);
    const begun = this.single();
    if (this.isOnModel() && begun && !begun.reference) return this.complete(begun, "reference", point);
    if (this.isOnModel() && this.offered() && this.isNearOffer(pane, point)) return this.takeOffered("reference", point);
    if (this.isOnModel() && !a.isBare(this.state(), this.view)) {
      const name = a.freeName(a.names(this.state(), this.view), "mark");
      this.selection = { kind: "mark", name, side: "reference" };
      return this.change(a.begin(this.view, name, this.use, "reference", point));
    }
    if (this.isAlone()) {
      const name = a.freeName(a.names(this.state(), this.view), "mark");
      this.selection = { kind: "mark", name, side: "reference" };
      return this.change(a.markAlone(this.view, name, point, this.isOnModel() ? this.use : undefined));
    }
    const side = this.sets(pane), native = this.native(pane, side, point);
    const single = this.single();
    if (single && !single[side]) return this.complete(single, side, native);
    if (this.offered() && this.isNearOffer(pane, point)) return this.takeOffered(side, native);
    const taken = a.names(this.state(), this.view);
    const name = a.freeName(taken, this.part || "mark");
    this.selection = { kind: "mark", name };
    this.change(a.begin(this.view, name, this.part ? "check" : this.use, side, native));
    this.flip(a.other(side));
    this.awaitPrediction(name, a.other(side));
    if (side === "render") this.tellPlace(name);
  },

  /** A point of a known length or of a straight line. */
  addPoint(pane, point) {
    const side = this.sets(pane);
    if (this.tool === "line" && side === "render") return this.say("A straight line is marked in the reference.");
    const begun = a.draftOf(this.state(), this.view)[this.tool];
    if (this.tool === "length" && begun?.side === side && begun.points.length >= 2) return this.say("Both points are set: type the length, or Escape takes them back.");
    this.change(a.addPoint(this.view, this.tool, side, this.native(pane, side, point)));
    if (this.tool === "length" && a.draftOf(this.state(), this.view).length.points.length === 2) {
      $("known-panel").open = true;
      // `length` by itself is how many fields there are.
      requestAnimationFrame(() => $("known-form").elements.namedItem("length").focus());
    }
  },

  complete(single, side, point) {
    const expected = this.predicted(side)?.place, unseen = expected && Math.hypot(point[0] - expected[0], point[1] - expected[1]) < 0.02;
    const named = this.isOnModel() ? a.namedAt(this.state(), this.view, single.name, { place: single.model_mm, part: single.on_part }) : single.name;
    this.change(this.isOnModel() ? a.completeOnModel(this.view, single.name, { reference: point }) : a.complete(this.view, single.name, side, point, this.part));
    const next = a.singlesOf(this.state(), this.view).find((l) => !l[side]);
    this.select({ kind: "mark", name: next?.name ?? named });
    if (side === "render") this.tellPlace(named);
    this.flip(null);
    // A mark that only repeats the prediction is no measurement.
    const caution = unseen ? " It lies exactly where it was expected: see whether that is the point; marks that are only confirmed make the residuals look better than they are." : "";
    this.say(`${named} is a landmark.${caution}${next ? ` Next: ${next.name} in the ${side}.` : ""}`);
  },

  /** Shows the predicted place once the program has told it. */
  async awaitPrediction(name, side) {
    await this.idle();
    const pane = this.paneFor(side), there = pane && this.predictedIn(pane);
    if (this.selection?.name !== name || !there) return;
    pane.show(there.place);
    pane.cursor = there.place;
    pane.canvas.focus({ preventScroll: true });
  },

  /** What the panes ask. */
  host() {
    return {
      handles: (pane) => this.handles(pane),
      sets: (pane) => this.sets(pane),
      // The one picture is made of both.
      filter: (side) => this.filters[side] ?? "none",
      keyPoint: (pane) => { const h = this.keyHandle(pane); return h && (this.moving?.key === h.key ? (h.select.side ? this.inPicture(pane, h.select.side, this.moving.point) : this.moving.point) : h.point); },
      grab: (pane, handle) => {
        if (handle.close) return this.closeOutline();
        this.last = pane;
        if (handle.between) this.change(handle.move(handle.point));
        this.select(handle.select);
      },
      dragged: (pane, handle, point) => {
        if (this.moving && this.moving.key !== handle.key) this.flush();
        if (!handle.move && !handle.drop) return;
        this.moving = { key: handle.key, point: (handle.native ?? ((p) => p))(point), move: handle.move, drop: handle.drop, select: handle.select };
        this.redraw();
      },
      dropped: () => { const m = this.moving; this.flush(); if (m) this.select(m.select); },
      nudge: (pane, by) => this.nudge(pane, by),
      click: (pane, point) => { this.last = pane; this.set(pane, point); },
      enter: (pane, cursor) => this.enter(pane, cursor),
      laid: () => this.strip.draw(),
      paint: (pane, c) => paint(this, pane, c),
    };
  },

  /** Enter: closes an outline, takes what is offered or expected, else sets a mark at the cross. */
  enter(pane, cursor) {
    this.last = pane;
    const outline = a.draftOf(this.state(), this.view).outline ?? [];
    if (this.tool === "region" && outline.length >= 3) return this.closeOutline();
    if (this.tool === "line" && (a.draftOf(this.state(), this.view).line?.points.length ?? 0) >= 3) return this.change(a.addStraightLine(this.view));
    const expected = this.predictedIn(pane)?.place;
    if (this.tool === "mark" && pane.side !== "model" && !this.single() && this.offered()) return this.takeOffered();
    if (cursor ?? expected) this.set(pane, cursor ?? expected);
    else { pane.cursor = pane.middle(); this.say("The arrow keys move the cross; Enter sets a mark there."); }
  },

  /** The same where the photo is marked on the drawn model. */
  nextOnModel() {
    const lacks = this.lacks() ?? (this.unplaced() ? "model" : null), name = this.selection?.name, offer = this.offered();
    if (lacks === "reference") return `Next click: the same point, "${name}", in the photo${this.predicted(lacks) ? ", about where the ellipse is" : ""}.`;
    if (lacks) return `Next click: the same point, "${name}", on the drawn model. A drag turns it; ${a.isBare(this.state(), this.view) ? "a click in the photo sets a further mark" : "Delete takes the mark back"}.`;
    if (offer) return `"${offer.name}" is offered as another photo has it: click the point itself in the ring, X skips it.`;
    return `Next click: a new ${this.use} mark, in the photo or on the drawn model; then the same point on the other side.`;
  },

  /** What the next click does, in words. */
  nextClick() {
    const state = this.state(), pane = this.mainPane();
    if (this.tool === "corners") {
      const set = a.cornersOf(state, this.view).length;
      return set < 4 ? `Next click: the ${CORNERS[set]} corner of the picture in the reference.` : "Drag a corner, or click one and use the arrow keys.";
    }
    if (this.tool === "region") {
      const set = (a.draftOf(state, this.view).outline ?? []).length;
      if (set) return `Next click: a further corner of the outline. ${set >= 3 ? "Enter closes it, " : ""}Escape takes the last corner back.`;
      return this.selection?.kind === "region" ? `Drag the corners of "${this.selection.name}"; a click beside it begins a new outline.` : "Next click: the first corner of a part's outline.";
    }
    if (this.tool === "length") {
      const set = a.draftOf(state, this.view).length?.points.length ?? 0;
      return set < 2 ? `Next click: the ${set ? "second" : "first"} end of a known length, in the ${this.sets(pane)}.` : "Type the length at the right; Escape takes a point back.";
    }
    if (this.tool === "line") return `Next click: a point along an edge that is straight in reality, in the reference. Enter ends the line after three points or more${(a.draftOf(state, this.view).line?.points.length ?? 0) ? ", Escape takes the last one back" : ""}.`;
    if (this.tool === "anchor") return `Next click: the point of the render about which "${this.selection?.name}" is turned and scaled in CAD.`;
    if (this.isOnModel()) return this.nextOnModel();
    if (this.isAlone()) return this.selection?.kind === "mark" ? "Next click: a further mark. E names the one that is selected, arrow keys move it, Delete removes it." : "Next click: a mark in the reference. L marks the ends of a known length, C the corners of a rectangle.";
    const lacks = this.lacks();
    if (lacks) return `Next click: the same point, "${this.selection.name}", in the ${lacks}${this.predicted(lacks) ? "; Enter takes the place in the ellipse" : ""}.`;
    const offer = this.offered();
    if (offer) {
      const { reference } = offer, puts = "click the point itself in the ring";
      const why = !reference ? "Enter or a click in the ring sets it in the render" : reference.refined ? `it was found in the reference: Enter takes it, or ${puts}` : `${puts}, as the reference shows it`;
      return `"${offer.name}" is offered${offer.part ? ` for the ${offer.part}` : ""}: ${why}, X skips it.`;
    }
    const side = this.sets(pane);
    return `Next click: a new ${this.part ? `mark of "${this.part}"` : `${this.use} mark`}, first in the ${side}${pane.side === "over" ? ", which is seen now (V shows the other)" : ""}.`;
  },
};
