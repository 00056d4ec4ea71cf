// The column at the right: what is selected, the lists, the forms. Lists are made anew on every change; what had the
// focus gets it back.
import * as a from "./actions.js";

const $ = (id) => document.getElementById(id);

function make(name, attributes = {}, ...inside) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key in element && key !== "list") element[key] = value;
    else element.setAttribute(key, value);
  }
  element.append(...inside.filter((i) => i !== null && i !== undefined));
  return element;
}

export class Panels {
  /** `app` has state(), view, fit(), selection, select(), change(), refine(), offer. */
  constructor(app) {
    this.app = app;
    this.forms();
  }

  show() {
    const old = document.activeElement, focused = old?.dataset?.key, typed = old?.value, dirty = focused && old.dataset.dirty;
    const range = focused && old.type === "text" ? [old.selectionStart, old.selectionEnd] : null;
    this.carried(); this.selected(); this.measured(); this.regions(); this.known(); this.spans(); this.angles(); this.symmetry(); this.job(); this.doubts();
    this.names();
    const again = focused && document.querySelector(`[data-key="${CSS.escape(focused)}"]`);
    if (again && again !== document.activeElement) {
      again.focus({ preventScroll: true });
      if (dirty) { again.value = typed; again.dataset.dirty = "1"; }
      if (range) again.setSelectionRange(...range);
    }
  }

  /** A field that changes the job when it is left or Enter is pressed. */
  field(key, value, commit, attributes = {}) {
    const done = (event) => { delete event.target.dataset.dirty; if (event.target.value !== value) commit(event.target.value.trim()); };
    const input = make("input", { value, onchange: done, oninput: (e) => { e.target.dataset.dirty = "1"; }, ...attributes });
    input.dataset.key = key;
    return input;
  }

  /** The next carried mark to look at: its surroundings before and now. */
  carried() {
    const box = $("carried"), { app } = this, state = app.state(), carried = a.carriedOf(state, app.view);
    const first = carried?.marks.find((m) => m.name === app.selection?.name) ?? carried?.marks[0];
    const now = first && a.landmarksOf(state, app.view).find((l) => l.name === first.name)[carried.side];
    const looks = JSON.stringify([app.view, first, now, carried?.marks.length]);
    if (looks === this.carriedLooks) return;
    this.carriedLooks = looks;
    box.hidden = !first;
    if (!first) { box.replaceChildren(); return; }
    const index = a.viewIndex(state, app.view), at = (when) => `api/patch/${index}/${encodeURIComponent(first.name)}/${when}?at=${now.join("_")}`;
    const patch = (when, words) => make("figure", {}, make("img", { src: at(when), alt: `${first.name}, ${words}` }), make("figcaption", {}, words));
    box.replaceChildren(
      make("h3", {}, `Carried over: look at ${first.name}`),
      make("p", { className: "small" }, `${carried.marks.length} to look at; the lines cross at the mark. What is wrong, move in the ${carried.side}.`),
      make("div", { className: "patches" }, patch("before", "where it was set"), patch("now", "where it is now")),
      make("div", { className: "group wrap" },
        make("button", { type: "button", onclick: () => app.confirmCarried() }, "It is right (K)"),
        make("button", { type: "button", onclick: () => app.change(a.confirmCarried(app.view, null)) }, "All are right")),
    );
  }

  selected() {
    const box = $("selected"), { app } = this, { selection } = app;
    // What does not change is left alone, so that nobody's typing is disturbed.
    const looks = JSON.stringify([app.view, selection, selection?.kind === "region" ? [a.viewOf(app.state(), app.view)?.regions, a.names(app.state(), app.view)] : [a.landmarksOf(app.state(), app.view), a.singlesOf(app.state(), app.view)].flat().find((l) => l.name === selection?.name), app.fit()?.landmarks?.find((l) => l.name === selection?.name), app.offer, app.picked, app.wanted]);
    if (looks === this.looks) return;
    this.looks = looks;
    const content = !selection ? null : selection.kind === "region" ? this.selectedRegion(selection.name) : selection.kind === "mark" ? this.selectedMark(selection.name) : null;
    box.hidden = !content;
    box.replaceChildren(...(content ?? []));
  }

