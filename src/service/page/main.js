// The page: the job as the program has it, the changes on their way, what is shown, and what a key means.
import * as a from "./actions.js";
import { ask } from "./server.js";
import { marking } from "./marks.js";
import { ModelPane } from "./model.js";
import { offering } from "./offers.js";
import { Over } from "./over.js";
import { Pane } from "./pane.js";
import { Panels } from "./panels.js";
import { Photo } from "./photo.js";
import { compare } from "./results.js";
import { Strip } from "./strip.js";
import { views } from "./views.js";

const $ = (id) => document.getElementById(id);
/** Pairs that are asked for one image at a time before one picture shows both. */
const FIRST = 3;

const app = {
  server: null, pending: [], sending: false, shown: null,
  view: "", tool: "mark", use: "datum", selection: null, offer: null,
  /** The part that new marks belong to and that the strip shows; "" for all. */
  part: "",
  /** What the user wants to see: "" for what the next mark needs. */
  wanted: "",
  /** How light and contrasty either image is shown. */
  filters: { render: "none", reference: "none" },
  /** Where a mark or corner is while it is dragged or nudged: { key, point }, in its own image. */
  moving: null,

  /** The job with all changes, also those on their way. */
  state() {
    if (this.shown) return this.shown;
    const state = a.clone({ job: this.server.job, draft: this.server.draft });
    for (const { action } of this.pending) for (const edit of action.make(state) ?? []) a.apply(state, edit);
    return (this.shown = state);
  },
  allFits() { return this.server?.fit; },
  isAlone() { return a.isAlone(this.state(), this.view); },
  isOnModel() { return a.isOnModel(this.state(), this.view); },
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
    this.flush();
    this.selection = selection;
    this.offer = null;
    if (reveal && selection?.kind === "mark") {
      const of = this.find(selection.name);
      for (const pane of panes()) {
        const place = pane.side === "over" ? of?.render ?? (of?.reference && this.inPicture(pane, "reference", of.reference)) : of?.[pane.side] ?? this.predicted(pane.side)?.place;
        if (place) { pane.show(place); pane.cursor = null; }
      }
    }
    if (reveal && selection?.kind === "region") { setTool("region"); const [corner] = this.region(selection.name).outline; renderPane.show(corner); overPane.show(corner); }
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
  renameRegion(from, to) {
    if (this.region(to)) { this.say(`There is a part "${to}" already.`); return show(); }
    if (this.part === from) this.part = to;
    this.selection = { kind: "region", name: to };
    this.change(a.renameRegion(this.view, from, to));
  },

  erase() {
    const s = this.selection;
    if (s?.kind === "mark") this.change(a.erase(this.view, s.name));
    if (s?.kind === "region" && s.corner !== undefined && this.region(s.name).outline.length > 3) {
      this.selection = { kind: "region", name: s.name };
      return this.change(a.reshape(this.view, s.name, this.region(s.name).outline.filter((_, i) => i !== s.corner)));
    }
    if (s?.kind === "region") this.change(a.eraseRegion(this.view, s.name));
    this.select(null);
  },

  closeOutline() {
    const name = a.freeName((a.viewOf(this.state(), this.view).regions ?? []).map((r) => r.name), "part");
    this.selection = { kind: "region", name };
    // The marks that follow are its own.
    this.part = name;
    this.change(a.closeOutline(this.view, name));
    requestAnimationFrame(() => { $("region-name")?.focus({ preventScroll: true }); $("region-name")?.select(); });
  },

  /** After its name was typed: to the image where the mark is still missing. */
  toPartner() {
    const lacks = this.lacks(), pane = (lacks && this.paneFor(lacks)) ?? this.mainPane();
    pane.canvas.focus();
    if (pane === modelPane) return;
    pane.cursor = this.predictedIn(pane)?.place ?? pane.cursor ?? pane.middle();
    pane.draw();
  },

  async refine(name) {
    await idle();
    const { ok, data } = await ask("api/refine", { view: this.view, landmark: name });
    this.offer = ok ? { name, ...data } : { name, text: data?.error?.text ?? "The program does not answer." };
    if (ok && data.render) renderPane.show(data.render, 2);
    if (ok) { referencePane.show(data.reference, 2); overPane.show(this.inPicture(overPane, "reference", data.reference), 2); }
    show();
  },
  takeOffer() {
    const { name, render, reference } = this.offer;
    this.change(render ? a.moveBoth(this.view, name, this.offer) : a.move(this.view, name, "reference", reference));
  },
  dropOffer() { this.offer = null; show(); },

  /** What is shown: one picture of both ("over"), one image, or both beside each other. */
  mode() {
    const isOfReference = this.tool === "corners" || this.tool === "line" || this.tool === "length";
    if (this.isOnModel()) return isOfReference ? "reference" : ["reference", "model"].includes(this.wanted) ? this.wanted : "onmodel";
    if (this.isAlone()) return "reference";
    if ((this.wanted === "onmodel" || this.wanted === "model") && (!a.hasModel(this.state()) || this.tool !== "mark")) return this.fit()?.map ? "over" : "both";
    if (this.wanted) return this.wanted;
    if (this.tool === "corners" || this.tool === "line") return "reference";
    const isReady = this.fit()?.map && a.landmarksOf(this.state(), this.view).length >= FIRST;
    if (isReady) return "over";
    if (this.tool === "region") return "render";
    return this.lacks() ?? "render";
  },
  paneFor(side) {
    const mode = this.mode();
    if (side === "model") return mode === "onmodel" || mode === "model" ? modelPane : null;
    if (mode === "onmodel") return side === "reference" ? referencePane : null;
    return mode === "over" ? overPane : mode === "both" || mode === side ? (side === "render" ? renderPane : referencePane) : null;
  },
  mainPane() { return { over: overPane, render: renderPane, reference: referencePane, both: this.last ?? renderPane, onmodel: this.last === modelPane ? modelPane : referencePane, model: modelPane }[this.mode()]; },

  /** Shows one image in the one picture until the mark that is begun has its partner; null: as it was before. */
  flip(side) {
    if (this.mode() !== "over") return;
    if (side && this.unflipped === undefined) this.unflipped = overPane.blend;
    const blend = side ? Number(side === "reference") : this.unflipped ?? overPane.blend;
    if (!side) this.unflipped = undefined;
    setBlend(blend);
  },

  /** Another image file in place of one: its marks are carried over where the program finds them again. */
  async exchange(side, file) {
    const before = a.viewOf(this.state(), this.view)?.[side]?.image;
    if (!file || file === before) return show();
    this.change(side === "render" && this.isAlone() ? a.giveRender(this.view, file) : a.setViewKey(this.view, `${side}/image`, file, `The ${side} is ${file}`));
    await idle();
    openView(this.view);
    // The marks of a reference that had no render wait for it.
    const first = a.singlesOf(this.state(), this.view)[0];
    if (first) this.select({ kind: "mark", name: first.name });
  },

  redraw() { panes().forEach((pane) => pane.draw()); this.strip.draw(); },
  show, idle: () => idle(), busy: () => busy(), next: (direction) => next(direction), setTool: (tool) => setTool(tool),
  ...marking,
  ...offering,
};

