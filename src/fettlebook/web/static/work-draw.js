// Draws the page of work from its data. All words come from the server, in the reader's language.
import { ends, over, now, remaining } from "/static/work-clock.js";
import { askProblem } from "/static/work-problem.js";

export const words = JSON.parse(document.getElementById("words").textContent);
const NEXT = 5;
const zone = document.body.dataset.zone;
const asClock = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone });
const asExact = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", second: "2-digit", timeZone: zone });
const asNumber = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 3 });

export function fill(text, values = {}) {
  return text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
}

export function make(tag, given = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== null && value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.filter((one) => one !== null && one !== undefined && one !== ""));
  return made;
}

export function say(word, values, bad = false) {
  const told = document.getElementById("told");
  told.textContent = fill(words[word] ?? word, values);
  told.classList.toggle("bad", bad);
}

export function length(seconds) {
  return seconds < 90 ? fill(words.seconds, { n: seconds }) : fill(words.min, { n: asNumber.format(Math.round(seconds / 6) / 10) });
}

function left(ms) {
  const seconds = Math.max(0, Math.ceil(ms / 1000));
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

function picture(name) {
  if (!name) return null;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "picture");
  svg.setAttribute("viewBox", "0 0 120 96");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", `#pic-${name}`);
  svg.append(use);
  return svg;
}

/** Move what counts down: the clock, and each time that is left. Nothing else is touched, so that nobody is disturbed. */
export function tick(find) {
  const clock = document.getElementById("work-clock");
  const text = asClock.format(now());
  if (clock.textContent !== text) clock.textContent = text;
  for (const place of document.querySelectorAll("[data-runs]")) {
    const step = find(place.dataset.runs);
    const shown = step ? left(remaining(step) ?? 0) : place.textContent;
    if (place.textContent !== shown) place.textContent = shown;
  }
}

function counter(step, kind) {
  const rest = remaining(step);
  if (rest === null) return make("p", { class: "length" }, fill(words.since, { at: asClock.format(step.started_ms) }));
  if (rest <= 0) return make("p", { class: `${kind} ended` }, words.over);
  return make("p", { class: kind, "data-runs": step.id }, left(rest));
}

export function drawRuns(running, take) {
  const rows = [...running].sort((a, b) => b.mine - a.mine || (remaining(a) ?? 0) - (remaining(b) ?? 0));
  document.getElementById("running").hidden = !rows.length;
  keepFocus(document.getElementById("runs"), rows.map((step) => make("li", { class: over(step) ? "run ended" : "run" },
    counter(step, "rest"),
    make("p", {}, make("strong", {}, step.place), ` ${step.name}`, make("small", {}, over(step) ? fill(words.by, { who: step.by || words.somebody }) : `${fill(words.until, { at: asExact.format(ends(step)) })}, ${fill(words.by, { who: step.by || words.somebody })}`)),
    make("button", { class: "button", type: "button", "data-key": `run ${step.id}`, onclick: () => take(step.id) }, words.take, make("span", { class: "hush" }, `: ${step.name}, ${step.place}`)),
  )));
}

let drawn = "";
let typed = new Map(); // what somebody typed at a step stays while the page moves on

/** Draw the step in hand; returns whether another step stands there now. */
export function drawCard(step, any, act) {
  const card = document.getElementById("card");
  const key = step ? JSON.stringify([step, over(step)]) : String(any);
  if (key === drawn) return false;
  const moved = !step || !drawn.startsWith(`[{"id":${JSON.stringify(step.id)}`);
  drawn = key;
  if (moved) typed = new Map();
  const had = card.contains(document.activeElement) && document.activeElement.id;
  card.hidden = false;
  card.dataset.step = step ? step.id : "";
  if (!step) {
    card.replaceChildren(make("h2", { id: "step-h", tabindex: "-1" }, any ? words.nothing_yet : words.nothing));
    return true;
  }
  card.replaceChildren(head(step), picture(step.picture) ?? "", parts(step), act.may ? press(step, act) : ""); // who only reads has nothing to press
  if (!moved && had) (document.getElementById(had) || document.getElementById("step-h")).focus();
  return moved;
}

function head(step) {
  const kind = step.length_s ? `${length(step.length_s)}, ${step.attended ? words.hands : words.runs_alone}` : step.attended ? words.hands : words.runs_alone;
  return make("div", {},
    make("p", { class: "where" }, make("strong", {}, step.place), make("span", {}, step.duty_name), make("span", {}, step.at), step.mine ? "" : make("span", {}, step.person || words.somebody)),
    make("h2", { id: "step-h", tabindex: "-1" }, step.name),
    step.state === "running" ? counter(step, "counting") : make("p", { class: "length" }, step.units ? `${fill(words.units, { n: step.units })}, ${kind}` : kind));
}

function notice(kind, word, text) {
  return make("p", { class: `notice ${kind}` }, make("b", {}, word), make("span", {}, text));
}