  selectedMark(name) {
    const { app } = this, state = app.state();
    const whole = a.landmarksOf(state, app.view).find((l) => l.name === name);
    const single = a.singlesOf(state, app.view).find((l) => l.name === name);
    const of = whole ?? single;
    if (!of) return null;
    const fit = app.fit()?.landmarks?.find((l) => l.name === name);
    const rows = [make("h3", { textContent: whole ? "Landmark" : "Mark without a partner" })];
    const rename = (to) => { if (to && to !== name) app.rename(name, to); };
    const enter = (e) => { if (e.key === "Enter") { e.target.blur(); app.toPartner(name); e.preventDefault(); } };
    rows.push(make("label", { className: "pair" }, "name", this.field("mark-name", name, rename, { id: "mark-name", maxLength: 200, onkeydown: enter, list: "other-names" })));
    const isAlone = app.isAlone(), isOnModel = app.isOnModel();
    for (const side of isAlone ? ["reference"] : ["render", "reference"]) {
      if (!of[side]) { rows.push(make("p", { className: "small", textContent: `Not marked in the ${side} yet.` })); continue; }
      const put = (k) => (text) => { const p = [...of[side]]; p[k] = Number(text); if (Number.isFinite(p[k])) app.change(a.move(app.view, name, side, p)); };
      const number = (k) => this.field(`mark-${side}-${k}`, String(of[side][k]), put(k), { type: "number", step: 0.1, "aria-label": `${side} ${"xy"[k]}, pixels` });
      rows.push(make("div", { className: "xy" }, make("span", { className: `${side}-word`, textContent: side }), number(0), number(1)));
    }
    const place = app.told("places", name);
    if (place) rows.push(make("p", { className: "small", textContent: place }));
    if (a.hasModel(state)) rows.push(...this.onModel(of));
    if (whole && !isAlone) rows.push(this.on(whole), this.sigma(whole));
    if (fit?.text) rows.push(make("p", { className: "finding", textContent: fit.text }));
    if (fit?.smallest_detectable_px) rows.push(make("p", { className: "small", textContent: `An error of this mark below ${fit.smallest_detectable_px.toFixed(1)} px would not be noticed.` }));
    rows.push(make("div", { className: "group wrap" },
      isAlone && !isOnModel ? make("button", { type: "button", textContent: "Places count from here", disabled: a.viewOf(state, app.view).origin === name, onclick: () => app.change(a.setViewKey(app.view, "origin", name, `Places count from ${name}`)) }) : make("button", { type: "button", textContent: of.use === "check" ? "Make it datum" : "Make it check", onclick: () => app.change(a.setUse(app.view, name, of.use === "check" ? "datum" : "check")) }),
      whole && !isAlone ? make("button", { type: "button", textContent: "Refine…", title: of.on === "centre" ? "Offers the middle of the round thing in both images" : "Offers a better place by correlating both images", onclick: () => app.refine(name) }) : null,
      make("button", { type: "button", textContent: "Remove", onclick: () => app.erase() })));
    if (app.offer?.name === name) rows.push(...this.offer(app.offer));
    return rows;
  }

  /** Its place on the model: shown, cleared, or what to do for one. */
  onModel(of) {
    const { app } = this, { picked } = app, part = of.part ?? of.on_part;
    if (!of.model_mm) return [make("p", { className: "small", textContent: app.isOnModel() || app.wanted === "onmodel" || app.wanted === "model" ? "No place on the model yet: click it on the drawn model." : "No place on the model yet: choose \u201creference and model\u201d under Shown, and click it there." })];
    const isOfPick = picked?.name === of.name && String(picked.place) === String(of.model_mm);
    return [
      make("div", { className: "place", title: "Place on the model, millimetres along the axes of its file" },
        make("span", { className: "render-word", textContent: "model" }), make("span", { id: "mark-place", textContent: of.model_mm.map((v) => String(Math.round(v * 1000) / 1000).replace("-", "\u2212")).join(", ") + " mm" }),
        make("button", { type: "button", textContent: "Clear", title: "This mark has no place on the model", onclick: () => app.change(a.displace(app.view, of.name)) })),
      make("p", { className: "small", id: "mark-part", textContent: isOfPick ? `${app.pickedWords(picked)[0].toUpperCase()}${app.pickedWords(picked).slice(1)}.` : part ? `On the ${part}.` : "" },),
      ...(isOfPick && picked.kind !== "surface" ? [make("div", { className: "group" }, make("button", { type: "button", textContent: `Not the ${picked.kind}: as clicked`, onclick: () => app.pickPlain() }))] : []),
    ];
  }

  /** What the mark is set on. */
  on(of) {
    const option = ([value, text]) => make("option", { value, textContent: text, selected: value === (of.on ?? "") });
    return make("label", { className: "pair" }, "set on", make("select", {
      "data-key": "mark-on", onchange: (e) => this.app.change(a.setOn(this.app.view, of.name, e.target.value)),
    }, ...[["", "what the render shows"], ...Object.entries(a.WORD_OF_ON)].map(option)));
  }

