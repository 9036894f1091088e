// The server's clock, as this tablet knows it: a tablet whose own clock is days off, that slept or was reloaded shows the same time left.
const KEY = "fettlebook-clock";
let at = { server: Number(document.body.dataset.now), wall: Date.now(), mono: performance.now() };

/** Take what the server said its clock was; null: it can't be asked, so what this tablet knew before counts. */
export function sync(server, took_ms) {
  if (server === null) {
    const offset = Number(localStorage.getItem(KEY));
    if (localStorage.getItem(KEY) !== null && Number.isFinite(offset)) at = { server: Date.now() + offset, wall: Date.now(), mono: performance.now() };
    return;
  }
  const [wall, mono] = [Date.now(), performance.now()];
  at = { server: server + took_ms / 2, wall, mono };
  localStorage.setItem(KEY, String(Math.round(at.server - wall)));
}

/** Now by the server's clock [ms]. While the tablet slept its forward clock may have stood still: then its wall clock counts. */
export function now() {
  return at.server + Math.max(performance.now() - at.mono, Date.now() - at.wall);
}

/** What is left of a running step [ms]; null where it has no length. */
export function remaining(step) {
  return step.started_ms === null || step.started_ms === undefined || !step.length_s ? null : step.started_ms + 1000 * step.length_s - now();
}

export function over(step) {
  const left = remaining(step);
  return left === null || left <= 0;
}