// --- saving --------------------------------------------------------------------------------------------------------

/** Says whether everything is saved, for programs that drive the page. */
function busy() { document.documentElement.dataset.busy = app.moving || app.pending.length || app.sending || app.stepping || app.asking ? "1" : ""; }

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
  app.propose();
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

const idle = async () => { app.flush(); while (app.sending || app.pending.length) await new Promise((r) => setTimeout(r, 20)); };

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
  app.propose();
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

const host = app.host();
const renderPane = new Pane("render", host), referencePane = new Photo(host), overPane = new Over(host), modelPane = new ModelPane(host), panels = new Panels(app);
const pictures = [renderPane, referencePane, overPane], panes = () => [...pictures, modelPane];
Object.assign(app, { over: overPane, reference: referencePane, model: modelPane, strip: new Strip(app) });

function show() {
  if (!app.server) return;
  const { job } = app.state(), views = job.views ?? [];
  if (!views.some((v) => v.name === app.view)) app.view = views[0]?.name ?? "";
  const options = views.map((v) => new Option(v.name, v.name, false, v.name === app.view));
  $("view").replaceChildren(...options);
  const { undo, redo, undo_label, redo_label } = app.server.steps;
  $("undo").disabled = !undo; $("undo").title = undo_label ? `Undo: ${undo_label}` : "";
  $("redo").disabled = !redo; $("redo").title = redo_label ? `Do again: ${redo_label}` : "";
  const mode = app.mode(), isAlone = app.isAlone();
  document.body.toggleAttribute("data-alone", isAlone);
  document.body.toggleAttribute("data-on-model", app.isOnModel());
  $("compare").disabled = views.every((v) => a.isBare(app.state(), v.name));
  $("compare").title = $("compare").disabled ? "There is no render to compare with yet" : "";
  if (document.body.dataset.shows !== mode) { document.body.dataset.shows = mode; if (mode !== "over") app.unflipped = undefined; }
  showChoices();
  // A large mesh takes a while to be read: it is where it is looked at.
  if ((mode === "onmodel" || mode === "model") && !modelPane.isAsked) modelPane.open().then(seen);
  overPane.lay(app.fit()?.map);
  const { camera } = app.fit() ?? {};
  $("model-lines").parentElement.hidden = $("model-as-photo").hidden = !camera;
  referencePane.lay(a.viewIndex(app.state(), app.view), camera?.stamp);
  panels.show();
  app.strip.show();
  hint();
  $("foot").textContent = app.nextClick();
  panes().forEach((pane) => pane.draw());
}

