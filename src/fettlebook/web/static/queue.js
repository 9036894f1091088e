// What a person notes is written into this tablet first, then sent: never twice, never lost, with or without network.
// In an IndexedDB transaction nothing else may be awaited: it would commit itself and the rest would go astray.
import { openDB } from "/static/vendor/idb.js";
import { subjectsOf } from "/static/subjects.js";

const BATCH_MOST = 50;
const BATCH_BYTES = 500_000;
const FIRST_PAUSE_MS = 2_000;
const LONGEST_PAUSE_MS = 60_000;
const ASK_MS = 8_000;
const KEEP_SENT_MS = 14 * 24 * 3600 * 1000;
const RUNS_MOST = 60; // steps begun here whose running is remembered
const DURABLE = { durability: "strict" }; // on the disk before it counts as noted

const base = openDB("fettlebook", 1, {
  upgrade(made) {
    made.createObjectStore("waiting", { keyPath: "place", autoIncrement: true }).createIndex("id", "id", { unique: true });
    made.createObjectStore("refused", { keyPath: "id" });
    made.createObjectStore("sent", { keyPath: "id" }).createIndex("sent", "sent_ms");
    made.createObjectStore("known"); // who, counters, the server's clock
  },
  blocking() { base.then((open) => open.close()); }, // a newer program waits: let it in
});

const session = hex(8);
let who = null;
let pause = FIRST_PAUSE_MS;
let timer = 0;
let state = "unknown"; // sent | waiting | no network | sign in