function parts(step) {
  const out = [];
  const product = step.product;
  if (step.first.length) out.push(notice("mind", words.first, step.first.join("; ")));
  if (step.amount_ml) out.push(notice("", words.product, `${product ? `${product.name}. ` : ""}${fill(words.put_in, { n: step.amount_ml })}`));
  for (const group of step.groups || []) out.push(notice("", "", fill(words.together, { outlets: group.outlets.join(", "), length: length(group.seconds) })));
  if (product && product.wear.length) out.push(notice("", words.wear, product.wear.join(", ")));
  const minds = [...(step.cautions || []), ...(product && product.hazards.length ? [`${product.name}: ${product.hazards.join("; ")}.`] : [])];
  if (product && !minds.some((text) => /never mix/i.test(text))) minds.push(words.mind_chemical);
  if (product) minds.push(words.label_first);
  if (minds.length) out.push(notice("mind", words.mind, minds.join(" ")));
  const fields = fieldsOf(step);
  if (fields.length) out.push(make("div", { class: "asked" }, ...fields));
  return make("div", { class: "parts" }, ...out);
}

function fieldsOf(step) {
  if (step.state === "open" && !step.attended) return [];
  const out = [];
  for (const one of step.readings || []) {
    const id = `r-${one.name}`;
    const bound = one.high !== null ? fill(words.at_most, { n: asNumber.format(one.high) }) : one.low !== null ? fill(words.at_least, { n: asNumber.format(one.low) }) : "";
    out.push(make("div", { class: "ask" },
      make("label", { for: id }, fill(words.reading_field, { quantity: one.quantity, unit: one.unit })),
      make("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", maxlength: 12, value: typed.get(id) ?? "", "aria-describedby": `${id}-said`, oninput: (event) => typed.set(id, event.target.value) }),
      make("small", { id: `${id}-said` }, bound)));
    if (one.at_least) out.push(make("div", { class: "tick" },
      make("input", { id: `${id}-end`, type: "checkbox", checked: typed.get(`${id}-end`) === "yes", onchange: (event) => typed.set(`${id}-end`, event.target.checked ? "yes" : "") }),
      make("label", { for: `${id}-end` }, words.scale_end)));
  }
  const product = step.product;
  if (product && product.asks_lot) {
    const old = product.good_until_ms !== null && product.good_until_ms <= now();
    const said = product.lot ? `${product.name}, ${fill(words.lot, { lot: product.lot })}` : `${product.name}: ${words.no_lot}`;
    out.push(make("div", { class: "ask" },
      make("label", { for: "lot" }, words.lot_field),
      make("input", { id: "lot", type: "text", autocomplete: "off", maxlength: 60, value: typed.get("lot") ?? "", "aria-describedby": "lot-said", oninput: (event) => typed.set("lot", event.target.value) }),
      make("small", { id: "lot-said" }, old ? `${said}. ${fill(words.lot_over, { at: product.good_until })}` : said)));
  }
  return out;
}

/** What was typed, as an entry takes it; null where something is missing or is no number, which is then said at its field. */
function answers(step, { unread = false, allSame = false } = {}) {
  const readings = {};
  let ask = null;
  for (const one of step.readings || []) {
    const field = document.getElementById(`r-${one.name}`);
    const text = field ? field.value.trim().replace(",", ".") : "";
    if (!text) {
      if (one.required && !unread) ask ??= [field, words.needed];
      continue;
    }
    const value = Number(text);
    if (!/^-?\d*\.?\d+$/.test(text) || !Number.isFinite(value) || value < 0) { ask ??= [field, words.no_number]; continue; }
    const atEnd = one.at_least && document.getElementById(`r-${one.name}-end`)?.checked;
    if (one.high !== null && value > one.high && !allSame) ask ??= [field, fill(words.too_high, { n: asNumber.format(value), limit: asNumber.format(one.high) }), true];
    if (one.low !== null && value < one.low && !atEnd && !allSame) ask ??= [field, fill(words.too_low, { n: asNumber.format(value), limit: asNumber.format(one.low) }), true];
    readings[atEnd ? one.at_least : one.name] = Math.round(value * 10 ** one.decimals);
  }
  if (ask) {
    const [field, text, mayStay] = ask;
    const at = document.getElementById(`${field.id}-said`);
    at.textContent = text;
    at.className = "fault";
    field.setAttribute("aria-invalid", "true");
    field.focus();
    say(text, {}, true);
    return { again: Boolean(mayStay) };
  }
  const extra = Object.keys(readings).length ? { readings } : {};
  const product = step.product;
  const lot = product && product.asks_lot ? (document.getElementById("lot")?.value.trim() || product.lot) : null;
  if (lot) Object.assign(extra, { product: product.id, lot });
  return { extra };
}