  /** How well it is marked in each image. */
  sigma(of) {
    const now = (side) => (typeof of.sigma_px === "number" ? of.sigma_px : of.sigma_px?.[side]) ?? "";
    const field = (side) => this.field(`sigma-${side}`, String(now(side)), (text) => this.app.change(a.setSigma(this.app.view, of.name, side, text ? Number(text) : undefined)), { type: "number", min: 0.001, step: "any", placeholder: side, "aria-label": `Deviation in the ${side}, pixels` });
    return make("div", { className: "xy", title: "How well this mark is set (standard deviation, px); empty: as the other marks of its image" }, make("span", {}, "± px"), field("render"), field("reference"));
  }

  offer(offer) {
    if (offer.text) return [make("p", { className: "finding", role: "alert", textContent: offer.text })];
    return [
      make("p", { className: "small", role: "status", textContent: offer.render
        ? `The middles of the round thing around both marks (the dashed crosses): the render's mark would move by ${offer.moved_px[0].toFixed(2)} px, the reference's by ${offer.moved_px[1].toFixed(2)} px.`
        : `Correlation ${offer.correlation.toFixed(2)}: the reference mark would move by ${offer.moved_px.toFixed(2)} px (the dashed cross). This helps rough clicks, 1.5 to 3 px off, and harms careful ones, below 1 px.` }),
      make("div", { className: "group" },
        make("button", { type: "button", textContent: "Take it", onclick: () => this.app.takeOffer() }),
        make("button", { type: "button", textContent: "Keep mine", onclick: () => this.app.dropOffer() })),
    ];
  }

  selectedRegion(name) {
    const { app } = this, state = app.state();
    const region = (a.viewOf(state, app.view)?.regions ?? []).find((r) => r.name === name);
    if (!region) return null;
    const marks = region.landmarks ?? [];
    // Its name typed, its marks come next.
    const enter = (e) => { if (e.key === "Enter") { e.preventDefault(); e.target.blur(); app.setTool("mark"); app.select(null); app.mainPane().canvas.focus({ preventScroll: true }); } };
    const tick = (of) => make("label", {}, make("input", {
      type: "checkbox", checked: marks.includes(of.name), "data-key": `tick-${of.name}`,
      onchange: (e) => app.change(a.setRegionMarks(app.view, name, e.target.checked ? [...marks, of.name] : marks.filter((n) => n !== of.name))),
    }), of.name);
    return [
      make("h3", { textContent: "Part" }),
      make("label", { className: "pair" }, "name", this.field("region-name", name, (to) => { if (to && to !== name) app.renameRegion(name, to); }, { id: "region-name", maxLength: 200, onkeydown: enter })),
      this.tolerance(region),
      make("div", { className: "group wrap" },
        make("button", { type: "button", textContent: "Point it turns about…", title: "The point about which the part is turned and scaled in CAD; else the middle of its outline", onclick: () => app.setTool("anchor") }),
        region.anchor ? make("button", { type: "button", textContent: "Middle again", onclick: () => app.change(a.setPartKey(app.view, name, "anchor", undefined)) }) : null),
      make("p", { className: "small", textContent: "Landmarks on this part:" }),
      make("div", { className: "ticks" }, ...[...a.landmarksOf(state, app.view)].sort((x, y) => marks.includes(y.name) - marks.includes(x.name)).map(tick)),
      make("div", { className: "group wrap" }, make("button", { type: "button", textContent: "Remove the part", onclick: () => app.erase() })),
    ];
  }

  /** A part's own tolerances. */
  tolerance(region) {
    const { app } = this;
    const field = (key, words) => this.field(`tolerance-${key}`, String(region.tolerance?.[key] ?? ""), (text) => app.change(a.setPartTolerance(app.view, region.name, key, text ? Number(text) : undefined)), { type: "number", min: 0.0001, step: "any", placeholder: words, "aria-label": `Tolerance, ${words}` });
    return make("div", { className: "xy", title: "Tolerance of this part; empty: the job's" }, make("span", {}, "tolerance"), field("proportion_percent", "%"), field("offset_mm", "mm"));
  }

  list(id, entries, row) {
    $(id).replaceChildren(...entries.map(row));
    $(`${id}-count`).textContent = `(${entries.length})`;
  }

