// My work: one step at a time. What is noted shows at once; what the server says of it comes after, and without network waits.
import { keepProof, now, over, ranBefore, ranOf, recallTime, sync } from "/static/work-clock.js";
import { drawCard, drawLists, drawRuns, say, tick } from "/static/work-draw.js";
import { note, sentSince, waiting } from "/static/queue.js";

const LOOK_EVERY_MS = 4_000;
const KEEP_EVERY_MS = 1_000; // so much of a running time is lost at the most where the page is reloaded
const SOON_MS = 5 * 60_000; // what is planned later is not begun while something runs
const data = JSON.parse(document.getElementById("steps").textContent);
const noted = new Map(); // step -> what this tablet knows of it before the server does
let steps = data.steps;
let mark = data.mark;
let chosen = "";
let shown = "";
let ended = null; // the timers that were over when last looked at

const seen = (step) => (noted.has(step.id) ? { ...step, ...noted.get(step.id) } : step);
const toDo = (step) => (step.state === "open" && !step.passed) || step.state === "running";
const byId = (id) => all().find((step) => step.id === id);
const all = () => steps.map(seen);

function waits(step, every) {
  return (step.after || []).some((id) => {
    const before = every.find((one) => one.id === id);
    return before && !before.passed && (before.state === "open" || (before.state === "running" && !over(before)));
  });
}

/** What must be over before a step and is not in the book as done: said on its card, where somebody takes it all the same. */
function unfinished(step, every) {
  return (step.after || []).map((id) => every.find((one) => one.id === id)).filter((one) => one && !one.passed && one.state !== "done").map((one) => one.name);
}

/** The step in hand: the one that was chosen, else what is over, else the next that can begin, else what runs. */
function current(every) {
  const own = every.filter((step) => step.mine && toDo(step));
  return every.find((step) => step.id === chosen && toDo(step))
    || own.find((step) => step.state === "running" && (step.attended || over(step)))
    || own.find((step) => step.state === "open" && !waits(step, every) && step.begins_ms < now() + SOON_MS)
    || own.find((step) => step.state === "running")
    || own.find((step) => step.state === "open" && !waits(step, every))
    || null;
}

function draw() {
  const every = all();
  const step = current(every);
  drawRuns(every.filter((one) => one.state === "running" && !one.attended && one !== step), take);
  if (drawCard(step && { ...step, first: unfinished(step, every) }, every.some((one) => one.mine && toDo(one)), { start, done, problem, may: data.notes }) && shown !== "" && step) focusCard();
  shown = step ? step.id : "none";
  drawLists(every, step, { take });
  const place = step && step.subject.startsWith("chair:") ? `?chair=${encodeURIComponent(step.place)}` : "";
  const link = document.getElementById("over");
  link.href = link.href.split("?")[0] + place;
}

function focusCard() {
  document.getElementById("step-h")?.focus();
}

function take(id) {
  chosen = id;
  const step = byId(id);
  if (step && step.state === "problem") noted.set(id, { state: "open", started_ms: null, passed: false, why: "" }); // once more
  say("", {});
  draw();
  focusCard();
  document.getElementById("card").scrollIntoView({ block: "start" });
}

/** Note something, show it at once, and keep what was noted until the server has it. */
async function write(step, kind, entry, then, word) {
  const before = noted.get(step.id);
  noted.set(step.id, { ...then, writing: true });
  if (chosen === step.id && then.state !== "running") chosen = "";
  draw();
  const pressed = performance.now();
  try {
    const id = await note(kind, entry);
    const held = noted.get(step.id);
    if (then.state === "running") ranOf(id, performance.now() - pressed); // from now on this tablet counts for itself how long it runs
    if (held) noted.set(step.id, { ...held, entry: id, ...(then.state === "running" ? { here: id } : {}) });
    say(word, { name: step.name, place: step.place });
    keepProof().catch(() => {}); // not written: the next life of the page counts from the start
  } catch (error) {
    if (before) noted.set(step.id, before); else noted.delete(step.id);
    draw();
    say("not_noted", { what: error.message }, true);
  }
}

function start(step) {
  if (!step.attended && chosen === step.id) chosen = ""; // the hands are free for what goes beside it
  write(step, step.start.kind, step.start.data, { state: "running", started_ms: now(), by: data.name }, "noted_start");
}

function done(step, extra) {
  if (step.contact && step.state === "running" && !over(step)) return;
  write(step, step.done.kind, { ...step.done.data, ...extra }, { state: "done", by: data.name, ended_at: "" }, "noted_done");
}

function problem(step, kind, extra, why) {
  const about = { "step.done": step.done.data, "duty.skipped": step.problem.data }[kind] || step.where;
  const after = kind === "fault.reported" ? {} : kind === "step.done" && extra.outcome !== "broken off" ? { state: "done", by: data.name } : { state: "problem", why, by: data.name };
  write(step, kind, { ...about, ...extra }, after, "noted_else");
}