/** What may be shown of this view. */
const CHOICES = [["", "as the next mark needs"], ["over", "both in one picture"], ["both", "side by side"], ["render", "render"], ["reference", "reference"], ["onmodel", "reference and model"], ["model", "model"]];
function showChoices() {
  const fits = ([value]) => (app.isOnModel() ? ["", "reference", "model"].includes(value) : a.hasModel(app.state()) || !["onmodel", "model"].includes(value));
  const choices = CHOICES.filter(fits), select = $("shows"), key = String(choices);
  if (select.dataset.choices !== key) { select.dataset.choices = key; select.replaceChildren(...choices.map(([value, words]) => new Option(words, value))); }
  if (!choices.some(([value]) => value === app.wanted)) app.wanted = "";
  select.value = app.wanted;
}

function setBlend(blend) {
  overPane.blend = blend;
  $("blend").value = Math.round(100 * blend);
  $("blend-word").textContent = blend > 0.5 ? "reference" : "render";
  $("blend-word").className = blend > 0.5 ? "reference-word" : "render-word";
  $("foot").textContent = app.nextClick();
  overPane.draw();
}

function hint() {
  if (!app.server) return;
  const text = $("hint-text"), need = app.fit()?.needs?.[0], fault = app.allFits()?.faults?.[0];
  const placeholders = a.hasPlaceholders(app.state(), app.view);
  text.textContent = text.dataset.said ?? (placeholders ? "This job has placeholder marks that mean nothing." : fault ?? need?.text ?? "Nothing is missing: more marks make the figures surer.");
  $("hint-show").hidden = placeholders || !(need?.place || (need?.on_model && modelPane.about)) || Boolean(fault) || Boolean(text.dataset.said);
  const changed = !placeholders && !fault && !text.dataset.said && need?.code === "changed-image" ? app.fit()?.changed?.[0] : undefined;
  $("hint-act").hidden = !placeholders && !changed;
  $("hint-carry").hidden = !changed?.can_carry;
  $("hint-act").textContent = placeholders ? "Remove the placeholders" : `All marks fit this ${changed?.side}`;
}

function setTool(tool) {
  if (app.isAlone() && (tool === "region" || tool === "anchor")) return app.say("Parts are outlined on a render, and this view has none.");
  app.tool = tool;
  for (const input of document.getElementsByName("tool")) input.checked = input.value === tool;
  if (tool === "region") $("regions-panel").open = true;
  if (tool === "length") $("known-panel").open = true;
  if (tool === "corners") { $("job-panel").open = true; }
  show();
}

function openView(name) {
  app.flush();
  app.view = name; app.selection = null; app.offer = null; app.part = ""; app.offerName = ""; app.proposals = []; app.wanting = []; app.picked = null;
  const index = a.viewIndex(app.state(), name), view = a.viewOf(app.state(), name);
  // Of several shots the first is marked.
  const nameOf = (image) => image?.image ?? image?.images?.[0];
  modelPane.begin();
  const opened = pictures.map((pane) => (app.isAlone() && pane.side !== "reference" ? pane.close() : pane.open(index, nameOf(view?.[pane.side] ?? view?.render))));
  Promise.all(opened).then(seen);
  show();
}

