// What is drawn over the pictures: outlines, corners, marks with what the registration leaves at them, offered marks.
import * as a from "./actions.js";
import * as d from "./drawing.js";
import { ellipseInRender } from "./laid.js";

/** How much longer than they are residuals are drawn: so that the datum marks' stay readable. */
function stretch(app, pane) {
  const lengths = (app.fit()?.landmarks ?? []).filter((l) => l.finding !== "wrong").map((l) => Math.hypot(...l.residual_px)).sort((x, y) => x - y);
  const typical = lengths[Math.floor(lengths.length * 0.8)] ?? 0;
  if (typical < 0.02) return 1;
  return [100, 50, 20, 10, 5, 2].find((k) => typical * k * pane.view.scale <= 40) ?? 1;
}

/** Whether a mark cannot be right. */
export const isOff = (fit) => fit?.finding === "wrong" || fit?.finding === "swapped";

/** Paints all that lies over the picture of a pane. */
export function paint(app, pane, c) {
  const { side } = pane, state = app.state(), view = a.viewOf(state, app.view);
  if (!view) return;
  const names = d.naming(c);
  if (side === "model") return onModel(app, pane, c, names);
  if (side === "reference") corners(app, pane, c, state);
  else regions(app, pane, c, state, view, names);
  const need = app.fit()?.needs?.[0];
  if (side !== "reference" && !app.offered() && need?.place && app.tool === "mark" && ["datum", "redundant", "spread"].includes(need.code)) d.ring(c, pane.toScreen(need.place), "best here");
  if (side === "over") both(app, pane, c, state, names);
  else one(app, pane, c, state, names);
  single(app, pane, c, state);
  lengths(app, pane, c, state, view);
  offered(app, pane, c);
  if (app.offer) for (const of of ["render", "reference"]) if (app.offer[of] && app.isSeen(pane, of)) d.cross(c, pane.toScreen(app.inPicture(pane, of, app.offer[of])), "#1d1d1b", 9);
}

/** The marks on the drawn model, and where the next one would help most. */
function onModel(app, pane, c, names) {
  const marks = app.onModel();
  pane.tellHidden(marks.map((l) => l.model_mm));
  for (const l of marks) {
    const at = pane.toScreen(app.place(`mark/${l.name}/model`, pane.project(l.model_mm))), selected = app.isSelected(l.name), wrong = isOff(app.fit()?.landmarks?.find((f) => f.name === l.name));
    if (pane.hides(l.model_mm) && app.moving?.key !== `mark/${l.name}/model`) {
      d.behind(c, at, { color: d.colour("model"), use: l.use, selected });
      if (selected) names.add(`${l.name} (behind the model)`, at, { must: true, color: d.colour("model") });
      continue;
    }
    d.mark(c, at, { color: d.colour("model"), use: l.use, selected, wrong, single: !l.reference, small: !selected });
    names.add(wrong ? `! ${l.name}` : l.name, at, { must: selected || wrong, crowded: marks.length > 12, color: wrong ? d.WRONG : d.colour("model") });
  }
  const best = app.fit()?.needs?.[0]?.on_model;
  if (best && app.tool === "mark") d.ring(c, pane.toScreen(pane.project(best)), "best here");
}

/** The marks of one image, with lines to where the other image puts them. */
function one(app, pane, c, state, names) {
  const { side } = pane, k = stretch(app, pane), fits = app.fit()?.landmarks ?? [], whole = a.landmarksOf(state, app.view);
  for (const l of whole) {
    if (!l[side]) continue;
    const key = `mark/${l.name}/${side}`, p = app.place(key, l[side]), at = pane.toScreen(p), fit = fits.find((f) => f.name === l.name);
    const wrong = isOff(fit), selected = app.isSelected(l.name);
    if (fit && app.moving?.key !== key) {
      const to = fit[`in_${side}`], f = wrong ? 1 : k;
      d.residual(c, at, pane.toScreen([p[0] + (to[0] - p[0]) * f, p[1] + (to[1] - p[1]) * f]), wrong);
    }
    d.mark(c, at, { color: d.colour(side), use: l.use, selected, wrong });
    names.add(wrong ? `! ${l.name}` : l.name, at, { must: selected || wrong, crowded: whole.length > 12 && pane.view.scale < 1, color: wrong ? d.WRONG : d.colour(side) });
  }
  if (fits.length && k > 1) d.notes(c, [`residuals drawn ${k} × as long`]);
}

/** The marks of both images where one lies over the other: what is between them is the residual. */
function both(app, pane, c, state, names) {
  const fits = app.fit()?.landmarks ?? [], whole = a.landmarksOf(state, app.view);
  for (const l of whole) {
    const [r, q] = ["render", "reference"].map((side) => pane.toScreen(app.inPicture(pane, side, app.place(`mark/${l.name}/${side}`, l[side]))));
    const fit = fits.find((f) => f.name === l.name), wrong = isOff(fit), selected = app.isSelected(l.name);
    d.between(c, r, q, wrong);
    d.mark(c, r, { color: d.colour("render"), use: l.use, selected, wrong, small: pane.view.scale < 1 });
    d.tick(c, q, d.colour("reference"), selected);
    names.add(wrong ? `! ${l.name}` : l.name, r, { must: selected || wrong, crowded: whole.length > 12 && pane.view.scale < 1, color: wrong ? d.WRONG : "#1d1d1b" });
  }
}

