// The dialog in which views are added, renamed and removed, and the image files to choose from.
import * as a from "./actions.js";
import { ask } from "./server.js";

const $ = (id) => document.getElementById(id);

/** Wires the dialog; `open` shows a view by its name. */
export function views(app, open) {
  const dialog = $("views"), names = () => (app.state().job.views ?? []).map((v) => v.name);
  const isFree = (name, own) => { const taken = names().includes(name) && name !== own; if (taken) app.say(`There is a view "${name}" already.`); return !taken; };
  $("views-button").addEventListener("click", () => {
    $("views-rename").elements.name.value = app.view;
    $("views-remove").disabled = names().length < 2;
    const view = a.viewOf(app.state(), app.view), form = $("views-add").elements;
    form.name.value = a.freeName(names(), "view");
    form.render.value = view?.render?.image ?? "";
    form.reference.value = view?.reference?.image ?? "";
    // The marks of a photo that is marked on the model are offered in the next one where its camera shows them.
    form.from.parentElement.hidden = app.isOnModel();
    if (app.isOnModel()) form.from.value = "";
    listImages();
    dialog.showModal();
  });
  $("job-panel").addEventListener("toggle", listImages);
  $("views-rename").addEventListener("submit", async (event) => {
    event.preventDefault();
    const from = app.view, to = event.target.elements.name.value.trim();
    if (!to || to === from || !isFree(to, from)) return;
    dialog.close();
    app.change(a.renameView(from, to));
    await app.idle();
    open(to);
  });
  $("views-remove").addEventListener("click", async () => {
    dialog.close();
    app.change(a.eraseView(app.view));
    await app.idle();
    open(names()[0]);
  });
  $("views-add").addEventListener("submit", async (event) => {
    event.preventDefault();
    const { name, render, reference, from } = Object.fromEntries(new FormData(event.target));
    if (!isFree(name.trim())) return;
    if (from && app.isAlone() === Boolean(render.trim())) return app.say("Marks are taken over to a view of the same kind: with a render, or without.");
    dialog.close();
    app.change(a.addView(name.trim(), render.trim(), reference.trim(), from ? app.view : ""));
    await app.idle();
    if (names().includes(name.trim())) open(name.trim());
  });
}

async function listImages() {
  const { ok, data } = await ask("api/images");
  if (ok) $("images").replaceChildren(...data.images.map((name) => new Option(name, name)));
}