function press(step, act) {
  const done = make("button", { class: "button main", type: "button", id: "do-done" }, words.done);
  done.addEventListener("click", () => {
    if (done.getAttribute("aria-disabled") === "true") return;
    const found = answers(step, { allSame: done.dataset.sure === "yes" });
    if (found.extra) act.done(step, found.extra);
    else if (found.again) { done.dataset.sure = "yes"; done.textContent = words.anyway; }
  });
  const start = make("button", { class: step.attended ? "button" : "button main", type: "button", id: "do-start", onclick: () => act.start(step) }, words.start);
  const problem = make("button", { class: "button problem", type: "button", id: "do-problem", onclick: () => askProblem(step, act.problem, () => answers(step, { unread: true, allSame: true }).extra ?? {}) }, words.problem);
  const link = step.link ? make("a", { class: step.kind === "test" ? "button main" : "button", href: step.link }, step.kind === "test" ? words.result : words.bench) : "";
  if (step.kind === "test") return make("div", { class: "press" }, link, problem);
  if (step.state === "running") {
    const early = step.contact && !over(step);
    if (early) {
      done.setAttribute("aria-disabled", "true");
      done.setAttribute("aria-describedby", "not-before");
    }
    return make("div", { class: "press" }, done, problem, early ? make("p", { id: "not-before", class: "how" }, fill(words.not_before, { at: asExact.format(ends(step)) })) : "");
  }
  return step.attended ? make("div", { class: "press" }, done, step.kind === "step" ? start : "", link, problem) : make("div", { class: "press" }, start, problem);
}

// --- the lists below ------------------------------------------------------------------------------------------------------

function row(step, take, { why = false, plain = false, hint = "" } = {}) {
  const inside = [
    make("span", { class: "t" }, step.state === "done" ? step.ended_at || "" : step.at), make("span", { class: "p" }, step.place), make("span", { class: "n" }, step.name),
    make("span", { class: "m" }, hint || (step.overdue ? words.overdue : step.length_s ? length(step.length_s) : "")),
    why && step.why ? make("span", { class: "why" }, `${step.why}${step.by ? `, ${fill(words.by, { who: step.by })}` : ""}`) : "",
  ];
  return make("li", {}, plain ? make("div", { class: `row ${step.state}` }, ...inside) : make("button", { class: "row", type: "button", "data-key": step.id, onclick: () => take(step.id) }, ...inside));
}

export function drawLists(every, step, { take }) {
  const rest = every.filter((one) => one !== step);
  const toDo = (one) => one.state === "open" && !one.passed;
  const own = rest.filter((one) => one.mine && toDo(one));
  list("after-rows", own.slice(0, NEXT).map((one) => row(one, take)));
  list("later-rows", own.slice(NEXT).map((one) => row(one, take)));
  fold("later", words.later_many, own.length - NEXT);
  document.getElementById("after").hidden = !own.length;
  const wrong = rest.filter((one) => one.state === "problem" && (one.mine || one.by));
  list("wrong-rows", wrong.map((one) => row(one, take, { why: true, hint: one.kind === "step" && one.start ? words.again : "", plain: !one.start })));
  document.getElementById("wrong").hidden = !wrong.length;
  const owed = rest.filter((one) => one.owed && toDo(one));
  list("owed-rows", owed.map((one) => row(one, take)));
  fold("owed", words.owed_many, owed.length);
  others(rest.filter((one) => !one.mine && !one.owed && toDo(one)), take);
  const gone = rest.filter((one) => one.passed && one.mine);
  list("gone-rows", gone.map((one) => row(one, take, { plain: true })));
  fold("gone", words.gone_many, gone.length);
  const did = every.filter((one) => one.state === "done" && one.mine);
  list("did-rows", did.map((one) => row(one, take, { plain: true, why: true })));
  fold("did", words.did_many, did.length);
}

function others(steps, take) {
  const place = document.getElementById("others");
  const names = [...new Set(steps.map((one) => one.person))];
  for (const old of [...place.children]) if (!names.includes(old.dataset.who)) old.remove();
  for (const name of names) {
    let box = [...place.children].find((one) => one.dataset.who === name);
    if (!box) {
      box = make("details", { class: "fold", "data-who": name }, make("summary"), make("ol", { class: "rows" }));
      place.append(box);
    }
    const own = steps.filter((one) => one.person === name);
    box.firstChild.textContent = fill(words.others_many, { who: name || words.somebody, n: own.length });
    keepFocus(box.lastChild, own.slice(0, 40).map((one) => row(one, take)));
  }
}

function fold(id, word, n) {
  const box = document.getElementById(id);
  box.hidden = n <= 0;
  box.firstElementChild.textContent = fill(word, { n });
}

function list(id, rows) {
  keepFocus(document.getElementById(id), rows);
}

/** Put new rows into a list; whoever had one of the old ones in focus keeps it. */
function keepFocus(place, rows) {
  const key = place.contains(document.activeElement) ? document.activeElement.dataset.key : "";
  place.replaceChildren(...rows);
  if (key) [...place.querySelectorAll("[data-key]")].find((one) => one.dataset.key === key)?.focus();
}