// --- what the server says -----------------------------------------------------------------------------------------------

async function ask(address) {
  const began = performance.now();
  const answer = await fetch(address, { cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(8_000) });
  if (!answer.ok || answer.redirected) throw new Error(`answered ${answer.status}`);
  const said = await answer.json();
  sync(said.now_ms, performance.now() - began);
  return said;
}

let asking = null;
function refresh() {
  asking ??= (async () => {
    const kept = [...noted].filter(([, held]) => held.kept).map(([id]) => id);
    const said = await ask("/work.json");
    steps = said.steps;
    mark = said.mark;
    for (const id of kept) noted.delete(id);
    draw();
  })().catch(() => {}).finally(() => { asking = null; });
  return asking;
}

async function look() {
  try {
    if (document.visibilityState === "visible" && (await ask("/work-mark")).mark !== mark) await refresh();
  } catch { /* no network: what is shown stays, and the line at the foot says so */ }
  setTimeout(look, LOOK_EVERY_MS);
}

document.addEventListener("kept", async ({ detail }) => {
  for (const held of noted.values()) if (held.entry === detail.id) held.kept = true;
  await asking; // one that began before does not know of this entry
  refresh();
});
document.addEventListener("refused", ({ detail }) => {
  for (const [id, held] of noted) if (held.entry === detail.id) noted.delete(id);
  const found = (detail.findings || [])[0] || { what: "", mend: "" };
  say("refused", found, true);
  draw();
});
for (const name of ["visibilitychange", "pageshow", "online"]) (name === "visibilitychange" ? document : window).addEventListener(name, refresh);

/** After a reload without network: what waits in this tablet still counts for this page, and what was sent after the page was made. */
async function recall() {
  const same = (a, b) => ["duty", "step", "chair", "machine", "visit", "run"].every((name) => a[name] === b[name]);
  const sent = document.body.dataset.kept ? await sentSince(data.now_ms) : [];
  for (const { id, entry, offset, received } of [...sent, ...(await waiting())]) {
    if (!entry.kind.startsWith("step.")) continue;
    const step = steps.find((one) => one.start && same(one.start.data, entry.data));
    if (!step || noted.get(step.id)?.writing) continue;
    const running = entry.kind === "step.started";
    if (running) ranOf(id, await ranBefore(id));
    noted.set(step.id, running
      ? { state: "running", started_ms: entry.at + (offset || 0), here: id, received_ms: received, by: data.name, entry: id, kept: Boolean(received) }
      : { state: entry.data.outcome === "done" ? "done" : "problem", by: data.name, entry: id, kept: Boolean(received) });
  }
}

let kept_at = 0;
function count() {
  tick(byId);
  if (performance.now() - kept_at > KEEP_EVERY_MS && all().some((step) => step.state === "running")) {
    kept_at = performance.now();
    keepProof().catch(() => {});
  }
  const now_over = all().filter((step) => step.state === "running" && !step.attended && over(step)).map((step) => step.id);
  if (now_over.join() !== (ended ?? []).join()) {
    if (ended && now_over.some((id) => !ended.includes(id))) document.dispatchEvent(new CustomEvent("timer-over"));
    ended = now_over;
    draw();
  }
  setTimeout(count, 250);
}

// --- hands free -------------------------------------------------------------------------------------------------------------

/** The step that a code means: of its chair or machine, the one that runs, else the first that is to do. */
function meant({ kind, id, chair, machine, duty, step }) {
  const subject = kind === "chair" ? `chair:${id}` : kind === "machine" ? `machine:${id}` : chair ? `chair:${chair}` : "";
  const fits = all().filter((one) => one.subject === subject && (!duty || one.duty === duty) && (!step || one.step === step) && toDo(one));
  return fits.find((one) => one.state === "running" && (step || one.attended || over(one))) || fits.find((one) => one.state === "open") || fits[0];
}

/** A step's own code presses its button: it starts, or is done. The code of a chair, a machine or a whole card only shows its step. */
document.addEventListener("scanned", (event) => {
  const found = ["step", "card", "chair", "machine"].includes(event.detail.kind) && !document.querySelector("dialog[open]") ? meant(event.detail) : null;
  if (!found) {
    if (event.detail.kind === "step") {
      event.preventDefault();
      say("no_such_step", { place: event.detail.chair }, true);
    }
    return;
  }
  event.preventDefault();
  take(found.id);
  if (event.detail.kind === "step") document.querySelector("#card .button.main")?.click();
});

function asked() {
  const from = new URLSearchParams(location.search);
  const found = from.has("chair") && meant({ kind: "card", chair: from.get("chair"), duty: from.get("duty"), step: from.get("step") });
  if (found) chosen = found.id;
}

sync(document.body.dataset.kept ? null : data.now_ms, 0);
asked();
draw();
count();
look();
recallTime().then(recall).then(draw, () => {});
if (document.body.dataset.kept) refresh();
