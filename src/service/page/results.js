// "Compare now": asks for the comparison, waits for it, shows its pictures.
import { address, ask } from "./server.js";

const PICTURES = [["difference", "parts by verdict, offsets as arrows"], ["overlay", "edges of both"], ["heat", "distance between the edges"], ["grid", "the deformation that takes the reference to the model"]];
const make = (name, text) => { const e = document.createElement(name); if (text !== undefined) e.textContent = text; return e; };
const state = document.getElementById("results-state"), body = document.getElementById("results-body"), report = document.getElementById("results-report");

/** Starts a comparison of the job as it is saved and follows it. */
export async function compare() {
  document.getElementById("results").showModal();
  body.replaceChildren();
  report.hidden = true;
  state.textContent = "Comparing…";
  let answer = await ask("api/compare", {});
  while (answer.ok && answer.data.state === "running") {
    const stages = Object.entries(answer.data.stages).map(([view, stage]) => `${view}: ${stage}`);
    state.textContent = `Comparing… ${stages.join(", ")}`;
    await new Promise((resolve) => setTimeout(resolve, 250));
    answer = await ask("api/compare");
  }
  if (!answer.ok) state.textContent = "The program does not answer; is it still running?";
  else if (answer.data.state === "failed") { state.textContent = "The job could not be compared."; body.append(make("p", answer.data.text)); }
  else show(answer.data);
}

/** What a reader must know of a job or a view, open where it puts the figures in question. */
function told(warnings, isOpen) {
  if (!warnings?.length) return [];
  const list = make("ul"), details = make("details");
  warnings.forEach((warning) => list.append(make("li", warning.text)));
  details.open = isOpen;
  details.append(make("summary", `Warnings (${warnings.length})`), list);
  return [details];
}

const SIGNS = { within: "✓", undecided: "?", out: "✕" };

/** A verdict with its sign, as everywhere. */
const signed = (verdict) => (verdict ? `${verdict} ${SIGNS[verdict] ?? ""}` : "no verdict");

function show({ found: { report: found, earlier_kept: isKept, notes }, number, folder }) {
  state.textContent = isKept ? `no view could be compared; the earlier results in ${folder} were kept` : `${signed(found.verdict)}; saved in ${folder}`;
  notes.forEach((note) => body.append(make("p", note)));
  report.href = address(`results/report.html?${number}`);
  report.hidden = isKept;
  body.append(...told(found.warnings, true));
  for (const view of found.views) {
    body.append(make("h3", `${view.name}: ${view.error ? view.error.text : signed(view.verdict)}`));
    if (view.distrusted) body.append(make("p", "Not to be trusted yet, for what the warnings say."));
    body.append(...told(view.warnings, view.distrusted || !view.corrections?.length));
    if (view.corrections?.length) {
      const list = make("ul");
      view.corrections.forEach((c) => list.append(make("li", `${c.about}: ${c.text}`)));
      body.append(list);
    }
    const row = make("div");
    row.className = "pictures";
    for (const [key, words] of PICTURES) {
      if (!view.files?.[key]) continue;
      const figure = make("figure"), image = make("img");
      image.src = address(`results/${view.files[key].split("/").map(encodeURIComponent).join("/")}?${number}`);
      image.alt = `${view.name}: ${words}`;
      figure.append(image, make("figcaption", words));
      row.append(figure);
    }
    body.append(row);
  }
}
