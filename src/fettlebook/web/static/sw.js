// Keeps the program and the last pages in the tablet, so that the day goes on without network. What was noted is kept by queue.js.
// The server puts its edition in here: another edition is another file, and the browser then takes the new program.
const EDITION = "@edition@";
const PROGRAM = ["@program@"]; // addresses of all that a page may load
const [STATIC, PAGES] = [`program ${EDITION}`, `pages ${EDITION}`];
const WAIT_MS = 5_000; // then a kept page is better than none
const PAGES_MOST = 40;
const KEPT = [/^\/work(\/|$)/, /^\/visits$/, /^\/board(\/|$)/, /^\/day\/[^/]+$/, /^\/held$/, /^\/settle$/];
const SHELL = ["/offline", "/held"];
let serverEdition = EDITION;

addEventListener("install", (event) => event.waitUntil(install()));
addEventListener("activate", (event) => event.waitUntil(activate()));
addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (address.origin !== location.origin || address.pathname.startsWith("/api/")) return;
  if (request.mode === "navigate") {
    event.respondWith(request.method === "GET" ? page(event, address) : sent(request, address));
  } else if (request.method === "GET" && PROGRAM.includes(address.pathname)) {
    event.respondWith(program(request, address));
  }
});
addEventListener("message", (event) => {
  if (event.data === "forget pages") event.waitUntil(caches.delete(PAGES).then(shell));
});

async function install() {
  const cache = await caches.open(STATIC);
  await cache.addAll(PROGRAM.map((address) => new Request(address, { cache: "reload" })));
  await shell();
  await skipWaiting();
}

async function shell() {
  const cache = await caches.open(PAGES);
  await Promise.all(SHELL.map(async (address) => {
    const answer = await fetch(address, { cache: "reload" }).catch(() => null);
    if (answer && answer.ok && !answer.redirected) await cache.put(address, answer);
  }));
}

// The pages of the earlier edition are fetched anew: the network is there, or this edition could not have come.
async function activate() {
  const names = (await caches.keys()).filter((name) => /^(program|pages) /.test(name) && name !== STATIC && name !== PAGES);
  const cache = await caches.open(PAGES);
  for (const name of names.filter((one) => one.startsWith("pages "))) {
    for (const request of await (await caches.open(name)).keys()) {
      if (await cache.match(request)) continue;
      const answer = await fetch(request.url, { cache: "reload" }).catch(() => null);
      if (answer && answer.ok && !answer.redirected) await cache.put(request.url, answer);
    }
  }
  await Promise.all(names.map((name) => caches.delete(name)));
  await clients.claim();
}

function isKept(address) {
  return KEPT.some((form) => form.test(address.pathname));
}

async function page(event, address) {
  const fresh = fetch(event.request).then(async (answer) => {
    heed(answer);
    if (answer.ok && isKept(address)) await keep(address, answer.clone());
    return answer;
  });
  event.waitUntil(fresh.catch(() => {}));
  const kept = isKept(address) ? await (await caches.open(PAGES)).match(address.href) : undefined;
  try {
    return await (kept ? Promise.race([fresh, late()]) : fresh);
  } catch {
    return (kept && marked(kept)) || instead(address);
  }
}

function late() {
  return new Promise((_, fail) => { setTimeout(() => fail(new Error("late")), WAIT_MS); });
}

async function keep(address, answer) {
  const cache = await caches.open(PAGES);
  await cache.delete(address.href); // so that the newest stands last
  await cache.put(address.href, answer);
  const keys = await cache.keys();
  const spare = keys.filter((request) => !SHELL.includes(new URL(request.url).pathname));
  for (const request of spare.slice(0, Math.max(0, spare.length - PAGES_MOST))) await cache.delete(request);
}

// A page that was kept says so: it carries the mark, and the line at its foot tells how old it is.
async function marked(kept) {
  const text = (await kept.text()).replace(/<body\b/, '<body data-kept="yes"');
  const headers = new Headers(kept.headers);
  headers.delete("Content-Length");
  return new Response(text, { status: 200, headers });
}

async function instead(address) {
  const cache = await caches.open(PAGES);
  if (address.pathname === "/") {
    const keys = (await cache.keys()).map((request) => new URL(request.url)).filter((one) => /^\/(work|day)(\/|$)/.test(one.pathname));
    const next = keys.findLast((one) => one.pathname === "/work") || keys.at(-1);
    if (next) return Response.redirect(next.pathname + next.search, 302);
  }
  const near = isKept(address) && (await cache.match(address.href, { ignoreSearch: true }));
  return near ? marked(near) : noServer(cache);
}

async function noServer(cache) {
  const page = await cache.match("/offline");
  return new Response(page ? await page.text() : "No network.", {
    status: 503, headers: page ? page.headers : { "Content-Type": "text/plain; charset=utf-8" },
  });
}

// A form that can't reach the server is never sent later behind a person's back: the page says that it was not sent.
async function sent(request, address) {
  try {
    const answer = await fetch(request);
    if (address.pathname === "/sign-out" || address.pathname === "/language") await caches.delete(PAGES).then(shell);
    return answer;
  } catch {
    return noServer(await caches.open(PAGES));
  }
}

// The server is of another edition: from now on its own files, until the new worker has taken over.
function heed(answer) {
  const edition = answer.headers.get("Fettlebook-Edition");
  if (edition && edition !== serverEdition) {
    serverEdition = edition;
    registration.update().catch(() => {});
  }
}

async function program(request, address) {
  const cache = await caches.open(STATIC);
  if (serverEdition !== EDITION) {
    const fresh = await fetch(request).catch(() => null);
    if (fresh && fresh.ok) return fresh;
  }
  return (await cache.match(address.pathname)) || fetch(request);
}