  entries(id, words) {
    const { app } = this;
    this.list(id, a.viewOf(app.state(), app.view)?.[id] ?? [], (entry) => make("div", { className: "entry" },
      make("span", { textContent: words(entry) }),
      make("button", { type: "button", className: "remove", textContent: "×", "aria-label": `Remove ${words(entry)}`, onclick: () => app.change(a.eraseEntry(app.view, id, entry, `Remove ${words(entry)}`)) })));
  }

  regions() {
    const { app } = this;
    const outline = a.draftOf(app.state(), app.view).outline ?? [];
    this.list("regions", a.viewOf(app.state(), app.view)?.regions ?? [], (region) => make("div", { className: "entry" },
      make("button", { type: "button", className: "name", textContent: `${region.name}, ${(region.landmarks ?? []).length} landmarks`, "data-key": `region-${region.name}`, "aria-pressed": String(app.selection?.kind === "region" && app.selection.name === region.name), onclick: () => app.select({ kind: "region", name: region.name }, true) })));
    if (app.tool === "region" || outline.length) {
      $("regions").append(make("p", { className: "small", textContent: outline.length ? `An outline of ${outline.length} corners is begun.` : "Click the corners of a part in the render, the first one again to close." }));
    }
    if (outline.length) {
      $("regions").append(make("div", { className: "group" },
        make("button", { type: "button", textContent: "Close the outline", disabled: outline.length < 3, onclick: () => app.closeOutline() }),
        make("button", { type: "button", textContent: "Drop it", onclick: () => app.change(a.dropOutline(app.view)) })));
    }
  }

  known() {
    const end = (e) => (Array.isArray(e) ? `(${e.map(Math.round).join(", ")})` : e), unit = this.app.state().job.unit ?? "mm";
    const length = (k) => { const value = k.full_size ?? k.model; return `${typeof value === "number" ? `${value} ${unit}` : value ?? k.along} ${k.full_size !== undefined ? "full size" : k.model !== undefined ? "on the model" : "runs"}`; };
    this.entries("known", (k) => `${end(k.from)} – ${end(k.to)}: ${length(k)} (${k.in})`);
    const begun = a.draftOf(this.app.state(), this.app.view).length, both = begun?.points?.length === 2, form = $("known-form").elements;
    $("known-points").hidden = !both;
    for (const name of ["from", "to", "side"]) form[name].disabled = both;
    if (both) form.side.value = begun.side;
  }

  symmetry() {
    const { app } = this, pairs = a.viewOf(app.state(), app.view)?.symmetry?.pairs ?? [];
    this.list("symmetry", pairs.map((pair, index) => ({ pair, index })), ({ pair, index }) => make("div", { className: "entry" },
      make("span", { textContent: pair.join(" – ") }),
      make("button", { type: "button", className: "remove", textContent: "×", "aria-label": `Remove the pair ${pair.join(" and ")}`, onclick: () => app.change(a.erasePair(app.view, index)) })));
  }
  /** A figure behind its name, where there is one. */
  told(list, name) { const words = this.app.told(list, name); return words ? `: ${words}` : ""; }
  spans() { this.entries("spans", (s) => `${s.name}, ${s.from} – ${s.to}${this.told("spans", s.name)}`); }
  angles() { this.entries("angles", (s) => `${s.name}, ${s.from} – ${s.to}${s.against ? ` against ${s.against.join(" – ")}` : ""}${this.told("angles", s.name)}`); }

  /** Lengths over the longest one, of a view without a render. */
  measured() {
    const shares = this.app.fit()?.measured?.proportions ?? [];
    $("measured").replaceChildren(...shares.map(([name, words]) => make("p", { className: "small", textContent: `${name}: ${words}` })));
  }

  job() {
    const { app } = this, state = app.state(), view = a.viewOf(state, app.view), form = $("job-form").elements;
    const put = (name, value) => { if (document.activeElement !== form[name]) form[name].value = value ?? ""; };
    put("title", state.job.title); put("scale", state.job.scale);
    put("registration", view?.registration ?? "similarity"); put("kind", view?.reference?.kind ?? "photo");
    put("aspect", view?.reference?.rectify?.aspect ?? form.aspect.value);
    put("render", view?.render?.image); put("reference", view?.reference?.image); put("mask", view?.reference?.mask);
    put("sigma_render", view?.render?.mark_sigma_px); put("sigma_reference", view?.reference?.mark_sigma_px);
    for (const key of ["proportion_percent", "offset_mm", "angle_deg"]) put(key, state.job.tolerance?.[key]);
    const lines = view?.reference?.rectify?.straight_lines ?? [];
    $("lines-count").textContent = lines.length ? `${lines.length} straight line${lines.length === 1 ? "" : "s"} tell how the lens bends` : "Edges that are straight in reality tell how the lens bends.";
    $("line-remove").disabled = !lines.length;
    $("line-remove").onclick = () => app.change(a.eraseStraightLine(app.view, lines.length - 1));
    $("rectify-off").disabled = !a.cornersOf(state, app.view).length;
    $("hides").textContent = app.fit()?.hides?.length ? `Cannot be seen then: ${app.fit().hides.join("; ")}.` : "";
  }

