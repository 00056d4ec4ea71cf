// Changes of the job. Each action is { label, make(state) }: `make` gives the edits on a state { job, draft }, by names,
// so that it can be made again on a newer state; null where it has nothing to do any more.

export const clone = (value) => structuredClone(value);
const part = (text) => String(text).replace(/~/g, "~0").replace(/\//g, "~1");
const set = (at, value) => ({ op: "set", at, value });
const remove = (at) => ({ op: "remove", at });
export const round = (value) => Math.round(value * 100) / 100;
const rounded = ([x, y]) => [round(x), round(y)];
export const other = (side) => (side === "render" ? "reference" : "render");

/** Makes an edit on a state, as the program does. */
export function apply(state, edit) {
  const keys = edit.at.split("/").slice(1).map((k) => k.replace(/~1/g, "/").replace(/~0/g, "~"));
  const last = keys.pop();
  let place = state;
  for (const key of keys) place = place?.[key];
  if (place === undefined || place === null) return;
  if (edit.op === "remove") { Array.isArray(place) ? place.splice(Number(last), 1) : delete place[last]; }
  else if (Array.isArray(place) && last === "-") place.push(clone(edit.value));
  else place[last] = clone(edit.value);
}

export const viewIndex = (state, name) => (state.job.views ?? []).findIndex((v) => v.name === name);
export const viewOf = (state, name) => (state.job.views ?? [])[viewIndex(state, name)];
export const draftOf = (state, name) => state.draft[name] ?? {};
export const landmarksOf = (state, name) => viewOf(state, name)?.landmarks ?? [];
/** Whether a view has no picture of a render: its reference is marked by itself, or on the drawn model. */
export const isAlone = (state, name) => { const view = viewOf(state, name); return Boolean(view) && view.render?.image === undefined; };
/** Whether it has no render, not even a drawn one: nothing is compared. */
export const isBare = (state, name) => viewOf(state, name)?.render === undefined;
export const hasModel = (state) => Boolean(state.job.model);
/** Whether its reference is marked on the drawn model. */
export const isOnModel = (state, name) => hasModel(state) && isAlone(state, name);
export const singlesOf = (state, name) => draftOf(state, name).landmarks ?? [];

/** All names that are taken in a view. */
export const names = (state, view) => [...landmarksOf(state, view), ...singlesOf(state, view)].map((l) => l.name);

export function freeName(taken, word) {
  let number = 1;
  while (taken.includes(`${word} ${number}`)) number += 1;
  return `${word} ${number}`;
}

/** Edits that change one key of the view's draft. */
const draft = (state, view, key, value) => drafts(state, view, { [key]: value });

/** The same of several. */
function drafts(state, view, changes) {
  const rest = { ...draftOf(state, view) };
  for (const [key, value] of Object.entries(changes)) if (value === undefined || value.length === 0) delete rest[key]; else rest[key] = value;
  const at = `/draft/${part(view)}`;
  if (Object.keys(rest).length) return [set(at, rest)];
  return state.draft[view] === undefined ? [] : [remove(at)];
}

/** Sets the first mark of a landmark; an `offer` tells what it is on and the part that it belongs to. */
export const begin = (view, name, use, side, point, offer) => ({
  label: `Mark ${name} in the ${side}`,
  make: (state) => names(state, view).includes(name) ? null
    : draft(state, view, "landmarks", [...singlesOf(state, view), { name, use, [side]: rounded(point), ...kindOf(offer), ...(offer?.part ? { part: offer.part } : {}) }]),
});
/** A landmark of a view without a render. */
export const markAlone = (view, name, point, use) => ({
  label: `Mark ${name}`,
  make: (state) => names(state, view).includes(name) ? null : [set(`/job/views/${viewIndex(state, view)}/landmarks/-`, { name, reference: rounded(point), ...(use ? { use } : {}) })],
});
const kindOf = (offer) => (offer?.on && offer.on !== "corner" ? { on: offer.on } : {});

/** Edits that give a landmark to a part. */
function belongs(state, view, part, name) {
  const index = regionAt(state, view, part);
  if (index < 0) return [];
  return [set(`/job/views/${viewIndex(state, view)}/regions/${index}/landmarks`, [...(viewOf(state, view).regions[index].landmarks ?? []), name])];
}

/** An offered mark with both its places. */
export const takeOffer = (view, offer, render, reference) => ({
  label: `Mark ${offer.name}, as offered`,
  make(state) {
    if (names(state, view).includes(offer.name)) return null;
    const whole = { name: offer.name, render: rounded(render), reference: rounded(reference), use: offer.use, ...kindOf(offer), ...placeOf(offer, offer.part) };
    return [set(`/job/views/${viewIndex(state, view)}/landmarks/-`, whole), ...belongs(state, view, offer.use === "check" ? offer.part : null, offer.name)];
  },
});

/** A place that is not to be offered again. */
export const skipOffer = (view, offer) => ({
  label: `Do not offer ${offer.name}`,
  make: (state) => offer.model_mm ? draft(state, view, "skipped_names", [...(draftOf(state, view).skipped_names ?? []), offer.name])
    : draft(state, view, "skipped", [...(draftOf(state, view).skipped ?? []), rounded(offer.render)]),
});

// --- places on the model ---

/** The keys of a landmark that lies at a place on the model, where it does. */
const placeOf = ({ model_mm, model_sigma_mm }, part) => (model_mm ? { model_mm, ...(model_sigma_mm ? { model_sigma_mm } : {}), ...(part ? { part } : {}) } : {});
/** The landmark of another view at a place on the model: that of a second photo is the same point, and has its name and its use. */
const elsewhere = (state, view, place) => (state.job.views ?? []).filter((v) => v.name !== view).flatMap((v) => v.landmarks ?? []).find((l) => l.model_mm?.every((v, k) => Math.abs(v - place[k]) <= 1e-3));
/** What a mark at a place is for: what another photo has it for, else the job may say which parts are right. */
function useAt(state, view, { place, part }, use) {
  const datum = state.job.model?.datum ?? [], known = elsewhere(state, view, place);
  return known ? known.use ?? (datum.length && known.part && !datum.includes(known.part) ? "check" : "datum") : !datum.length || !part ? use : datum.includes(part) ? "datum" : "check";
}
/** The name of a mark at a place: one of the page's own gives way to that of the same point in another photo, else to one after the part, which no other point has. */
export function namedAt(state, view, name, { place, part }) {
  if (!/^mark \d+$/.test(name)) return name;
  const known = elsewhere(state, view, place)?.name;
  if (known && !names(state, view).includes(known)) return known;
  const all = (state.job.views ?? []).flatMap((v) => names(state, v.name));
  return part ? freeName(all, part) : name;
}

/** The half of a landmark that is a place on the model: { place, part }. */
export const beginOnModel = (view, name, use, picked) => ({
  label: `Mark ${name} on the model`,
  make: (state) => names(state, view).includes(name) ? null
    : draft(state, view, "landmarks", [...singlesOf(state, view), { name, use: useAt(state, view, picked, use), model_mm: picked.place, on_part: picked.part }]),
});

/** The other half: a mark in the reference, or a place on the model. */
export const completeOnModel = (view, from, { reference, picked }) => ({
  label: `Mark ${from} ${picked ? "on the model" : "in the reference"}`,
  make(state) {
    const single = singlesOf(state, view).find((l) => l.name === from);
    if (!single) return null;
    const mark = reference ? rounded(reference) : single.reference, at = picked ?? { place: single.model_mm, part: single.on_part };
    if (!mark || !at.place) return null;
    const whole = { ...single.kept, name: namedAt(state, view, from, at), reference: mark, use: picked ? useAt(state, view, at, single.use) : single.use, ...kindOf(single), ...placeOf({ ...single, model_mm: at.place }, at.part) };
    return [set(`/job/views/${viewIndex(state, view)}/landmarks/-`, whole), ...drafts(state, view, { landmarks: singlesOf(state, view).filter((l) => l !== single) })];
  },
});

/** The place on the model of a mark that is there. */
export const place = (view, name, picked) => ({
  label: `Place of ${name} on the model`,
  make(state) {
    const index = landmarksOf(state, view).findIndex((l) => l.name === name), single = singlesOf(state, view).find((l) => l.name === name);
    if (index < 0) return single ? draft(state, view, "landmarks", singlesOf(state, view).map((l) => (l === single ? { ...l, model_mm: picked.place, on_part: picked.part } : l))) : null;
    const at = `/job/views/${viewIndex(state, view)}/landmarks/${index}`, own = landmarksOf(state, view)[index];
    if (String(own.model_mm) === String(picked.place) && own.part === picked.part) return null;
    const to = isAlone(state, view) ? namedAt(state, view, name, picked) : name;
    return [...(to === name ? [] : rename(view, name, to).make(state) ?? []), set(`${at}/model_mm`, picked.place), ...(picked.part ? [set(`${at}/part`, picked.part)] : [])];
  },
});

/** A mark has no place on the model any more; where the render is drawn it is no landmark without one, and waits for another. */
export const displace = (view, name) => ({
  label: `No place of ${name} on the model`,
  make(state) {
    const without = ({ model_mm: _, model_sigma_mm: __, part: ___, on_part: ____, ...rest }) => rest;
    const index = landmarksOf(state, view).findIndex((l) => l.name === name), own = landmarksOf(state, view)[index];
    if (!own) return draft(state, view, "landmarks", singlesOf(state, view).map((l) => (l.name === name ? without(l) : l)).filter((l) => l.reference || l.render));
    if (!own.model_mm) return null;
    if (viewOf(state, view).render?.drawn) {
      const { reference, use, name: _, ...kept } = without(own);
      return [...removal(state, view, (n) => n === name), ...draft(state, view, "landmarks", [...singlesOf(state, view), { name, use: use ?? "datum", reference, kept }])];
    }
    const at = `/job/views/${viewIndex(state, view)}/landmarks/${index}`;
    return ["model_mm", "model_sigma_mm", "part"].filter((key) => own[key] !== undefined).map((key) => remove(`${at}/${key}`));
  },
});

/** A landmark of another photo, marked in this one. */
export const takePredicted = (view, offer, reference) => ({
  label: `Mark ${offer.name}`,
  make: (state) => names(state, view).includes(offer.name) ? null
    : [set(`/job/views/${viewIndex(state, view)}/landmarks/-`, { name: offer.name, reference: rounded(reference), use: offer.use, ...kindOf(offer), ...placeOf(offer, offer.part) })],
});

/** Sets the second mark of a landmark, which belongs to `part` where that is told. */
export const complete = (view, name, side, point, part) => ({
  label: `Mark ${name} in the ${side}`,
  make(state) {
    const single = singlesOf(state, view).find((l) => l.name === name);
    if (!single || single[side]) return null;
    const whole = { ...single.kept, name, render: single.render, reference: single.reference, use: single.use, ...kindOf(single), ...placeOf(single, single.on_part) };
    whole[side] = rounded(point);
    const at = `/job/views/${viewIndex(state, view)}`;
    // What speaks of marks that all have their partners now comes back.
    const waiting = draftOf(state, view).waiting ?? [], marked = [name, ...landmarksOf(state, view).map((l) => l.name)];
    const isReady = ({ entry }) => namesIn(entry).every((n) => marked.includes(n));
    const edits = [set(`${at}/landmarks/-`, whole), ...drafts(state, view, { landmarks: singlesOf(state, view).filter((l) => l !== single), waiting: waiting.filter((w) => !isReady(w)) })];
    for (const key of WAITING) {
      const now = viewOf(state, view)[key], back = waiting.filter((w) => w.key === key && isReady(w)).map((w) => w.entry);
      if (back.length) edits.push(set(`${at}/${key}`, LISTS.includes(key) ? [...(now ?? []), ...back] : back[0]));
    }
    if (whole.use !== "check") return edits;
    // A check mark inside an outline belongs to that part, the smallest one, where no other part is told.
    return [...edits, ...belongs(state, view, part || single.part || around(viewOf(state, view).regions ?? [], whole.render), name)];
  },
});

export const move = (view, name, side, point) => ({
  label: `Move ${name} in the ${side}`,
  make(state) {
    const index = landmarksOf(state, view).findIndex((l) => l.name === name);
    if (index >= 0) return [set(`/job/views/${viewIndex(state, view)}/landmarks/${index}/${side}`, rounded(point))];
    const single = singlesOf(state, view).findIndex((l) => l.name === name && l[side]);
    return single < 0 ? null : [set(`/draft/${part(view)}/landmarks/${single}/${side}`, rounded(point))];
  },
});

/** Both marks of a landmark at once: one step, one undo. */
export const moveBoth = (view, name, offer) => ({
  label: `Move ${name} in both images`,
  make(state) {
    const index = landmarksOf(state, view).findIndex((l) => l.name === name);
    return index < 0 ? null : ["render", "reference"].map((side) => set(`/job/views/${viewIndex(state, view)}/landmarks/${index}/${side}`, rounded(offer[side])));
  },
});

/** What a landmark is set on; "" leaves it to the program. */
export const setOn = (view, name, on) => ({
  label: on ? `${name} is on ${WORD_OF_ON[on]}` : `${name} is on what the render shows`,
  make(state) {
    const index = landmarksOf(state, view).findIndex((l) => l.name === name);
    if (index < 0) return null;
    const at = `/job/views/${viewIndex(state, view)}/landmarks/${index}/on`;
    return on ? [set(at, on)] : landmarksOf(state, view)[index].on ? [remove(at)] : null;
  },
});
export const WORD_OF_ON = { corner: "a corner", outline: "the outermost point of an outline", centre: "the centre of a round" };

export const setUse = (view, name, use) => ({
  label: `${name}: ${use}`,
  make(state) {
    const index = landmarksOf(state, view).findIndex((l) => l.name === name);
    if (index >= 0) return [set(`/job/views/${viewIndex(state, view)}/landmarks/${index}/use`, use)];
    const single = singlesOf(state, view).findIndex((l) => l.name === name);
    return single < 0 ? null : [set(`/draft/${part(view)}/landmarks/${single}/use`, use)];
  },
});

export const rename = (view, from, to) => ({
  label: `Rename ${from} to ${to}`,
  make(state) {
    if (names(state, view).includes(to)) return null;
    const single = singlesOf(state, view).findIndex((l) => l.name === from);
    const renamed = (entry) => JSON.parse(JSON.stringify(entry), (_, value) => (value === from ? to : value));
    if (single >= 0) {
      const landmarks = singlesOf(state, view).map((l, i) => (i === single ? { ...l, name: to } : l));
      return drafts(state, view, { landmarks, waiting: (draftOf(state, view).waiting ?? []).map((w) => (namesIn(w.entry).includes(from) ? { ...w, entry: renamed(w.entry) } : w)) });
    }
    const v = viewOf(state, view), at = `/job/views/${viewIndex(state, view)}`;
    const index = landmarksOf(state, view).findIndex((l) => l.name === from);
    if (index < 0) return null;
    const edits = [set(`${at}/landmarks/${index}/name`, to)];
    for (const list of ["known", "spans", "angles"]) (v[list] ?? []).forEach((entry, i) => {
      for (const end of ["from", "to"]) if (entry[end] === from) edits.push(set(`${at}/${list}/${i}/${end}`, to));
      (entry.against ?? []).forEach((name, k) => { if (name === from) edits.push(set(`${at}/${list}/${i}/against/${k}`, to)); });
    });
    if (v.origin === from) edits.push(set(`${at}/origin`, to));
    if (v.symmetry && namesIn(v.symmetry).includes(from)) edits.push(set(`${at}/symmetry`, renamed(v.symmetry)));
    (v.regions ?? []).forEach((region, i) => (region.landmarks ?? []).forEach((name, k) => {
      if (name === from) edits.push(set(`${at}/regions/${i}/landmarks/${k}`, to));
    }));
    return edits;
  },
});

const speaksOf = (entry, gone) => gone(entry.from) || gone(entry.to) || (entry.against ?? []).some(gone);

/** Takes landmarks away, and every measure that would be without them. */
function removal(state, view, gone) {
  const v = viewOf(state, view), at = `/job/views/${viewIndex(state, view)}`;
  if (!v) return [];
  const edits = [set(`${at}/landmarks`, landmarksOf(state, view).filter((l) => !gone(l.name)))];
  for (const list of ["known", "spans", "angles"]) {
    if ((v[list] ?? []).some((e) => speaksOf(e, gone))) edits.push(set(`${at}/${list}`, v[list].filter((e) => !speaksOf(e, gone))));
  }
  if (v.origin !== undefined && gone(v.origin)) edits.push(remove(`${at}/origin`));
  if (v.symmetry && namesIn(v.symmetry).some(gone)) {
    const pairs = (v.symmetry.pairs ?? []).filter((pair) => !pair.some(gone)), axis = (v.symmetry.axis ?? []).filter((n) => !gone(n));
    edits.push(pairs.length ? set(`${at}/symmetry`, { ...v.symmetry, pairs, ...(v.symmetry.axis ? { axis } : {}) }) : remove(`${at}/symmetry`));
  }
  (v.regions ?? []).forEach((region, i) => {
    if ((region.landmarks ?? []).some(gone)) edits.push(set(`${at}/regions/${i}/landmarks`, region.landmarks.filter((n) => !gone(n))));
  });
  return edits;
}

export const erase = (view, name) => ({
  label: `Remove ${name}`,
  make(state) {
    const singles = singlesOf(state, view);
    if (singles.some((l) => l.name === name)) return drafts(state, view, { landmarks: singles.filter((l) => l.name !== name), waiting: (draftOf(state, view).waiting ?? []).filter((w) => !namesIn(w.entry).includes(name)) });
    return landmarksOf(state, view).some((l) => l.name === name) ? removal(state, view, (n) => n === name) : null;
  },
});

/** The marks of an image fit it as it is now. */
export const confirmImage = (view, side, markedOn) => ({
  label: `The marks fit the ${side}`,
  make: (state) => [set(`/job/views/${viewIndex(state, view)}/${side}/marked_on`, markedOn)],
});

/** The carried marks that nobody has looked at yet: { side, marks } or null. */
export function carriedOf(state, view) {
  const carried = draftOf(state, view).carried, names = landmarksOf(state, view).map((l) => l.name);
  const marks = (carried?.marks ?? []).filter((m) => names.includes(m.name));
  return marks.length ? { side: carried.side, marks } : null;
}

/** Marks that were carried over are right: that of one name, or all. */
export const confirmCarried = (view, name) => ({
  label: name === null ? "All carried marks are right" : `${name} was carried right`,
  make(state) {
    const carried = draftOf(state, view).carried, marks = (carried?.marks ?? []).filter((m) => name !== null && m.name !== name);
    return carried ? draft(state, view, "carried", marks.length ? { ...carried, marks } : undefined) : null;
  },
});

const isPlaceholder = (name) => String(name).startsWith("PLACEHOLDER");
export const hasPlaceholders = (state, view) => landmarksOf(state, view).some((l) => isPlaceholder(l.name));

export const erasePlaceholders = (view) => ({
  label: "Remove the placeholders",
  make(state) {
    const v = viewOf(state, view), at = `/job/views/${viewIndex(state, view)}`;
    const edits = removal(state, view, isPlaceholder);
    for (const list of ["spans", "angles"]) {
      if (v[list]) edits.push(set(`${at}/${list}`, v[list].filter((e) => !isPlaceholder(e.name) && !speaksOf(e, isPlaceholder))));
    }
    if (v.regions) {
      const own = v.regions.filter((r) => !isPlaceholder(r.name));
      edits.push(set(`${at}/regions`, own.map((r) => (r.landmarks ? { ...r, landmarks: r.landmarks.filter((n) => !isPlaceholder(n)) } : r))));
    }
    if (String(v.reference?.note).includes("are placeholders")) edits.push(remove(`${at}/reference/note`));
    if (v.reference?.source === "where the picture comes from") edits.push(remove(`${at}/reference/source`));
    return edits;
  },
});

export const addOutlineCorner = (view, point) => ({
  label: "Corner of an outline",
  make: (state) => draft(state, view, "outline", [...(draftOf(state, view).outline ?? []), rounded(point)]),
});
export const dropOutlineCorner = (view) => ({
  label: "Take back a corner",
  make: (state) => draftOf(state, view).outline ? draft(state, view, "outline", draftOf(state, view).outline.slice(0, -1)) : null,
});
export const dropOutline = (view) => ({ label: "Drop the outline", make: (state) => draft(state, view, "outline", []) });

export const closeOutline = (view, name) => ({
  label: `Draw the region ${name}`,
  make(state) {
    const outline = draftOf(state, view).outline ?? [];
    if (outline.length < 3) return null;
    const marks = landmarksOf(state, view).filter((l) => l.use === "check" && holds(outline, l.render)).map((l) => l.name);
    const v = viewOf(state, view), at = `/job/views/${viewIndex(state, view)}/regions`;
    const region = { name, outline, landmarks: marks };
    return [v.regions ? set(`${at}/-`, region) : set(at, [region]), ...draft(state, view, "outline", [])];
  },
});

const regionAt = (state, view, name) => (viewOf(state, view)?.regions ?? []).findIndex((r) => r.name === name);
const onRegion = (label, view, name, make) => ({
  label,
  make(state) {
    const index = regionAt(state, view, name);
    if (index < 0) return null;
    return make(`/job/views/${viewIndex(state, view)}/regions/${index}`, viewOf(state, view).regions[index], state);
  },
});
export const reshape = (view, name, outline) => onRegion(`Reshape ${name}`, view, name, (at) => [set(`${at}/outline`, outline.map(rounded))]);
export const renameRegion = (view, from, to) => onRegion(`Rename ${from} to ${to}`, view, from, (at, _, state) => regionAt(state, view, to) >= 0 ? null : [set(`${at}/name`, to)]);
export const setRegionMarks = (view, name, marks) => onRegion(`Landmarks of ${name}`, view, name, (at) => [set(`${at}/landmarks`, marks)]);
export const eraseRegion = (view, name) => onRegion(`Remove the region ${name}`, view, name, (at) => [remove(at)]);

export const addEntry = (view, list, entry, label) => ({
  label,
  make(state) {
    const at = `/job/views/${viewIndex(state, view)}/${list}`;
    return [viewOf(state, view)[list] ? set(`${at}/-`, entry) : set(at, [entry])];
  },
});
export const eraseEntry = (view, list, entry, label) => ({
  label,
  make(state) {
    const index = (viewOf(state, view)[list] ?? []).findIndex((e) => JSON.stringify(e) === JSON.stringify(entry));
    return index < 0 ? null : [remove(`/job/views/${viewIndex(state, view)}/${list}/${index}`)];
  },
});

export const setJob = (key, value) => ({ label: `Set the ${key}`, make: () => [set(`/job/${key}`, value)] });
export const setView = (view, key, value) => ({ label: `Set the ${key}`, make: (state) => [set(`/job/views/${viewIndex(state, view)}/${key}`, value)] });
export const setKind = (view, value) => ({ label: `The picture is a ${value}`, make: (state) => [set(`/job/views/${viewIndex(state, view)}/reference/kind`, value)] });

export const cornersOf = (state, view) => viewOf(state, view)?.reference?.rectify?.corners ?? draftOf(state, view).corners ?? [];
export const addScreenCorner = (view, point, aspect) => ({
  label: "Corner for rectification",
  make(state) {
    const corners = [...(draftOf(state, view).corners ?? []), rounded(point)];
    if (corners.length < 4) return draft(state, view, "corners", corners);
    return [set(`/job/views/${viewIndex(state, view)}/reference/rectify`, { ...viewOf(state, view)?.reference?.rectify, corners, ...(aspect ? { aspect } : {}) }), ...draft(state, view, "corners", [])];
  },
});
export const moveScreenCorner = (view, index, point) => ({
  label: `Move corner ${index + 1}`,
  make(state) {
    const at = viewOf(state, view)?.reference?.rectify ? `/job/views/${viewIndex(state, view)}/reference/rectify` : `/draft/${part(view)}`;
    return cornersOf(state, view)[index] ? [set(`${at}/corners/${index}`, rounded(point))] : null;
  },
});
export const setAspect = (view, aspect) => ({
  label: "Set the aspect",
  make: (state) => viewOf(state, view)?.reference?.rectify ? [set(`/job/views/${viewIndex(state, view)}/reference/rectify/aspect`, aspect)] : null,
});
/** A length as the job has it: a plain number is in the job's unit. */
export const length = (text) => (/^\d+([.,]\d+)?$/.test(text.trim()) ? Number(text.trim().replace(",", ".")) : text.trim());

/** One key of a view, of its region, or of the job's tolerance; an empty value takes it away. */
const put = (state, place, at, value) => (value === undefined || value === "" || (typeof value === "number" && Number.isNaN(value)) ? (place === undefined ? null : [remove(at)]) : [set(at, value)]);
export const setViewKey = (view, path, value, label) => ({
  label,
  make(state) {
    const keys = path.split("/"), v = viewOf(state, view);
    return put(state, keys.reduce((place, key) => place?.[key], v), `/job/views/${viewIndex(state, view)}/${path}`, value);
  },
});
export const setTolerance = (key, value) => ({
  label: "Set the tolerance",
  make: (state) => state.job.tolerance ? put(state, state.job.tolerance[key], `/job/tolerance/${key}`, value) : [set("/job/tolerance", { [key]: value })],
});
export const setPartKey = (view, name, key, value) => onRegion(`Set the ${key} of ${name}`, view, name, (at, region, state) => put(state, region[key], `${at}/${key}`, value));
export const setPartTolerance = (view, name, key, value) => onRegion(`Set the tolerance of ${name}`, view, name, (at, region, state) => region.tolerance ? put(state, region.tolerance[key], `${at}/tolerance/${key}`, value) : value === undefined ? null : [set(`${at}/tolerance`, { [key]: value })]);

/** How well a landmark is marked in one image, pixels (standard deviation); undefined: as its image's other marks. */
export const setSigma = (view, name, side, value) => ({
  label: `Deviation of ${name} in the ${side}`,
  make(state) {
    const index = landmarksOf(state, view).findIndex((l) => l.name === name), old = landmarksOf(state, view)[index]?.sigma_px;
    if (index < 0) return null;
    const each = typeof old === "number" ? { render: old, reference: old } : { ...old };
    if (value === undefined) delete each[side]; else each[side] = value;
    const at = `/job/views/${viewIndex(state, view)}/landmarks/${index}/sigma_px`;
    return Object.keys(each).length ? [set(at, each)] : old === undefined ? null : [remove(at)];
  },
});

/** Points of a line or a length that is begun; the side is kept with them. */
export const addPoint = (view, list, side, point) => ({
  label: "Point",
  make: (state) => { const d = draftOf(state, view)[list]; return draft(state, view, list, { side, points: [...(d?.side === side ? d.points : []), rounded(point)] }); },
});
export const dropPoint = (view, list) => ({
  label: "Take back a point",
  make(state) { const d = draftOf(state, view)[list]; return d ? draft(state, view, list, d.points.length > 1 ? { ...d, points: d.points.slice(0, -1) } : undefined) : null; },
});
export const addStraightLine = (view) => ({
  label: "Straight line",
  make(state) {
    const points = draftOf(state, view).line?.points ?? [], at = `/job/views/${viewIndex(state, view)}/reference/rectify`, rectify = viewOf(state, view)?.reference?.rectify;
    if (points.length < 3) return null;
    const edits = !rectify ? [set(at, { straight_lines: [points] })] : rectify.straight_lines ? [set(`${at}/straight_lines/-`, points)] : [set(`${at}/straight_lines`, [points])];
    return [...edits, ...draft(state, view, "line", undefined)];
  },
});
export const eraseStraightLine = (view, index) => ({
  label: "Remove a straight line",
  make(state) {
    const rectify = viewOf(state, view)?.reference?.rectify, at = `/job/views/${viewIndex(state, view)}/reference/rectify`;
    if (!rectify?.straight_lines?.[index]) return null;
    if (rectify.straight_lines.length > 1) return [remove(`${at}/straight_lines/${index}`)];
    return [Object.keys(rectify).length > 1 ? remove(`${at}/straight_lines`) : remove(at)];
  },
});
export const addKnown = (view, entry, isOfPoints) => ({
  label: "Known length",
  make: (state) => [...addEntry(view, "known", entry, "").make(state), ...(isOfPoints ? draft(state, view, "length", undefined) : [])],
});
export const addPair = (view, pair) => ({
  label: `Symmetric: ${pair.join(" and ")}`,
  make(state) {
    const at = `/job/views/${viewIndex(state, view)}/symmetry`;
    return [viewOf(state, view).symmetry ? set(`${at}/pairs/-`, pair) : set(at, { pairs: [pair] })];
  },
});
export const erasePair = (view, index) => ({
  label: "Remove a symmetric pair",
  make(state) {
    const at = `/job/views/${viewIndex(state, view)}/symmetry`, pairs = viewOf(state, view).symmetry?.pairs ?? [];
    return !pairs[index] ? null : [pairs.length > 1 ? remove(`${at}/pairs/${index}`) : remove(at)];
  },
});

// --- views ---

/** Keys of a view that wait for the marks that they speak of; lists entry by entry. */
const LISTS = ["known", "spans", "angles"], WAITING = [...LISTS, "symmetry", "origin"];
/** The landmarks that one of them speaks of. */
const namesIn = (entry) => (typeof entry === "string" ? [entry] : [entry.from, entry.to, ...(entry.against ?? []), ...(entry.pairs ?? []).flat(), ...(entry.axis ?? [])].filter((n) => typeof n === "string"));

/** Edits that give a view its first render: its marks wait for their partners there, and all that speaks of them with them. */
export const giveRender = (view, file) => ({
  label: `The render is ${file}`,
  make(state) {
    if (!isAlone(state, view)) return null;
    const at = `/job/views/${viewIndex(state, view)}`, wait = ({ name, use, reference, ...kept }) => ({ name, use: use ?? "datum", reference, kept });
    const v = viewOf(state, view), edits = [set(`${at}/render`, { image: file }), set(`${at}/landmarks`, [])], waiting = [...(draftOf(state, view).waiting ?? [])];
    for (const key of WAITING) {
      const entries = (LISTS.includes(key) ? v[key] ?? [] : [v[key] ?? []]).filter((entry) => namesIn(entry).length);
      if (entries.length) edits.push(LISTS.includes(key) ? set(`${at}/${key}`, v[key].filter((entry) => !entries.includes(entry))) : remove(`${at}/${key}`));
      waiting.push(...entries.map((entry) => ({ key, entry })));
    }
    return [...edits, ...drafts(state, view, { landmarks: [...singlesOf(state, view), ...landmarksOf(state, view).map(wait)], waiting })];
  },
});

/** Most photos that are taken together. */
const MOST_TOGETHER = 20;
const drawnViews = (state) => state.job.views.filter((v) => v.render?.drawn).map((v) => v.name);
/** Edits by which a new photo of the model is taken together with the others: then they tell depth too. */
function takeTogether(state, name) {
  const now = state.job.together, others = drawnViews(state);
  if ((now ?? others).length >= MOST_TOGETHER) return [];
  return now ? [set("/job/together/-", name)] : others.length ? [set("/job/together", [...others, name])] : [];
}
/** Edits after which nothing speaks of a view that goes. */
function forgetView(state, name) {
  const at = (state.job.together ?? []).indexOf(name), edits = [];
  if (at >= 0 && state.job.together.length > 1) edits.push(remove(`/job/together/${at}`));
  else if (at >= 0) edits.push(remove("/job/together"), ...(state.job.model?.symmetry ? [remove("/job/model/symmetry")] : []));
  state.job.views.forEach(({ reference }, i) => {
    if (reference?.interior?.same_as !== name) return;
    const interior = `/job/views/${i}/reference/interior`;
    edits.push(remove(Object.keys(reference.interior).length > 1 ? `${interior}/same_as` : interior));
  });
  return edits;
}

/** A new view of two images, or of a reference alone; `from` is one whose marks and parts are taken over. */
export const addView = (name, render, reference, from) => ({
  label: `Add the view ${name}`,
  make(state) {
    if (viewIndex(state, name) >= 0) return null;
    const old = from ? clone(viewOf(state, from)) : null;
    const image = (key, file) => { const { marked_on: _, ...rest } = old?.[key] ?? {}; return old && old[key].image === file ? old[key] : { ...rest, image: file }; };
    const view = { ...(old ?? { landmarks: [] }), name, reference: old ? image("reference", reference) : { image: reference, kind: "photo" } };
    // What lies on a render is of no use without one, and the other way round.
    if (old && Boolean(old.render?.image) !== Boolean(render)) return null;
    if (render) view.render = image("render", render);
    else if (hasModel(state) && drawnViews(state).length) view.render = { drawn: true };
    return [set("/job/views/-", view), ...(view.render?.drawn ? takeTogether(state, name) : [])];
  },
});
export const renameView = (from, to) => ({
  label: `Rename the view ${from} to ${to}`,
  make(state) {
    const index = viewIndex(state, from);
    if (index < 0 || viewIndex(state, to) >= 0) return null;
    const edits = [set(`/job/views/${index}/name`, to)];
    (state.job.together ?? []).forEach((name, i) => { if (name === from) edits.push(set(`/job/together/${i}`, to)); });
    (state.job.views ?? []).forEach((v, i) => { if (v.reference?.interior?.same_as === from) edits.push(set(`/job/views/${i}/reference/interior/same_as`, to)); });
    if (state.draft[from] !== undefined) edits.push(set(`/draft/${part(to)}`, state.draft[from]), remove(`/draft/${part(from)}`));
    return edits;
  },
});
export const eraseView = (name) => ({
  label: `Remove the view ${name}`,
  make(state) {
    const index = viewIndex(state, name);
    if (index < 0 || state.job.views.length < 2) return null;
    return [...forgetView(state, name), remove(`/job/views/${index}`), ...(state.draft[name] === undefined ? [] : [remove(`/draft/${part(name)}`)])];
  },
});

export const rectifyOff = (view) => ({
  label: "Do not rectify",
  make(state) {
    const edits = draft(state, view, "corners", []);
    if (viewOf(state, view)?.reference?.rectify) edits.push(remove(`/job/views/${viewIndex(state, view)}/reference/rectify`));
    return edits.length ? edits : null;
  },
});

/** The name of the smallest part around a point. */
function around(regions, point) {
  const area = ({ outline }) => Math.abs(outline.reduce((sum, [x, y], i) => { const [u, v] = outline[(i + 1) % outline.length]; return sum + x * v - u * y; }, 0));
  return regions.filter((r) => holds(r.outline, point)).sort((x, y) => area(x) - area(y))[0]?.name;
}

/** Whether a point lies inside an outline (even-odd rule). */
export function holds(outline, [x, y]) {
  let inside = false;
  outline.forEach(([ax, ay], i) => {
    const [bx, by] = outline[(i + 1) % outline.length];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
}