function hex(bytes) {
  return Array.from(crypto.getRandomValues(new Uint8Array(bytes)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

let lastMs = 0;
function newId() { // UUID version 7 (RFC 9562): a name, whose time nobody trusts
  lastMs = Math.max(Date.now(), lastMs);
  const [time, chance] = [lastMs.toString(16).padStart(12, "0"), hex(10)];
  const variant = (8 + (parseInt(chance[3], 16) & 3)).toString(16);
  return `${time.slice(0, 8)}-${time.slice(8)}-7${chance.slice(0, 3)}-${variant}${chance.slice(4, 7)}-${chance.slice(7, 19)}`;
}

const others = new BroadcastChannel("fettlebook"); // the other pages of this tablet show the same line
function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(name, { detail }));
  others.postMessage(name);
}

async function ask(address, options = {}) {
  const answer = await fetch(address, { credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(ASK_MS), ...options });
  const said = (answer.headers.get("Content-Type") || "").includes("json") ? await answer.json() : null;
  return { status: answer.status, said };
}

/** Who works here: asked of the server where it answers, else as last known in this tablet. */
export async function whoHere() {
  try {
    const { status, said } = await ask("/api/who");
    if (status === 200) {
      who = said;
      await (await base).put("known", said, "who");
      await heardClock(said.now);
      return who;
    }
    state = status === 401 ? "sign in" : state;
  } catch { state = "no network"; }
  who = who || (await (await base).get("known", "who")) || null;
  return who;
}

async function heardClock(serverNow) {
  if (Number.isInteger(serverNow)) await (await base).put("known", serverNow - Date.now(), "offset");
}

const ready = whoHere();

function zoneHere() {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  return /^[A-Za-z][A-Za-z0-9_+/-]{0,63}$/.test(zone || "") ? zone : document.body.dataset.zone || "UTC";
}

/**
 * Note that something was done. Resolves with the entry's id once it stands on this tablet's disk; sending goes on by itself.
 * `kind` and `data` are those of the book (docs/carry-on/book.md); `refers` is the id of the entry that it is about.
 */
export async function note(kind, data, refers) {
  const [at, ms] = [Date.now(), Math.floor(performance.now())]; // at once: what follows may have to wait
  return put(await made(kind, data, refers, at, ms));
}

async function made(kind, data, refers, at, ms) {
  const known = who || (await ready);
  if (!known) throw new Error("Nobody has signed in at this tablet yet.");
  const entry = {
    v: 1, id: newId(), kind, at, zone: zoneHere(), mono: { session, ms }, device: known.device, n: 0,
    by: known.person, subjects: subjectsOf(data), data,
  };
  if (known.role) entry.role_as_shown = known.role;
  if (refers) entry.refers_to = refers;
  return entry;
}

/** Put an entry on the disk, with the next number of its device; `laid` is a refused entry whose number it takes instead. */
async function put(entry, laid) {
  const open = await base;
  const all = open.transaction(["known", "waiting", "refused"], "readwrite", DURABLE);
  const [known, waits] = [all.objectStore("known"), all.objectStore("waiting")];
  if (laid) {
    if (!(await all.objectStore("refused").get(laid.id))) return entry.id; // another page was quicker
    [entry.device, entry.n] = [laid.entry.device, laid.entry.n];
    await all.objectStore("refused").delete(laid.id);
  } else {
    const counter = `n ${entry.device}`;
    entry.n = Math.max((await known.get(counter)) || 0, (who && who.device === entry.device && who.highest_n) || 0) + 1;
    await known.put(entry.n, counter);
  }
  const offset = await known.get("offset");
  await waits.add({ id: entry.id, entry, ...(offset === undefined ? {} : { offset }) });
  await all.done;
  tell("noted", { id: entry.id, entry });
  sendAll();
  return entry.id;
}

/** Lay a refused entry aside: one entry with its number says so in the book, in the name of whoever works here. */
export async function layAside(id) {
  const [at, ms] = [Date.now(), Math.floor(performance.now())];
  const laid = await (await base).get("refused", id);
  if (!laid) return;
  const why = `${laid.findings[0].where}: ${laid.findings[0].what}`.slice(0, 500);
  await put(await made("entry.laid_aside", { laid: id, said: laid.entry.kind, why }, undefined, at, ms), laid);
}

/** The entries that wait in this tablet, oldest first: [{id, entry}]. */
export async function waiting() {
  return (await base).getAll("waiting");
}

/** The entries that went to the server since a moment of its clock [ms], oldest first: [{id, entry, offset, received}]. */
export async function sentSince(server_ms) {
  const rows = (await (await base).getAll("sent")).filter((row) => row.received > server_ms);
  return rows.sort((one, other) => one.entry.at - other.entry.at);
}

/** The newest point of the server's clock that a page of this tablet had proven, and how long it saw each step run, by its start's entry [ms]. */
export async function keptTime() {
  return (await (await base).get("known", "time")) || { server: 0, runs: {} };
}

/** Write down what this life of the page has proven; another page's proof is never made less. `mono`: its forward clock at that point [ms]. */
export async function keepTime(server, mono, ran) {
  const all = (await base).transaction("known", "readwrite");
  const held = (await all.store.get("time")) || { server: 0, runs: {} };
  const runs = Object.entries({ ...held.runs, ...ran }).slice(-RUNS_MOST).map(([entry, ms]) => [entry, Math.max(ms, held.runs[entry] || 0)]);
  all.store.put({ server: Math.max(server, held.server), life: session, mono, runs: Object.fromEntries(runs) }, "time");
  await all.done;
}

/** The entries that the server refused, with its findings: [{id, entry, findings}]. They stay here until a person lays them aside. */
export async function refused() {
  return (await base).getAll("refused");
}

/** How sending stands: {state: "sent" | "waiting" | "no network" | "sign in", waiting: count, since: when the oldest was made [ms], refused: count}. */
export async function standing() {
  const open = await base;
  const [oldest] = await open.getAll("waiting", undefined, 1);
  const since = oldest ? oldest.entry.at + (oldest.offset || 0) : 0; // by the server's clock, where it is known
  return { state, waiting: await open.count("waiting"), since, refused: await open.count("refused") };
}

let running = null;
/** Send what waits; resolves when nothing is left or nothing more can be sent now. Calls while it runs share one run. */
export function sendAll() {
  clearTimeout(timer);
  running ??= navigator.locks.request("fettlebook-send", send).finally(() => { running = null; });
  return running;
}

async function send() {
  let most = BATCH_MOST;
  for (;;) {
    const rows = batchOf(await (await base).getAll("waiting", null, most));
    if (!rows.length) return settle("sent");
    const device = rows[0].entry.device;
    const receipt = await (await base).get("known", "receipt");
    const body = {
      now: Date.now(), device, ...(receipt ? { receipt } : {}), highest_n: (await (await base).get("known", `n ${device}`)) || 0,
      entries: rows.map(({ entry, offset }) => (offset === undefined ? { entry } : { entry, offset })),
    };
    let got;
    try {
      got = await ask("/api/entries", { method: "POST", headers: headers(), body: JSON.stringify(body) });
    } catch { return settle("no network"); }
    if (got.status === 401 || got.status === 403) {
      const before = who && who.token;
      if (await whoHere() && who.token !== before) continue; // this device has been given another token
      return settle(state === "no network" ? state : "sign in");
    }
    if (got.status === 200 && got.said && Array.isArray(got.said.results)) {
      await file(rows, got.said);
      pause = FIRST_PAUSE_MS;
    } else if ([400, 413, 422].includes(got.status) && rows.length > 1) {
      most = 1; // one of them spoils the whole: find it
    } else if ([400, 413, 422].includes(got.status)) {
      const findings = (got.said && got.said.findings) || [{ what: `refused (${got.status})`, where: "entries", mend: "Tell whoever looks after the tablets." }];
      await file(rows, { results: [{ outcome: "refused", findings }] });
    } else { return settle("waiting"); } // a server in trouble: later
  }
}

function headers() {
  return { "Content-Type": "application/json", ...(who && who.token ? { "X-Fettlebook-Token": who.token } : {}) };
}

function batchOf(rows) {
  let bytes = 0; // one device at a time, so that its counter can be said
  return rows.filter((row, i) => row.entry.device === rows[0].entry.device && ((bytes += JSON.stringify(row.entry).length) < BATCH_BYTES || i === 0));
}

/** Put each entry where its result says. All is known by now, so that nothing is awaited inside but the store itself. */
async function file(rows, said) {
  const open = await base;
  const now = Date.now();
  const moved = open.transaction(["waiting", "refused", "sent"], "readwrite", DURABLE);
  const [from, aside, sent] = ["waiting", "refused", "sent"].map((name) => moved.objectStore(name));
  rows.forEach((row, i) => {
    const result = said.results[i];
    if (result.outcome === "refused") aside.put({ id: row.id, entry: row.entry, findings: result.findings, refused_ms: now });
    else {
      const kept = { id: row.id, entry: row.entry, offset: row.offset, book: said.book, seq: result.seq, received: result.received };
      sent.put({ ...kept, leaf_hash: result.leaf_hash, sent_ms: now });
    }
    from.delete(row.place);
  });
  for (const key of await sent.index("sent").getAllKeys(IDBKeyRange.upperBound(now - KEEP_SENT_MS), 200)) sent.delete(key);
  await moved.done;
  await heardClock(said.now);
  const newest = said.results.filter((one) => one.seq).sort((one, other) => other.seq - one.seq)[0];
  if (newest) await open.put("known", { book: said.book, seq: newest.seq, leaf_hash: newest.leaf_hash }, "receipt");
  if (said.receipt_held === false) await sendLost(said.book, new Set(rows.map((row) => row.id)));
  rows.forEach((row, i) => {
    const result = said.results[i];
    tell(result.outcome === "refused" ? "refused" : "kept", { ...result, id: row.id, entry: row.entry });
  });
}

/** The book does not hold this tablet's newest receipt: it was put back from a backup. All that was sent goes out again; what it has it knows. */
async function sendLost(book, except) {
  const open = await base;
  const moved = open.transaction(["waiting", "sent", "known"], "readwrite", DURABLE);
  const [waits, sent] = [moved.objectStore("waiting"), moved.objectStore("sent")];
  const lost = (await sent.getAll()).filter((one) => one.book === book && !except.has(one.id)).sort((one, other) => one.seq - other.seq);
  for (const one of lost) {
    waits.add({ id: one.id, entry: one.entry, ...(one.offset === undefined ? {} : { offset: one.offset }) });
    sent.delete(one.id);
  }
  await moved.done;
}

function settle(how) {
  state = how;
  tell("sending", { state });
  if (how !== "sent") {
    timer = setTimeout(sendAll, how === "sign in" ? LONGEST_PAUSE_MS : pause);
    pause = Math.min(2 * pause, LONGEST_PAUSE_MS);
  }
}

addEventListener("online", () => { pause = FIRST_PAUSE_MS; sendAll(); });
addEventListener("offline", () => settle("no network"));
document.addEventListener("unlocked", () => whoHere().then(sendAll));
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") sendAll(); });
ready.then(sendAll);
