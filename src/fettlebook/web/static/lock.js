// After a while without a touch the page locks in place. What was typed stays behind the sheet until the same person goes on.
// All tabs of a device count one touch together. The server locks by its own clock; this only keeps page and place.
import "/static/keypad.js";

const sheet = document.getElementById("lock-sheet");
const form = sheet.querySelector("form");
const field = form.querySelector("input[name=secret]");
const fault = form.querySelector(".fault");
const afterMs = Number(sheet.dataset.afterS) * 1000;
const TELL_MS = Math.min(60_000, afterMs / 3);
const headers = { "X-Fettlebook-Token": sheet.dataset.token, Accept: "application/json" };
let told = Date.now();
let locked = false;
let asking = false;
let notBefore = 0;

const touched = () => Number(localStorage.getItem("touched") || 0);
const touch = () => { if (!locked) localStorage.setItem("touched", String(Date.now())); };
const send = (address, fields = {}) =>
  fetch(address, { method: "POST", headers, body: new URLSearchParams(fields), redirect: "manual" });

function show() {
  locked = true;
  document.documentElement.classList.add("locked");
  if (!sheet.open) sheet.showModal();
  field.value = "";
  field.focus();
}

function open() {
  locked = false;
  fault.hidden = true;
  document.documentElement.classList.remove("locked");
  sheet.close();
  told = Date.now();
  touch();
  document.dispatchEvent(new Event("unlocked")); // what waits in the tablet can be sent again
}

async function lock() {
  if (locked || asking) return;
  asking = true;
  const answer = await send("/lock").catch(() => null);
  asking = false;
  // Without network nobody could unlock it: work goes on, what is noted waits in the tablet, and it locks once the network is back.
  if (answer === null) {
    notBefore = Date.now() + TELL_MS;
    return;
  }
  show();
  localStorage.setItem("locked", String(Date.now()));
}

async function tell() {
  told = Date.now();
  const answer = await send("/me/here").catch(() => null);
  if (answer && answer.type === "opaqueredirect") show();
}

function look() {
  const now = Date.now();
  if (!navigator.onLine) return; // nobody could unlock it without the server; it locks once the network is back
  if (!locked && now - touched() > afterMs && now > notBefore) lock();
  else if (!locked && touched() > told && now - told > TELL_MS) tell();
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const secret = field.value;
  field.value = "";
  const isPin = /^[0-9]{1,12}$/.test(secret);
  const fields = isPin ? { person: sheet.dataset.person, pin: secret } : { badge: secret };
  const answer = await send("/sign-in", fields).catch(() => null);
  if (answer?.ok) {
    const { person } = await answer.json();
    if (person !== sheet.dataset.person) return location.assign("/");
    localStorage.setItem("unlocked", String(Date.now()));
    return open();
  }
  if (answer?.status === 401) fault.textContent = (await answer.json()).fault;
  else if (answer?.type === "opaqueredirect") return location.reload(); // this device is let in no more
  else fault.textContent = form.dataset.noNetwork;
  fault.hidden = false;
  field.focus();
});
sheet.addEventListener("cancel", (event) => event.preventDefault());
sheet.addEventListener("close", () => { if (locked) sheet.showModal(); });
for (const act of ["pointerdown", "keydown", "wheel"]) addEventListener(act, touch, { passive: true, capture: true });
addEventListener("storage", (event) => {
  if (event.key === "locked") show();
  if (event.key === "unlocked" && locked) open();
});
document.addEventListener("visibilitychange", look);
addEventListener("online", () => { notBefore = 0; look(); });
document.querySelector("form.lock-now")?.addEventListener("submit", (event) => { event.preventDefault(); lock(); });
localStorage.setItem("touched", String(Date.now()));
setInterval(look, 1000);
