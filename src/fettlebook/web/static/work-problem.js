// A problem at a step: a short list, one touch each; where a reason is asked, a second touch.
import { fill, make, words } from "/static/work-draw.js";

const dialog = document.getElementById("problem");

/** Ask what it is, and hand the answer over: the kind of entry, what it says more than the step, and the reason in words. */
export function askProblem(step, act, answers) {
  const close = () => dialog.close();
  const finish = (kind, extra, why) => { close(); act(step, kind, extra, why); };
  const usable = step.where && (step.where.chair || step.where.machine);
  const typed = answers();
  const choices = [
    step.state === "running" && [words.break, words.break_note, () => finish("step.done", { outcome: "broken off" }, words.break)],
    step.attended && (step.readings || []).some((one) => one.required) && [words.unread, words.unread_note, () => finish("step.done", { outcome: "done", ...typed }, "")],
    step.kind === "step" && [words.skip, words.skip_note, () => reasons(words.skip, words.skip_reasons, (reason) => finish("duty.skipped", { reason }, reason))],
    usable && [fill(words.stop, { place: step.place }), words.stop_note, () => reasons(fill(words.stop, { place: step.place }), words.stop_reasons, (reason) => finish("subject.out_of_service", { reason }, reason))],
    usable && [words.ask, words.ask_note, () => finish("fault.reported", { fault: `F${crypto.randomUUID().slice(0, 8)}`, what: fill(words.please_look, { name: step.name }).slice(0, 500), stops_use: false }, words.ask)],
  ].filter(Boolean);
  show(`${words.what_problem} ${step.place}, ${step.name}`, choices);

  function reasons(title, given, then) {
    show(`${title}: ${words.why}`, given.map((reason) => [reason, "", () => then(reason)]));
  }

  function show(title, tiles) {
    dialog.replaceChildren(
      make("h2", { id: "problem-h" }, title),
      make("ul", { class: "tiles" }, ...tiles.map(([text, small, go]) => make("li", {}, make("button", { class: "tile", type: "button", onclick: go }, text, small ? make("small", {}, small) : "")))),
      make("button", { class: "button", type: "button", onclick: close }, words.close));
    if (!dialog.open) dialog.showModal();
    dialog.querySelector("button").focus();
  }
}
