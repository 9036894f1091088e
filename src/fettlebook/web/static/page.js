// Moves the present moment by the server's clock, and tells when the plan changed. The page works without it.
const body = document.body;
const began = performance.now();
const serverNow = () => Number(body.dataset.now) + (performance.now() - began);
const asClock = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: body.dataset.zone });

function move() {
  const now = serverNow();
  const text = asClock.format(now);
  const clock = document.getElementById("clock");
  if (clock && clock.textContent !== text) {
    clock.textContent = text;
    takeHands();
  }
  for (const band of document.querySelectorAll(".band")) {
    const line = band.querySelector(".now");
    if (!line) continue;
    const minute = Math.floor((now - Number(band.dataset.start)) / 60000);
    line.hidden = minute < 0 || minute >= Number(band.dataset.minutes);
    if (line.hidden) continue;
    line.className = `now s${minute}`;
    line.firstElementChild.textContent = text;
  }
}

// Who does what now comes from the server, each minute; without an answer the old one stays, with its time beside it.
async function takeHands() {
  const old = document.getElementById("hands");
  if (!old) return;
  try {
    const page = new DOMParser().parseFromString(await (await fetch(location.href, { cache: "no-store" })).text(), "text/html");
    const fresh = page.getElementById("hands");
    if (fresh) old.replaceWith(fresh);
  } catch {
    say(body.dataset.noAnswer);
  }
}

// A tablet on the wall that showed today goes on to the new day by itself.
const asDay = new Intl.DateTimeFormat("en-CA", { year: "numeric", month: "2-digit", day: "2-digit", timeZone: body.dataset.zone });

const progress = document.getElementById("progress");

async function look() {
  const today = asDay.format(serverNow());
  if (body.dataset.today && body.dataset.today !== today) {
    location.assign(`/day/${today}${location.search}`);
    return 5000;
  }
  let known;
  try {
    known = await (await fetch(progress.dataset.address, { cache: "no-store" })).json();
  } catch {
    say(body.dataset.noAnswer);
    return 5000;
  }
  if (String(known.version) !== progress.dataset.version && !known.stage && document.getElementById("result")) {
    await takeResult(known);
    return 2000;
  }
  if (String(known.version) !== progress.dataset.version && !known.stage) {
    // Whoever has details open keeps them: the reload waits until they are closed.
    if (document.querySelector(".details:target")) say(body.dataset.newer);
    else location.reload();
    return 5000;
  }
  const stage = document.getElementById("stage");
  if (stage) stage.textContent = known.stage || body.dataset.done;
  else say(known.stage ? `${progress.dataset.says ?? body.dataset.planning}: ${known.stage}.` : "");
  if (!known.stage && progress.dataset.busy) await takeResult(known);
  if (document.getElementById("result")) progress.dataset.busy = known.stage ? "yes" : "";
  return known.stage ? 700 : 5000;
}

// A page that waits for a result takes it in without a reload, so that whoever reads or types stays where they are.
async function takeResult(known) {
  const old = document.getElementById("result");
  const at = old.contains(document.activeElement) ? document.activeElement : null;
  const page = new DOMParser().parseFromString(await (await fetch(location.href, { cache: "no-store" })).text(), "text/html");
  const fresh = page.getElementById("result");
  if (!fresh) return;
  old.replaceWith(fresh);
  if (at) (sameAs(at, fresh) ?? fresh).focus(); // Enter still does what it would have done
  progress.dataset.version = String(known.version);
  progress.dataset.busy = "";
  say(page.getElementById("progress").textContent || body.dataset.result);
}

function sameAs(one, within) {
  const told = (other) => [other.textContent.trim(), other.name, other.value, other.getAttribute("href")].join("|");
  return [...within.querySelectorAll(one.tagName)].find((other) => told(other) === told(one));
}

function say(text) {
  if (progress.dataset.waiting === undefined && progress.textContent !== text) progress.textContent = text;
}

async function watch() {
  let pause = 5000;
  try {
    pause = await look();
  } finally {
    setTimeout(watch, pause); // whatever it met, it looks again
  }
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  document.querySelector(".details:target .close")?.click();
});

move();
setInterval(move, 5000);
if (progress) setTimeout(watch, progress.dataset.waiting || progress.dataset.busy ? 500 : 5000);