/** Once the render is read, what its marks lie on counts. */
async function seen() {
  const { ok, data } = await ask("api/state");
  if (!ok || data.revision !== app.server?.revision || app.sending || app.pending.length) return;
  app.server.fit = data.fit;
  if (app.fit()?.camera && modelPane.fitted) modelPane.lookFrom(app.fit().camera.towards);
  show();
  app.propose();
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
  const { side } = app.selection ?? {};
  app.select({ kind: "mark", name: all[(at + direction + all.length) % all.length], ...(side ? { side } : {}) }, true);
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
  if (letter === "enter" && event.target.matches?.("button, a, summary")) return;
  if (typing || event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
  const outline = a.draftOf(app.state(), app.view).outline ?? [], isDrawing = app.tool === "region" && outline.length > 0;
  const use = (of) => () => app.selection?.kind === "mark" && app.change(a.setUse(app.view, app.selection.name, of));
  const on = (of) => () => app.selection?.kind === "mark" && app.change(a.setOn(app.view, app.selection.name, of));
  const acts = {
    1: use("datum"), 2: use("check"), 3: on("corner"), 4: on("outline"), 5: on("centre"),
    d: () => { if (app.fit()?.camera) $("model-lines").click(); },
    v: () => setBlend(overPane.blend > 0.5 ? 0 : 1),
    x: () => app.skipOffered(),
    e: () => { if (app.selection?.kind === "mark") requestAnimationFrame(() => { $("mark-name")?.focus(); $("mark-name")?.select(); }); },
    enter: () => isDrawing ? app.closeOutline() : app.offered() && app.takeOffered(),
    l: () => setTool("length"), m: () => setTool("mark"), r: () => setTool("region"), c: () => setTool("corners"),
    n: () => next(1), p: () => next(-1),
    u: () => app.selection?.kind === "mark" && app.change(a.setUse(app.view, app.selection.name, app.find(app.selection.name)?.use === "check" ? "datum" : "check")),
    k: () => app.confirmCarried(),
    s: () => app.selection?.kind === "mark" && app.refine(app.selection.name),
    escape: () => {
      if (isDrawing) return app.change(a.dropOutlineCorner(app.view));
      if (app.tool === "length" || app.tool === "line") return a.draftOf(app.state(), app.view)[app.tool] ? app.change(a.dropPoint(app.view, app.tool)) : setTool("mark");
      if (app.tool === "anchor") return setTool("region");
      return app.select(null);
    },
    delete: () => app.erase(),
    backspace: () => (isDrawing ? app.change(a.dropOutlineCorner(app.view)) : app.erase()),
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
  $("model-lines").addEventListener("change", (e) => { referencePane.hasLines = e.target.checked; show(); });
  $("model-as-photo").addEventListener("click", () => modelPane.lookFrom(app.fit().camera.towards));
  $("hint-show").addEventListener("click", () => {
    const { camera, needs } = app.fit() ?? {}, place = needs?.[0]?.on_model;
    if (place && camera) { modelPane.lookFrom(camera.towards); modelPane.show(modelPane.project(place)); }
  });
  $("hint-show").addEventListener("click", () => { const p = app.fit()?.needs?.[0]?.place; if (p) { renderPane.show(p, 0.5); overPane.show(p, 0.5); } });
  $("shows").addEventListener("change", (e) => { app.wanted = e.target.value; show(); });
  $("blend").addEventListener("input", (e) => { app.unflipped = undefined; setBlend(e.target.value / 100); });
  $("lines").addEventListener("change", (e) => { overPane.hasLines = e.target.checked; overPane.draw(); });
  $("lists-button").addEventListener("click", () => {
    const isOpen = document.body.dataset.lists !== "open";
    document.body.dataset.lists = isOpen ? "open" : "";
    $("lists-button").setAttribute("aria-expanded", String(isOpen));
  });
  $("offering").addEventListener("change", (e) => { app.isOffering = e.target.checked; app.proposals = []; show(); app.propose(); });
  for (const of of ["render", "reference"]) for (const what of ["light", "contrast"]) $(`${of}-${what}`).addEventListener("input", () => {
    const value = (name) => $(`${of}-${name}`).value / 100, isPlain = value("light") === 1 && value("contrast") === 1;
    app.filters[of] = isPlain ? "none" : `brightness(${value("light")}) contrast(${value("contrast")})`;
    app.redraw();
  });
  $("hint-act").addEventListener("click", () => {
    const changed = app.fit()?.changed?.[0];
    if (a.hasPlaceholders(app.state(), app.view)) app.change(a.erasePlaceholders(app.view));
    else if (changed) app.change(a.confirmImage(app.view, changed.side, changed.marked_on));
  });
  $("hint-carry").addEventListener("click", () => { const changed = app.fit()?.changed?.[0]; if (changed) carryOver(changed); });
  for (const button of document.querySelectorAll("[data-close]")) button.addEventListener("click", () => button.closest("dialog").close());
  for (const button of document.querySelectorAll("[data-zoom]")) button.addEventListener("click", () => {
    const pane = panes().find((p) => p.side === button.dataset.pane);
    if (button.dataset.zoom === "fit") pane.fit(); else pane.zoom(button.dataset.zoom === "in" ? 1.4 : 1 / 1.4);
  });
  window.addEventListener("pagehide", () => app.flush());
  document.addEventListener("visibilitychange", () => { if (document.hidden) app.flush(); });
}

wire();
views(app, openView);
await load();
if (app.server) { openView((app.server.job.views ?? [])[0]?.name ?? ""); watch(); }
document.documentElement.dataset.ready = "1";
