// On every page: keeps the program in the tablet, and shows whether all that was noted is sent. Pages work without it.
import { standing } from "/static/queue.js";
import { canSee, look, scanned } from "/static/scan.js";
import { chime, setTone, toneOn } from "/static/tone.js";

const line = document.getElementById("sending");
const word = line.querySelector(".word");
const texts = line.dataset;

function say(text, n) {
  return text.replace("{n}", n);
}

function counted(name, n) {
  return say(n === 1 ? texts[`${name}One`] : texts[`${name}Many`], n);
}

function clockOf(how) {
  const language = document.documentElement.lang;
  return new Intl.DateTimeFormat(language === "en" ? "en-GB" : language, { ...how, timeZone: document.body.dataset.zone });
}

/** Show how sending stands: a shape and a word. */
async function show() {
  const { state, waiting: count, since, refused } = await standing();
  let [shape, text] = ["full", texts.sent];
  if (state === "no network" || !navigator.onLine) [shape, text] = ["peak", count ? counted("cut", count) : texts.cutNone];
  else if (count && state === "sign in") [shape, text] = ["peak", counted("locked", count)];
  else if (count) [shape, text] = ["wait", counted("sending", count)];
  if (refused) [shape, text] = ["broken", [counted("refused", refused), ...(shape === "full" ? [] : [text])].join(". ")];
  line.dataset.shape = shape;
  line.querySelector(".state").setAttribute("href", shape === "peak" && state === "sign in" ? `/sign-in?next=${encodeURIComponent(location.pathname)}` : "/held");
  if (word.textContent !== text) word.textContent = text;
  line.querySelector(".since").textContent = count && shape !== "wait" ? say(texts.since, clockOf({ timeStyle: "short" }).format(since)) : "";
  line.hidden = false;
}

function age() {
  if (!document.body.dataset.kept) return;
  if (["/held", "/offline"].includes(location.pathname)) return; // these show what is in the tablet, as it is
  line.querySelector(".age").textContent = say(texts.kept, clockOf({ dateStyle: "medium", timeStyle: "short" }).format(Number(document.body.dataset.now)));
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

// Hands free: what a page does not take of a scanned code, the camera, and the tone when a page says that a timer is over.
document.addEventListener("scanned-unused", ({ detail: { kind, text } }) => {
  const field = document.querySelector("dialog[open] input[name=secret]") || document.querySelector("input[name=badge]");
  if (kind === "other") {
    line.querySelector(".age").textContent = texts.unknown;
  } else if (kind !== "badge") {
    location.assign(`/scan?code=${encodeURIComponent(text)}`);
  } else if (field) {
    field.value = text;
    field.form.requestSubmit();
  } else if (location.pathname !== "/sign-in") {
    sessionStorage.setItem("badge", text); // never in an address
    location.assign(`/sign-in?next=${encodeURIComponent(location.pathname + location.search)}`);
  }
});
// A set's code ticks it where a load is packed; scanned elsewhere it is ticked once machine and cycle are chosen.
function tick(unit) {
  const boxes = [...document.querySelectorAll("input[type=checkbox][name=unit]")];
  const box = boxes.find((one) => one.value === unit) || boxes.find((one) => one.value.startsWith(`${unit}#`) && !one.checked);
  if (!box) return false;
  for (let fold = box.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  box.checked = true;
  box.scrollIntoView({ block: "center" });
  box.focus();
  return true;
}
document.addEventListener("scanned", (event) => {
  if (event.detail.kind === "set" && tick(event.detail.id)) event.preventDefault();
});
if (location.pathname === "/loads/pack") {
  const unit = new URLSearchParams(location.search).get("unit");
  if (unit) sessionStorage.setItem("unit", unit);
  const held = sessionStorage.getItem("unit");
  if (held && tick(held)) sessionStorage.removeItem("unit");
}
const badge = sessionStorage.getItem("badge");
if (badge && location.pathname === "/sign-in") {
  sessionStorage.removeItem("badge");
  scanned(badge, "scanner");
}

const [tone, see] = [line.querySelector(".tone"), line.querySelector(".see")];
tone.setAttribute("aria-pressed", String(toneOn()));
tone.addEventListener("click", () => {
  setTone(!toneOn());
  tone.setAttribute("aria-pressed", String(toneOn()));
  chime(); // so that one hears what it is, and the browser lets us sound later
});
tone.hidden = !document.querySelector("[data-timers]") && location.pathname !== "/work";
document.addEventListener("timer-over", () => chime());
see.addEventListener("click", () => look(document.getElementById("camera")));
canSee().then((can) => { see.hidden = !can; });

if ("serviceWorker" in navigator && isSecureContext) navigator.serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" });
