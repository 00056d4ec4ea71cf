// The page: the job as the program has it, the changes on their way, and what a click or a key means.
import * as a from "./actions.js";
import * as d from "./drawing.js";
import { ask } from "./server.js";
import { Pane } from "./pane.js";
import { Panels } from "./panels.js";
import { compare } from "./results.js";

const $ = (id) => document.getElementById(id);
const WAIT = 250;

const app = {
  server: null, pending: [], sending: false, shown: null,
  view: "", tool: "mark", use: "datum", selection: null, offer: null,
  /** Where a mark or corner is while it is dragged or nudged: { key, point }. */
  moving: null,

  /** The job with all changes, also those on their way. */
  state() {
    if (this.shown) return this.shown;
    const state = a.clone({ job: this.server.job, draft: this.server.draft });
    for (const { action } of this.pending) for (const edit of action.make(state) ?? []) a.apply(state, edit);
    return (this.shown = state);
  },
  allFits() { return this.server?.fit; },
  fit() { return this.server?.fit?.views?.find((v) => v.name === this.view); },

  /** Makes a change: shown at once, sent in turn; `done` is called when it is saved. */
  change(action, done) {
    if (!action.make(this.state())?.length) return;
    this.pending.push({ action, done });
    this.shown = null;
    this.offer = null;
    busy();
    show();
    send();
  },

  say(text) { $("live").textContent = ""; requestAnimationFrame(() => { $("live").textContent = text; }); $("hint-text").dataset.said = text; hint(); setTimeout(() => { if ($("hint-text").dataset.said === text) { delete $("hint-text").dataset.said; hint(); } }, 4000); },

  select(selection, reveal = false) {
    flush();
    this.selection = selection;
    this.offer = null;
    if (reveal && selection?.kind === "mark") {
      const of = find(selection.name);
      for (const pane of panes()) { const place = of?.[pane.side] ?? predicted(pane.side)?.place; if (place) { pane.show(place); pane.cursor = null; } }
    }
    if (reveal && selection?.kind === "region") { setTool("region"); renderPane.show(region(selection.name).outline[0]); }
    show();
  },

  /** The carried mark that is shown is right: the next one is shown. */
  confirmCarried() {
    const carried = a.carriedOf(this.state(), this.view);
    if (!carried) return;
    const shown = carried.marks.find((m) => m.name === this.selection?.name) ?? carried.marks[0];
    const next = carried.marks.find((m) => m !== shown);
    this.change(a.confirmCarried(this.view, shown.name));
    this.select(next ? { kind: "mark", name: next.name } : null, true);
    if (!next) this.say("All carried marks were looked at.");
  },

  rename(from, to) {
    if (a.names(this.state(), this.view).includes(to)) { this.say(`There is a landmark "${to}" already.`); return show(); }
    this.selection = { kind: "mark", name: to };
    this.change(a.rename(this.view, from, to));
  },
  renameRegion(from, to) { this.selection = { kind: "region", name: to }; this.change(a.renameRegion(this.view, from, to)); },

  erase() {
    const s = this.selection;
    if (s?.kind === "mark") this.change(a.erase(this.view, s.name));
    if (s?.kind === "region" && s.corner !== undefined && region(s.name).outline.length > 3) {
      this.selection = { kind: "region", name: s.name };
      return this.change(a.reshape(this.view, s.name, region(s.name).outline.filter((_, i) => i !== s.corner)));
    }
    if (s?.kind === "region") this.change(a.eraseRegion(this.view, s.name));
    this.select(null);
  },

  closeOutline() {
    const name = a.freeName((a.viewOf(this.state(), this.view).regions ?? []).map((r) => r.name), "region");
    this.selection = { kind: "region", name };
    this.change(a.closeOutline(this.view, name));
    focusName("region-name");
  },

  /** After its name was typed: to the image where the mark is still missing. */
  toPartner() {
    const of = find(this.selection?.name);
    const pane = of && !of.render ? renderPane : of && !of.reference ? referencePane : this.last ?? renderPane;
    pane.canvas.focus();
    pane.cursor = predicted(pane.side)?.place ?? pane.cursor ?? pane.middle();
    pane.draw();
  },

  async refine(name) {
    await idle();
    const { ok, data } = await ask("api/refine", { view: this.view, landmark: name });
    this.offer = ok ? { name, ...data } : { name, text: data?.error?.text ?? "The program does not answer." };
    if (ok && data.render) renderPane.show(data.render, 2);
    if (ok) referencePane.show(data.reference, 2);
    show();
  },
  takeOffer() {
    const { name, render, reference } = this.offer;
    this.change(render ? a.moveBoth(this.view, name, this.offer) : a.move(this.view, name, "reference", reference));
  },
  dropOffer() { this.offer = null; show(); },
};

