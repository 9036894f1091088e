// Begin and end of visits: each form becomes one entry in the tablet's queue, with or without network.
import { note } from "/static/queue.js";

const words = JSON.parse(document.getElementById("visit-words").textContent);
const told = document.getElementById("told");
const pending = new Map(); // id of the entry -> its section

function say(text, bad = false) {
  told.textContent = text;
  told.classList.toggle("bad", bad);
}

function dataOf(form) {
  const given = new FormData(form);
  const units = given.getAll("unit").filter(Boolean);
  if (new Set(units).size !== units.length) return null;
  const data = { visit: form.dataset.visit, chair: form.dataset.chair };
  if (form.dataset.kind === "visit.started") {
    data.visit_kind = form.dataset.visitKind;
    if (form.dataset.surgical) data.surgical = true;
    if (units.length) data.units = units;
    for (const name of ["product", "lot"]) {
      const typed = (given.get(name) ?? "").trim();
      if (typed) data[name] = typed;
    }
  } else {
    data.units = units;
    data.outlets = given.getAll("outlet");
    if (!data.outlets.length) delete data.outlets; // not said: any of them may have
  }
  return data;
}

addEventListener("submit", async (event) => {
  const form = event.target.closest("form.visit-form");
  if (!form) return;
  event.preventDefault();
  const data = dataOf(form);
  if (!data) return say(words.twice, true);
  const button = form.querySelector("button[type=submit]");
  button.disabled = true; // a second touch is no second visit
  try {
    const id = await note(form.dataset.kind, data);
    const section = form.closest("section");
    const text = (form.dataset.kind === "visit.started" ? words.begun : words.ended).replace("{chair}", form.dataset.chair);
    const noted = section.querySelector(".noted-of");
    noted.textContent = text;
    noted.hidden = false;
    form.hidden = true;
    pending.set(id, section);
    say(text);
  } catch (error) {
    button.disabled = false;
    say(String(error.message ?? error), true);
  }
});

document.addEventListener("kept", (event) => {
  if (!pending.delete(event.detail.id) || pending.size) return;
  location.reload(); // as the book has it now
});
document.addEventListener("refused", (event) => {
  if (!pending.has(event.detail.id)) return;
  pending.delete(event.detail.id);
  const [first] = event.detail.findings;
  say(words.refused.replace("{what}", first.what).replace("{mend}", first.mend), true);
});