/** Marks without a partner, and where the partner of the selected one is expected. */
function single(app, pane, c, state) {
  for (const l of a.singlesOf(state, app.view)) {
    for (const side of ["render", "reference"]) {
      if (!l[side] || !app.isSeen(pane, side)) continue;
      const at = pane.toScreen(app.inPicture(pane, side, app.place(`mark/${l.name}/${side}`, l[side])));
      d.mark(c, at, { color: d.colour(side), use: l.use, single: true, selected: app.isSelected(l.name) });
      d.label(c, l.name, at[0] + 11, at[1] - 8, d.colour(side));
    }
  }
  const there = app.predictedIn(pane);
  if (there) ellipse(pane, c, there, app.missing(pane));
}

function ellipse(pane, c, there, side) {
  d.ellipse(c, pane.toScreen(there.place), there.half_axes.map((x) => x * pane.view.scale), there.turned_deg, d.colour(side));
}

/** The mark that is offered just now. */
function offered(app, pane, c) {
  const offer = app.offered();
  if (!offer || app.tool !== "mark") return;
  if (pane.side !== "reference" && offer.render) {
    const at = pane.toScreen(offer.render);
    d.ring(c, at, offer.name, app.OFFER_REACH);
    d.mark(c, at, { color: d.colour("render"), use: offer.use, single: true });
  }
  const there = offer.reference;
  if (!there || !app.isSeen(pane, "reference")) return;
  const map = app.fit()?.map;
  if (pane.side === "reference") { ellipse(pane, c, there, "reference"); if (offer.model_mm) d.ring(c, pane.toScreen(there.place), offer.name, app.OFFER_REACH); }
  else if (map) { const seen = ellipseInRender(map, there); ellipse(pane, c, seen, "reference"); d.tick(c, pane.toScreen(seen.place), d.colour("reference"), true); }
}

/** Known lengths between points that are no landmarks, straight lines, and what is begun of both. */
function lengths(app, pane, c, state, view) {
  const draft = a.draftOf(state, app.view), at = (side, p) => pane.toScreen(app.inPicture(pane, side, p));
  for (const known of view.known ?? []) {
    const ends = [known.from, known.to];
    if (!ends.every(Array.isArray) || !app.isSeen(pane, known.in)) continue;
    d.outline(c, ends.map((p) => at(known.in, p)), { color: d.colour(known.in), name: String(known.full_size ?? known.model ?? ""), dash: [2, 3] });
  }
  const straight = (view.reference?.rectify?.straight_lines ?? []).map((points) => ({ side: "reference", points }));
  for (const of of [...(app.tool === "line" ? straight : []), draft.length, draft.line]) {
    if (!of?.points || !app.isSeen(pane, of.side)) continue;
    const points = of.points.map((p) => at(of.side, p));
    d.outline(c, points, { color: d.colour(of.side) });
    points.forEach((p) => d.handle(c, p, false));
  }
}

function regions(app, pane, c, state, view, names) {
  for (const r of view.regions ?? []) {
    const selected = app.selection?.kind === "region" && app.selection.name === r.name;
    const points = r.outline.map((p, i) => pane.toScreen(selected ? app.place(`region/${i}`, p) : p));
    d.outline(c, points, { color: "#1d1d1b", closed: true, selected: selected || app.part === r.name, dash: selected ? [] : [5, 3] });
    if (app.tool === "region" || selected || app.part === r.name) names.add(r.name, [points[0][0] - 3, points[0][1] + 1], { must: selected || app.part === r.name, color: "#1d1d1b" });
    if (selected && r.anchor) { const at = pane.toScreen(r.anchor); d.cross(c, at, "#1d1d1b", 8); names.add("turns about", at, { must: true, color: "#1d1d1b" }); }
    if (selected && app.tool === "region") for (const h of app.handles(pane)) h.between ? d.knob(c, pane.toScreen(h.point)) : d.handle(c, pane.toScreen(app.place(h.key, h.point)), app.selection.corner === Number(h.key.split("/")[1]));
  }
  const draft = a.draftOf(state, app.view).outline ?? [];
  d.outline(c, draft.map((p) => pane.toScreen(p)), { color: d.colour("render"), closed: false, selected: true });
  draft.forEach((p) => d.handle(c, pane.toScreen(p), false));
}

function corners(app, pane, c, state) {
  const list = a.cornersOf(state, app.view).map((p, i) => app.place(`corner/${i}`, p)).map((p) => pane.toScreen(p));
  d.outline(c, list, { color: "#1d1d1b", closed: list.length === 4, dash: [8, 4] });
  if (app.tool === "corners") list.forEach((p, i) => d.handle(c, p, app.selection?.kind === "corner" && app.selection.index === i, CORNERS[i]));
}
export const CORNERS = ["top left", "top right", "bottom right", "bottom left"];