// --- what there is -------------------------------------------------------------------------------------------------

const find = (name) => [...a.landmarksOf(app.state(), app.view), ...a.singlesOf(app.state(), app.view)].find((l) => l.name === name);
const region = (name) => (a.viewOf(app.state(), app.view)?.regions ?? []).find((r) => r.name === name);
const panes = () => [renderPane, referencePane];
const singleOfSelection = () => app.selection?.kind === "mark" && a.singlesOf(app.state(), app.view).find((l) => l.name === app.selection.name);
const predicted = (side) => app.selection?.kind === "mark" && app.fit()?.predictions?.find((p) => p.name === app.selection.name && p.side === side && singleOfSelection());
const place = (key, point) => (app.moving?.key === key ? app.moving.point : point);

/** Everything that can be grabbed in a pane, with what moving it means. */
function handles(pane) {
  const { side } = pane, state = app.state(), list = [];
  if (app.tool === "mark") {
    // While a mark waits for its partner here, a click beside another mark sets it and does not grab the other.
    const single = singleOfSelection(), reach = single && !single[side] ? 4 : undefined;
    for (const l of [...a.landmarksOf(state, app.view), ...a.singlesOf(state, app.view)]) {
      if (l[side]) list.push({ key: `mark/${l.name}/${side}`, point: l[side], reach, select: { kind: "mark", name: l.name }, move: (p) => a.move(app.view, l.name, side, p) });
    }
  }
  if (app.tool === "region" && side === "render") list.push(...regionHandles(state));
  if (app.tool === "corners" && side === "reference") {
    a.cornersOf(state, app.view).forEach((point, i) => list.push({ key: `corner/${i}`, point, select: { kind: "corner", index: i }, move: (p) => a.moveScreenCorner(app.view, i, p) }));
  }
  return list;
}

