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
export const singlesOf = (state, name) => draftOf(state, name).landmarks ?? [];

/** All names that are taken in a view. */
export const names = (state, view) => [...landmarksOf(state, view), ...singlesOf(state, view)].map((l) => l.name);

export function freeName(taken, word) {
  let number = 1;
  while (taken.includes(`${word} ${number}`)) number += 1;
  return `${word} ${number}`;
}

/** Edits that change one key of the view's draft. */
function draft(state, view, key, value) {
  const rest = { ...draftOf(state, view) };
  if (value === undefined || value.length === 0) delete rest[key]; else rest[key] = value;
  const at = `/draft/${part(view)}`;
  if (Object.keys(rest).length) return [set(at, rest)];
  return state.draft[view] === undefined ? [] : [remove(at)];
}

export const begin = (view, name, use, side, point) => ({
  label: `Mark ${name} in the ${side}`,
  make: (state) => names(state, view).includes(name) ? null
    : draft(state, view, "landmarks", [...singlesOf(state, view), { name, use, [side]: rounded(point) }]),
});

export const complete = (view, name, side, point) => ({
  label: `Mark ${name} in the ${side}`,
  make(state) {
    const single = singlesOf(state, view).find((l) => l.name === name);
    if (!single || single[side]) return null;
    const whole = { name, render: single.render, reference: single.reference, use: single.use };
    whole[side] = rounded(point);
    const at = `/job/views/${viewIndex(state, view)}`;
    const edits = [set(`${at}/landmarks/-`, whole), ...draft(state, view, "landmarks", singlesOf(state, view).filter((l) => l !== single))];
    // A check mark inside an outline belongs to that part as a rule; the ticks of the region say otherwise.
    const inside = (viewOf(state, view).regions ?? []).findIndex((r) => whole.use === "check" && holds(r.outline, whole.render));
    if (inside >= 0) edits.push(set(`${at}/regions/${inside}/landmarks`, [...(viewOf(state, view).regions[inside].landmarks ?? []), name]));
    return edits;
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
    if (single >= 0) return [set(`/draft/${part(view)}/landmarks/${single}/name`, to)];
    const v = viewOf(state, view), at = `/job/views/${viewIndex(state, view)}`;
    const index = landmarksOf(state, view).findIndex((l) => l.name === from);
    if (index < 0) return null;
    const edits = [set(`${at}/landmarks/${index}/name`, to)];
    for (const list of ["known", "spans", "angles"]) (v[list] ?? []).forEach((entry, i) => {
      for (const end of ["from", "to"]) if (entry[end] === from) edits.push(set(`${at}/${list}/${i}/${end}`, to));
      (entry.against ?? []).forEach((name, k) => { if (name === from) edits.push(set(`${at}/${list}/${i}/against/${k}`, to)); });
    });
    if (v.origin === from) edits.push(set(`${at}/origin`, to));
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
  (v.regions ?? []).forEach((region, i) => {
    if ((region.landmarks ?? []).some(gone)) edits.push(set(`${at}/regions/${i}/landmarks`, region.landmarks.filter((n) => !gone(n))));
  });
  return edits;
}

export const erase = (view, name) => ({
  label: `Remove ${name}`,
  make(state) {
    const singles = singlesOf(state, view);
    if (singles.some((l) => l.name === name)) return draft(state, view, "landmarks", singles.filter((l) => l.name !== name));
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
    return [set(`/job/views/${viewIndex(state, view)}/reference/rectify`, { ...viewOf(state, view)?.reference?.rectify, corners, aspect }), ...draft(state, view, "corners", [])];
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
export const rectifyOff = (view) => ({
  label: "Do not rectify",
  make(state) {
    const edits = draft(state, view, "corners", []);
    if (viewOf(state, view)?.reference?.rectify) edits.push(remove(`/job/views/${viewIndex(state, view)}/reference/rectify`));
    return edits.length ? edits : null;
  },
});

/** Whether a point lies inside an outline (even-odd rule). */
export function holds(outline, [x, y]) {
  let inside = false;
  outline.forEach(([ax, ay], i) => {
    const [bx, by] = outline[(i + 1) % outline.length];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
}
