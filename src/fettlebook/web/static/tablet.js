// On every page: keeps the program in the tablet, and shows whether all that was noted is sent. Pages work without it.
import { standing } from "/static/queue.js";

const line = document.getElementById("sending");
const word = line.querySelector(".word");
const texts = line.dataset;

function say(text, n) {
  return text.replace("{n}", n);
}

function counted(name, n) {
  return say(n === 1 ? texts[`${name}One`] : texts[`${name}Many`], n);
}

/** Show how sending stands: a shape and a word. */
async function show() {
  const { state, waiting: count, refused } = await standing();
  let [shape, text] = ["full", texts.sent];
  if (refused) [shape, text] = ["broken", counted("refused", refused)];
  else if (state === "no network" || !navigator.onLine) [shape, text] = ["peak", count ? counted("cut", count) : texts.cutNone];
  else if (count && state === "sign in") [shape, text] = ["peak", counted("locked", count)];
  else if (count) [shape, text] = ["wait", counted("sending", count)];
  line.dataset.shape = shape;
  line.querySelector(".state").setAttribute("href", shape === "peak" && state === "sign in" ? `/sign-in?next=${encodeURIComponent(location.pathname)}` : "/held");
  if (word.textContent !== text) word.textContent = text;
  line.hidden = false;
}

function age() {
  if (!document.body.dataset.kept) return;
  const clock = new Intl.DateTimeFormat(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short", timeZone: document.body.dataset.zone });
  line.querySelector(".age").textContent = say(texts.kept, clock.format(Number(document.body.dataset.now)));
}

// A form that would lose what was typed in it is held back while there is no network.
addEventListener("submit", (event) => {
  if (navigator.onLine || event.target.method !== "post") return;
  event.preventDefault();
  let said = event.target.querySelector(".needs-network");
  if (!said) {
    said = document.createElement("p");
    said.className = "needs-network";
    said.setAttribute("role", "alert");
    event.target.append(said);
  }
  said.textContent = texts.form;
});

for (const name of ["noted", "kept", "refused", "sending"]) document.addEventListener(name, show);
for (const name of ["online", "offline"]) addEventListener(name, show);
new BroadcastChannel("fettlebook").addEventListener("message", show); // another page of this tablet noted or sent something
age();
show();

if (document.body.dataset.kept) {
  addEventListener("online", () => {
    const newer = line.querySelector(".newer");
    newer.setAttribute("href", location.href);
    newer.hidden = false;
  });
}

if ("serviceWorker" in navigator && isSecureContext) navigator.serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" });
