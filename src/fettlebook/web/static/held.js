// The page of what this tablet holds: entries that wait, and entries that were refused.
import { layAside, refused, sendAll, waiting } from "/static/queue.js";

const language = document.documentElement.lang;
const clock = new Intl.DateTimeFormat(language === "en" ? "en-GB" : language, { dateStyle: "medium", timeStyle: "medium", timeZone: document.body.dataset.zone });

function element(name, className, text) {
  const made = document.createElement(name);
  made.className = className;
  made.textContent = text; // never as markup: it was typed or scanned
  return made;
}

const words = JSON.parse(document.getElementById("held-words").textContent);

function shown({ kind, data, by, at }) {
  const about = data.step || data.duty;
  const parts = [data.chair || data.machine, words.names[about] || about, data.what, data.load, data.unit].filter(Boolean);
  const what = `${words.kinds[kind] || kind}: ${parts.join(", ")}`;
  return [element("p", "what", what[0].toUpperCase() + what.slice(1)), element("p", "when", `${words.people[by] || by}, ${clock.format(at)}`)];
}

async function show() {
  const [waits, aside] = [await waiting(), await refused()];
  const list = document.getElementById("waiting");
  list.replaceChildren(...waits.map(({ entry }) => {
    const item = document.createElement("li");
    item.append(...shown(entry));
    return item;
  }));
  document.getElementById("none-waits").hidden = waits.length > 0;
  document.getElementById("send").hidden = waits.length === 0;
  const refusals = document.getElementById("refused");
  refusals.replaceChildren(...aside.map(({ id, entry, findings }) => {
    const item = element("li", "refused", "");
    item.append(...shown(entry), ...findings.map((one) => element("p", "", `${one.what}. ${one.mend}`)));
    const button = element("button", "button", refusals.dataset.aside);
    button.type = "button";
    button.addEventListener("click", () => layAside(id));
    item.append(button);
    return item;
  }));
  document.getElementById("refused-part").hidden = aside.length === 0;
}

for (const name of ["noted", "kept", "refused", "sending"]) document.addEventListener(name, show);
document.getElementById("send").addEventListener("click", sendAll);
show();