  doubts() {
    const fit = this.app.allFits(), list = [...(fit?.faults ?? []), ...(fit?.doubts ?? [])];
    $("doubts").replaceChildren(...list.map((text) => make("li", { textContent: text })));
    $("doubts-count").textContent = `(${list.length})`;
  }

  /** The names to choose from, and those of the other views to be offered for typing. */
  names() {
    const { app } = this, state = app.state(), own = a.landmarksOf(state, app.view).map((l) => l.name);
    for (const select of document.querySelectorAll("select[data-names]")) {
      const value = select.value, none = select.dataset.names;
      select.replaceChildren(...(none ? [make("option", { value: "", textContent: none })] : []), ...own.map((name) => make("option", { value: name, textContent: name })));
      if ([...select.options].some((o) => o.value === value)) select.value = value;
    }
    let list = $("other-names");
    if (!list) { list = make("datalist", { id: "other-names" }); document.body.append(list); }
    const elsewhere = new Set((state.job.views ?? []).flatMap((v) => (v.landmarks ?? []).map((l) => l.name)));
    list.replaceChildren(...[...elsewhere].filter((n) => !own.includes(n)).map((value) => make("option", { value })));
  }

  forms() {
    const { app } = this;
    const onSubmit = (id, read) => $(id).addEventListener("submit", (event) => {
      event.preventDefault();
      const form = event.target, action = read(Object.fromEntries(new FormData(form)));
      if (!action) return app.say("Choose two different landmarks.");
      app.change(action, () => form.querySelectorAll("input").forEach((i) => { i.value = ""; }));
    });
    const two = (v) => v.from && v.to && v.from !== v.to;
    onSubmit("known-form", (v) => {
      const begun = a.draftOf(app.state(), app.view).length, ofPoints = begun?.points?.length === 2;
      const side = ofPoints ? begun.side : v.side, [from, to] = ofPoints ? begun.points : [v.from, v.to];
      if (!ofPoints && !two(v)) return null;
      if (ofPoints) app.setTool("mark");
      return a.addKnown(app.view, { in: side, from, to, [side === "render" ? "model" : "full_size"]: a.length(v.length) }, ofPoints);
    });
    onSubmit("symmetry-form", (v) => two(v) && a.addPair(app.view, [v.from, v.to]));
    $("known-mark").addEventListener("click", () => app.setTool("length"));
    $("line-mark").addEventListener("click", () => app.setTool("line"));
    onSubmit("spans-form", (v) => two(v) && a.addEntry(app.view, "spans", { name: v.name.trim(), from: v.from, to: v.to }, `Span ${v.name.trim()}`));
    onSubmit("angles-form", (v) => two(v) && a.addEntry(app.view, "angles", { name: v.name.trim(), from: v.from, to: v.to, ...(v.against_from && v.against_to ? { against: [v.against_from, v.against_to] } : {}) }, `Angle ${v.name.trim()}`));
    $("job-form").addEventListener("submit", (event) => event.preventDefault());
    $("job-form").addEventListener("change", ({ target: { name, value } }) => {
      if (name === "title" || name === "scale") app.change(a.setJob(name, value.trim()));
      if (name === "registration") app.change(a.setView(app.view, name, value));
      if (name === "kind") app.change(a.setKind(app.view, value));
      if (name === "aspect" && value.trim()) app.change(a.setAspect(app.view, value.trim()));
      if (name === "render" || name === "reference") app.exchange(name, value.trim());
      if (name === "mask") app.change(a.setViewKey(app.view, "reference/mask", value.trim(), "Set the mask"));
      const number = value ? Number(value) : undefined;
      if (name === "sigma_render" || name === "sigma_reference") app.change(a.setViewKey(app.view, `${name.slice(6)}/mark_sigma_px`, number, "Set the deviation of marks"));
      if (["proportion_percent", "offset_mm", "angle_deg"].includes(name)) app.change(a.setTolerance(name, number));
    });
    $("rectify-off").addEventListener("click", () => app.change(a.rectifyOff(app.view)));
  }
}
