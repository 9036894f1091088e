// Two answers to "what time is it by the server?": the likeliest one, for people to read, and the one that is proven, for what has to run its time.
// A tablet whose own clock is days off, that slept or was reloaded shows the same time left; one that can't ask the server goes on from
// the last point that is proven, and the longer remaining time wins.
import { keepTime, keptTime } from "/static/queue.js";

const KEY = "fettlebook-clock";
let at = { server: Number(document.body.dataset.now), wall: Date.now(), mono: performance.now() };
let sure = { server: at.server, mono: at.mono }; // at this reading of the forward clock the server's was at least this
const runs = new Map(); // entry of a start -> { ms: how long it had run for sure, mono: at this reading of the forward clock }

/** Take what the server said its clock was; null: it can't be asked, so what this tablet knew before counts. */
export function sync(server, took_ms) {
  if (server === null) {
    const offset = Number(localStorage.getItem(KEY));
    if (localStorage.getItem(KEY) !== null && Number.isFinite(offset)) at = { server: Date.now() + offset, wall: Date.now(), mono: performance.now() };
    return;
  }
  const [wall, mono] = [Date.now(), performance.now()];
  at = { server: server + took_ms / 2, wall, mono };
  sure = { server, mono }; // said before it came: it is later by now, never earlier
  localStorage.setItem(KEY, String(Math.round(at.server - wall)));
}

/** Now by the server's clock, as is likeliest [ms]: to read, and to plan by. While the tablet slept its forward clock may have stood still. */
export function now() {
  return at.server + Math.max(performance.now() - at.mono, Date.now() - at.wall);
}

/** The server's clock is at least here [ms]: what it last said, and what this tablet's forward clock has run since. No wall clock moves it. */
function proven() {
  return sure.server + performance.now() - sure.mono;
}

/** What an earlier life of the page had proven, read once at the start: between the lives nobody timed, so nothing is added. */
export async function recallTime() {
  const kept = await keptTime();
  if (!document.body.dataset.kept) return; // the server said its clock with the page: that is newer
  if (kept.server > proven()) sure = { server: kept.server, mono: performance.now() };
}

/** How long a step that this tablet began has run for sure [ms]; `entry` is that of its start. An earlier life's part is in `before`. */
export function ranOf(entry, before = 0) {
  if (!runs.has(entry)) runs.set(entry, { ms: before, mono: performance.now() });
  const { ms, mono } = runs.get(entry);
  return ms + performance.now() - mono;
}

/** How long an earlier life of the page saw a step run [ms], by the entry of its start; none where it was never written down. */
export async function ranBefore(entry) {
  return (await keptTime()).runs[entry] || 0;
}

/** Write down what is proven by now, so that the next life of the page goes on from here. */
export function keepProof() {
  const ran = Object.fromEntries([...runs].map(([entry]) => [entry, Math.floor(ranOf(entry))]));
  return keepTime(Math.floor(proven()), Math.floor(performance.now()), ran);
}

/** What is left of a running step [ms], never less than is proven; null where it has no length. */
export function remaining(step) {
  if (!step.length_s || step.started_ms === null || step.started_ms === undefined) return null;
  const since = proven() - step.started_ms;
  return 1000 * step.length_s - (step.here ? Math.max(ranOf(step.here), step.received_ms ? proven() - step.received_ms : 0) : since);
}

/** When a running step will be over [ms], on the clock that people read. */
export function ends(step) {
  return now() + remaining(step);
}

export function over(step) {
  const left = remaining(step);
  return left === null || left <= 0;
}