function regionHandles(state) {
  const draft = a.draftOf(state, app.view).outline ?? [];
  if (draft.length) return draft.length < 3 ? [] : [{ key: "close", point: draft[0], close: true }];
  const s = app.selection?.kind === "region" ? region(app.selection.name) : null;
  if (!s) return [];
  const put = (i, p, insert) => { const o = [...s.outline]; o.splice(i, insert ? 0 : 1, p); return a.reshape(app.view, s.name, o); };
  const corners = s.outline.map((point, i) => ({ key: `region/${i}`, point, select: { kind: "region", name: s.name, corner: i }, move: (p) => put(i, p, false) }));
  const middles = s.outline.map((p, i) => {
    const q = s.outline[(i + 1) % s.outline.length], point = [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
    return { key: `between/${i}`, point, reach: 7, between: true, select: { kind: "region", name: s.name, corner: i + 1 }, move: (at) => put(i + 1, at, true) };
  });
  return [...corners, ...middles];
}

/** The handle that the arrow keys move. */
function keyHandle(pane) {
  const s = app.selection;
  if (!s) return null;
  const key = s.kind === "mark" ? `mark/${s.name}/${pane.side}` : s.kind === "corner" ? `corner/${s.index}` : s.corner !== undefined ? `region/${s.corner}` : null;
  return handles(pane).find((h) => h.key === key) ?? null;
}

// --- what the panes ask --------------------------------------------------------------------------------------------

let timer = 0;
const host = {
  handles,
  keyPoint: (pane) => { const h = keyHandle(pane); return h && place(h.key, h.point); },
  grab(pane, handle) {
    if (handle.close) return app.closeOutline();
    app.last = pane;
    if (handle.between) app.change(handle.move(handle.point));
    app.select(handle.select);
  },
  dragged(pane, handle, point) { if (app.moving && app.moving.key !== handle.key) flush(); if (handle.move) { app.moving = { key: handle.key, point, move: handle.move, select: handle.select }; panes().forEach((p) => p.draw()); } },
  dropped() { const m = app.moving; flush(); if (m) app.select(m.select); },
  nudge(pane, [dx, dy]) {
    const handle = keyHandle(pane);
    if (!handle) return false;
    // What was moved just before is another thing: it is sent, not forgotten.
    if (app.moving && app.moving.key !== handle.key) flush();
    const from = place(handle.key, handle.point), point = pane.clamp([from[0] + dx, from[1] + dy]);
    app.moving = { key: handle.key, point, move: handle.move };
    busy();
    pane.show(point, 0, 10);
    clearTimeout(timer);
    timer = setTimeout(flush, WAIT);
    $("live").textContent = `${point[0].toFixed(1)}, ${point[1].toFixed(1)}`;
    return true;
  },
  click(pane, point) { app.last = pane; set(pane, point); },
  enter(pane, cursor) {
    app.last = pane;
    const expected = predicted(pane.side)?.place;
    if (app.tool === "region" && (a.draftOf(app.state(), app.view).outline ?? []).length >= 3 && closes(pane, cursor)) return app.closeOutline();
    if (cursor ?? expected) set(pane, cursor ?? expected);
    else { pane.cursor = pane.middle(); app.say("The arrow keys move the cross; Enter sets a mark there."); }
  },
  paint,
};
const closes = (pane, cursor) => { const [x, y] = pane.toScreen(a.draftOf(app.state(), app.view).outline[0]), [cx, cy] = pane.toScreen(cursor ?? [-1e9, 0]); return Math.hypot(x - cx, y - cy) < 12; };

/** A click or Enter on an empty place. */
function set(pane, point) {
  const { side } = pane;
  flush();
  if (app.tool === "region") {
    if (side !== "render") return app.say("Outlines are drawn on the render.");
    if (app.selection?.kind === "region") app.select(null);
    return app.change(a.addOutlineCorner(app.view, point));
  }
  if (app.tool === "corners") {
    if (side !== "reference") return app.say("The reference is rectified: set the corners there.");
    if (a.cornersOf(app.state(), app.view).length >= 4) return app.say("All four corners are set: drag them, or choose one and use the arrow keys.");
    return app.change(a.addScreenCorner(app.view, point, $("job-form").elements.aspect.value.trim() || "16:9"));
  }
  const single = singleOfSelection();
  if (single && !single[side]) return complete(single, side, point);
  const name = a.freeName(a.names(app.state(), app.view), "mark");
  app.selection = { kind: "mark", name };
  app.change(a.begin(app.view, name, app.use, side, point));
  app.say(`${name} set in the ${side}. Type its name, then set it in the ${a.other(side)}.`);
  focusName("mark-name");
  awaitPrediction(name, a.other(side));
}

function complete(single, side, point) {
  const expected = predicted(side)?.place, unseen = expected && Math.hypot(point[0] - expected[0], point[1] - expected[1]) < 0.02;
  app.change(a.complete(app.view, single.name, side, point));
  const next = a.singlesOf(app.state(), app.view).find((l) => !l[side]);
  if (next) app.select({ kind: "mark", name: next.name }); else show();
  const there = next && predicted(side)?.place;
  if (there) (side === "render" ? renderPane : referencePane).cursor = there;
  // A mark that only repeats the prediction is no measurement.
  const caution = unseen ? " It lies exactly where it was expected: see whether that is the point; marks that are only confirmed make the residuals look better than they are." : "";
  app.say(`${single.name} is a landmark.${caution}${next ? ` Next: ${next.name} in the ${side}.` : ""}`);
}

/** Shows the predicted place once the program has told it. */
async function awaitPrediction(name, side) {
  await idle();
  const there = predicted(side);
  if (app.selection?.name !== name || !there) return;
  const pane = side === "render" ? renderPane : referencePane;
  pane.show(there.place);
  pane.cursor = there.place;
}

function focusName(id) { requestAnimationFrame(() => { const field = $(id); field?.focus({ preventScroll: true }); field?.select(); }); }

/** Sends what was moved. */
function flush() {
  clearTimeout(timer);
  const m = app.moving;
  app.moving = null;
  if (m) app.change(m.move(m.point));
  busy();
}

// --- drawing -------------------------------------------------------------------------------------------------------

/** How much longer than they are residuals are drawn: so that the datum marks' stay readable. */
function stretch(pane) {
  const lengths = (app.fit()?.landmarks ?? []).filter((l) => l.finding !== "wrong").map((l) => Math.hypot(...l.residual_px)).sort((x, y) => x - y);
  const typical = lengths[Math.floor(lengths.length * 0.8)] ?? 0;
  if (!typical) return 1;
  return [100, 50, 20, 10, 5, 2].find((k) => typical * k * pane.view.scale <= 40) ?? 1;
}

function paint(pane, c) {
  const { side } = pane, state = app.state(), view = a.viewOf(state, app.view);
  if (!view) return;
  const lines = [], taken = [];
  if (side === "render") paintRegions(pane, c, state, view);
  else paintCorners(pane, c, state);
  const need = app.fit()?.needs?.[0];
  if (side === "render" && need?.place && app.tool === "mark" && ["datum", "redundant", "spread"].includes(need.code)) d.ring(c, pane.toScreen(need.place));
  const k = stretch(pane), fits = app.fit()?.landmarks ?? [], whole = a.landmarksOf(state, app.view);
  const crowded = whole.length > 12 && pane.view.scale < 1;
  for (const l of whole) {
    const key = `mark/${l.name}/${side}`, p = place(key, l[side]), at = pane.toScreen(p), fit = fits.find((f) => f.name === l.name);
    const wrong = fit?.finding === "wrong" || fit?.finding === "swapped", selected = app.selection?.name === l.name && app.selection.kind === "mark";
    if (fit && app.moving?.key !== key) {
      const to = fit[`in_${side}`], f = wrong ? 1 : k;
      d.residual(c, at, pane.toScreen([p[0] + (to[0] - p[0]) * f, p[1] + (to[1] - p[1]) * f]), wrong);
    }
    d.mark(c, at, { color: d.colour(side), use: l.use, selected, wrong });
    const free = d.fits(c, l.name, at[0] + 11, at[1] - 8, taken);
    if (selected || wrong || (!crowded && free)) d.label(c, wrong ? `! ${l.name}` : l.name, at[0] + 11, at[1] - 8, wrong ? d.WRONG : d.colour(side));
  }
  for (const l of a.singlesOf(state, app.view)) {
    if (!l[side]) continue;
    const at = pane.toScreen(place(`mark/${l.name}/${side}`, l[side]));
    d.mark(c, at, { color: d.colour(side), use: l.use, single: true, selected: app.selection?.name === l.name });
    d.label(c, l.name, at[0] + 11, at[1] - 8, d.colour(side));
  }
  const there = predicted(side);
  if (there) d.ellipse(c, pane.toScreen(there.place), there.half_axes.map((x) => x * pane.view.scale), there.turned_deg, d.colour(side));
  if (app.offer?.[side]) d.cross(c, pane.toScreen(app.offer[side]), "#1d1d1b", 9);
  if (fits.length && k > 1) lines.push(`residuals drawn ${k} × as long`);
  if (there) lines.push(`${there.name} is expected in the ellipse (95 %): Enter or a click confirms`);
  d.notes(c, lines);
}

function paintRegions(pane, c, state, view) {
  for (const r of view.regions ?? []) {
    const selected = app.selection?.kind === "region" && app.selection.name === r.name;
    const points = r.outline.map((p, i) => pane.toScreen(selected ? place(`region/${i}`, p) : p));
    d.outline(c, points, { color: "#1d1d1b", closed: true, selected, name: app.tool === "region" || selected ? r.name : null, dash: selected ? [] : [5, 3] });
    if (selected && app.tool === "region") for (const h of handles(pane)) h.between ? d.between(c, pane.toScreen(h.point)) : d.handle(c, pane.toScreen(place(h.key, h.point)), app.selection.corner === Number(h.key.split("/")[1]));
  }
  const draft = a.draftOf(state, app.view).outline ?? [];
  d.outline(c, draft.map((p) => pane.toScreen(p)), { color: d.colour("render"), closed: false, selected: true });
  draft.forEach((p) => d.handle(c, pane.toScreen(p), false));
}

function paintCorners(pane, c, state) {
  const corners = a.cornersOf(state, app.view).map((p, i) => place(`corner/${i}`, p)).map((p) => pane.toScreen(p));
  d.outline(c, corners, { color: "#1d1d1b", closed: corners.length === 4, dash: [8, 4] });
  const words = ["top left", "top right", "bottom right", "bottom left"];
  if (app.tool === "corners") corners.forEach((p, i) => d.handle(c, p, app.selection?.kind === "corner" && app.selection.index === i, words[i]));
}

// --- saving --------------------------------------------------------------------------------------------------------

/** Says whether everything is saved, for programs that drive the page. */
function busy() { document.documentElement.dataset.busy = app.moving || app.pending.length || app.sending || app.stepping ? "1" : ""; }

function take(state) { app.server = state; app.shown = null; }

async function send() {
  if (app.sending || !app.pending.length) return;
  app.sending = true;
  while (app.pending.length) {
    const { action, done } = app.pending[0];
    const edits = action.make({ job: app.server.job, draft: app.server.draft });
    if (!edits?.length) { app.pending.shift(); app.shown = null; continue; }
    saved("Saving…");
    const { ok, status, data } = await ask("api/change", { base: app.server.revision, label: action.label, edits }, { keepalive: true });
    if (ok) { app.pending.shift(); take(data); done?.(); saved(); show(); }
    else if (!(await settle(status, data, action.label))) break;
  }
  app.sending = false;
  busy();
  show();
}

/** Deals with a change that was not made; false: wait. */
async function settle(status, data, text) {
  const code = data?.error?.code;
  if (data?.state) take(data.state);
  show();
  if (code === "stale") {
    const mine = await question("The job was changed in another page", `Your change "${text}" was not made yet. Make it on what the job is now?`, [["Make it", true], ["Drop it", false]]);
    if (!mine) app.pending.shift();
    app.shown = null;
    return true;
  }
  if (code === "changed-outside" || code === "two-programs") { await outside(data.error); return true; }
  if (status === 422 || status === 400 || status === 409 || status === 413) {
    app.pending.shift();
    app.shown = null;
    await question("This change was not made", data?.error?.text ?? "The program refused it.", [["Close", true]]);
    return true;
  }
  saved(`Not saved (${data?.error?.text ?? "the program does not answer"}); trying again`, true);
  setTimeout(() => { app.sending = false; send(); }, 1000);
  app.sending = true;
  return false;
}

async function outside(error) {
  const both = error.code === "changed-outside";
  const keep = await question(both ? "The file was changed by another program" : "Another program marks this job", `${error.text}\nThe other state is kept in .tickstrip beside the job.`,
    both ? [["Take the file's", "file"], ["Keep this page's", "page"]] : [["Go on with what is on the disk", "file"]]);
  const { ok, data } = await ask("api/decide", { keep });
  if (data?.state ?? (ok && data)) take(data.state ?? data);
  if (!ok) await question("That was not possible", data?.error?.text ?? "The program does not answer.", [["Close", true]]);
  saved();
  show();
}

const idle = async () => { flush(); while (app.sending || app.pending.length) await new Promise((r) => setTimeout(r, 20)); };

async function step(which) {
  app.stepping = (app.stepping ?? 0) + 1;
  busy();
  await idle();
  const { ok, status, data } = await ask(`api/${which}`, { base: app.server.revision });
  if (ok) { app.say(which === "undo" ? `Undone: ${app.server.steps.undo_label ?? "nothing"}` : `Done again: ${app.server.steps.redo_label ?? "nothing"}`); take(data); }
  else if (data?.error?.code === "stale") take(data.state);
  else if (data?.error) await (["changed-outside", "two-programs"].includes(data.error.code) ? outside(data.error) : question("Not possible", data.error.text, [["Close", true]]));
  else if (!status) saved("The program does not answer", true);
  saved();
  app.stepping -= 1;
  busy();
  show();
}

/** Takes the marks over to an image that was written over since it was marked. */
async function carryOver(changed) {
  await idle();
  app.say(`Looking for the marks in the new ${changed.side} ...`);
  const { ok, data } = await ask("api/carry", { base: app.server.revision, view: app.view, side: changed.side });
  if (ok) {
    take(data);
    app.say(`${data.steps.undo_label}. Look at each at the right: K confirms.`);
    const first = a.carriedOf(app.state(), app.view)?.marks[0];
    if (first) app.select({ kind: "mark", name: first.name }, true);
  }
  else if (data?.error) { if (data.state) take(data.state); app.say("The marks are as they were."); await question("The marks were not carried over", data.error.text, [["Close", true]]); }
  else saved("The program does not answer", true);
  show();
}

function saved(text, trouble = false) {
  $("saved").textContent = text ?? `Saved ${new Date().toTimeString().slice(0, 8)}`;
  $("saved").classList.toggle("trouble", trouble);
  $("saved").title = app.server?.file ?? "";
}

/** Other pages and programs may change the job as well. */
async function watch() {
  if (app.server && !app.sending && !app.pending.length && !app.moving && !$("ask").open) {
    const { ok, data } = await ask("api/revision");
    if (!ok) saved("The program does not answer; start it again and open the address that it prints: what is saved is there", true);
    else if (data.trouble) await outside(data.trouble);
    else {
      if ($("saved").classList.contains("trouble")) saved();
      if (data.revision !== app.server.revision && !app.sending && !app.pending.length) { await load(); app.say("The job was changed in another page; this one shows it now."); }
    }
  }
  setTimeout(watch, 1500);
}

function question(title, text, choices) {
  return new Promise((resolve) => {
    const dialog = $("ask");
    $("ask-title").textContent = title; $("ask-text").textContent = text;
    $("ask-buttons").replaceChildren(...choices.map(([words, value]) => {
      const button = document.createElement("button");
      button.type = "button"; button.textContent = words;
      button.onclick = () => { dialog.close(); resolve(value); };
      return button;
    }));
    dialog.oncancel = (event) => event.preventDefault();
    dialog.showModal();
  });
}

// --- the page as a whole -------------------------------------------------------------------------------------------

const renderPane = new Pane("render", host), referencePane = new Pane("reference", host), panels = new Panels(app);

function show() {
  if (!app.server) return;
  const { job } = app.state(), views = job.views ?? [];
  if (!views.some((v) => v.name === app.view)) app.view = views[0]?.name ?? "";
  const options = views.map((v) => new Option(v.name, v.name, false, v.name === app.view));
  $("view").replaceChildren(...options);
  const { undo, redo, undo_label, redo_label } = app.server.steps;
  $("undo").disabled = !undo; $("undo").title = undo_label ? `Undo: ${undo_label}` : "";
  $("redo").disabled = !redo; $("redo").title = redo_label ? `Do again: ${redo_label}` : "";
  panels.show();
  hint();
  panes().forEach((pane) => pane.draw());
}

function hint() {
  if (!app.server) return;
  const text = $("hint-text"), need = app.fit()?.needs?.[0], fault = app.allFits()?.faults?.[0];
  const placeholders = a.hasPlaceholders(app.state(), app.view);
  text.textContent = text.dataset.said ?? (placeholders ? "This job has placeholder marks that mean nothing." : fault ?? need?.text ?? "Nothing is missing: more marks make the figures surer.");
  $("hint-show").hidden = placeholders || !need?.place || Boolean(fault) || Boolean(text.dataset.said);
  const changed = !placeholders && !fault && !text.dataset.said && need?.code === "changed-image" ? app.fit()?.changed?.[0] : undefined;
  $("hint-act").hidden = !placeholders && !changed;
  $("hint-carry").hidden = !changed?.can_carry;
  $("hint-act").textContent = placeholders ? "Remove the placeholders" : `All marks fit this ${changed?.side}`;
}

function setTool(tool) {
  app.tool = tool;
  for (const input of document.getElementsByName("tool")) input.checked = input.value === tool;
  if (tool === "region") $("regions-panel").open = true;
  if (tool === "corners") { $("job-panel").open = true; app.say(a.cornersOf(app.state(), app.view).length === 4 ? "Drag the corners, or click one and use the arrow keys." : "Click the corners of the picture in the reference: top left, top right, bottom right, bottom left."); }
  show();
}

function openView(name) {
  flush();
  app.view = name; app.selection = null; app.offer = null;
  const index = a.viewIndex(app.state(), name), view = a.viewOf(app.state(), name);
  // Of several shots the first is marked.
  const nameOf = (image) => image?.image ?? image?.images?.[0];
  const opened = panes().map((pane) => pane.open(index, nameOf(view?.[pane.side])));
  Promise.all(opened).then(seen);
  show();
}

/** Once the render is read, what its marks lie on counts. */
async function seen() {
  const { ok, data } = await ask("api/state");
  if (!ok || data.revision !== app.server?.revision || app.sending || app.pending.length) return;
  app.server.fit = data.fit;
  show();
}

async function load() {
  const { ok, data } = await ask("api/state");
  if (!ok) return saved("The program does not answer", true);
  take(data.state ?? data);
  saved(`Saved in ${app.server.file.split(/[\\/]/).pop()}`);
  show();
}

function next(direction) {
  const all = a.names(app.state(), app.view);
  if (!all.length) return;
  const at = all.indexOf(app.selection?.name);
  app.select({ kind: "mark", name: all[(at + direction + all.length) % all.length] }, true);
  app.say(`${app.selection.name} selected`);
}

function keys(event) {
  const typing = event.target.matches?.("input:not([type=radio]):not([type=checkbox]), select, textarea");
  const letter = event.key.toLowerCase();
  if ((event.ctrlKey || event.metaKey) && (letter === "z" || letter === "y")) {
    if (typing && event.target.dataset.dirty) return;
    event.preventDefault();
    return step(letter === "y" || event.shiftKey ? "redo" : "undo");
  }
  if (typing || event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
  const outline = a.draftOf(app.state(), app.view).outline ?? [];
  const acts = {
    m: () => setTool("mark"), r: () => setTool("region"), c: () => setTool("corners"),
    n: () => next(1), p: () => next(-1),
    u: () => app.selection?.kind === "mark" && app.change(a.setUse(app.view, app.selection.name, find(app.selection.name)?.use === "check" ? "datum" : "check")),
    k: () => app.confirmCarried(),
    s: () => app.selection?.kind === "mark" && app.refine(app.selection.name),
    escape: () => app.select(null),
    delete: () => app.erase(),
    backspace: () => (app.tool === "region" && outline.length ? app.change(a.dropOutlineCorner(app.view)) : app.erase()),
    "?": () => $("help").showModal(),
  };
  if (acts[letter]) { acts[letter](); event.preventDefault(); }
}

function wire() {
  document.addEventListener("keydown", keys);
  $("view").addEventListener("change", (e) => openView(e.target.value));
  for (const input of document.getElementsByName("tool")) input.addEventListener("change", () => setTool(input.value));
  for (const input of document.getElementsByName("use")) input.addEventListener("change", () => { app.use = input.value; });
  $("undo").addEventListener("click", () => step("undo"));
  $("redo").addEventListener("click", () => step("redo"));
  $("compare").addEventListener("click", async () => { await idle(); compare(); });
  $("help-button").addEventListener("click", () => $("help").showModal());
  $("hint-show").addEventListener("click", () => { const p = app.fit()?.needs?.[0]?.place; if (p) renderPane.show(p, 0.5); });
  $("hint-act").addEventListener("click", () => {
    const changed = app.fit()?.changed?.[0];
    if (a.hasPlaceholders(app.state(), app.view)) app.change(a.erasePlaceholders(app.view));
    else if (changed) app.change(a.confirmImage(app.view, changed.side, changed.marked_on));
  });
  $("hint-carry").addEventListener("click", () => { const changed = app.fit()?.changed?.[0]; if (changed) carryOver(changed); });
  for (const button of document.querySelectorAll("[data-close]")) button.addEventListener("click", () => button.closest("dialog").close());
  for (const button of document.querySelectorAll("[data-zoom]")) button.addEventListener("click", () => {
    const pane = button.dataset.pane === "render" ? renderPane : referencePane;
    if (button.dataset.zoom === "fit") pane.fit(); else pane.zoom(button.dataset.zoom === "in" ? 1.4 : 1 / 1.4);
  });
  window.addEventListener("pagehide", flush);
  document.addEventListener("visibilitychange", () => { if (document.hidden) flush(); });
}

wire();
await load();
if (app.server) { openView((app.server.job.views ?? [])[0]?.name ?? ""); watch(); }
document.documentElement.dataset.ready = "1";
