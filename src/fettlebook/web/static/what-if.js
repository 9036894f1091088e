// Plans again when a slider comes to rest, and shows the answer beside it. Without it, the button does the same.
const form = document.getElementById("trial");
const progress = document.getElementById("progress");
let latest = 0;

function query() {
  const fields = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (value && value !== "0") fields.append(name, value);
  if (!fields.get("hands")) fields.delete("hands_from");
  if (!fields.get("visit")) for (const name of ["moved", "chair"]) fields.delete(name);
  return fields.toString();
}

function spell(slider) {
  const output = form.querySelector(`output[for="${slider.id}"]`);
  const value = Number(slider.value);
  const text = `${value > 0 ? "+" : ""}${value}${output.dataset.unit ? ` ${output.dataset.unit}` : ""}`;
  output.textContent = text;
  slider.setAttribute("aria-valuetext", text);
}

async function ask() {
  const mine = ++latest;
  const address = `${form.getAttribute("action")}?${query()}`;
  history.replaceState(null, "", address);
  progress.textContent = form.dataset.planning;
  let page;
  try {
    page = new DOMParser().parseFromString(await (await fetch(address, { cache: "no-store" })).text(), "text/html");
  } catch {
    progress.textContent = document.body.dataset.noAnswer;
    return;
  }
  if (mine !== latest) return; // the slider has moved on
  const fresh = page.getElementById("result");
  const told = page.getElementById("progress");
  if (!fresh || !told) return;
  document.getElementById("result").replaceWith(fresh);
  for (const name of ["version", "address"]) progress.dataset[name] = told.dataset[name];
  progress.textContent = told.textContent;
}

for (const slider of form.querySelectorAll("input[type=range]")) {
  spell(slider);
  slider.addEventListener("input", () => spell(slider));
}
let rest;
form.addEventListener("change", () => {
  clearTimeout(rest);
  rest = setTimeout(ask, 250); // several steps of an arrow key are one question
});
