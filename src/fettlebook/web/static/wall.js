// The wall board: puts each part that the server sends in the place of the old one. Where the stream fails, it asks every 10 s.
const wall = document.getElementById("wall");
const line = document.getElementById("line");
const ASK_MS = 10_000;
const SILENT_MS = 20_000; // the server says something every 2 s
let source = null;
let asking = 0;
let heard = Date.now();

function say(state) {
  if (line.dataset.state === state) return;
  line.dataset.state = state;
  line.textContent = line.dataset[state];
}

function show(mark, html) {
  heard = Date.now();
  if (mark === wall.dataset.mark) return;
  const address = document.activeElement?.closest?.("#wall a")?.getAttribute("href");
  const template = document.createElement("template");
  template.innerHTML = html; // of this server, escaped there
  wall.replaceChildren(template.content);
  wall.dataset.mark = mark;
  if (address) [...wall.querySelectorAll("a")].find((a) => a.getAttribute("href") === address)?.focus();
}

async function ask() {
  try {
    const answer = await fetch("/board/now", { headers: { Accept: "application/json" } });
    if (answer.redirected || answer.status === 401) return void location.reload(); // this device is not let in any more
    if (!answer.ok) throw new Error(String(answer.status));
    const { mark, html } = await answer.json();
    show(mark, html);
    say("asks");
    listen(); // the stream may be there again
  } catch {
    say("cut");
  }
}

function fallBack() {
  if (asking) return;
  ask();
  asking = setInterval(ask, ASK_MS);
}

function listen() {
  if (source && source.readyState !== EventSource.CLOSED) return;
  source = new EventSource(`/board/stream?seen=${encodeURIComponent(wall.dataset.mark)}`);
  source.addEventListener("open", () => {
    heard = Date.now();
    clearInterval(asking);
    asking = 0;
    say("live");
  });
  source.addEventListener("board", (event) => show(event.lastEventId, event.data));
  source.addEventListener("still", () => { heard = Date.now(); });
  source.addEventListener("error", fallBack);
}

// A network that went away without a word leaves the stream open and silent.
setInterval(() => {
  if (source?.readyState === EventSource.OPEN && Date.now() - heard > SILENT_MS) {
    source.close();
    fallBack();
  }
}, 5_000);

addEventListener("pagehide", () => source?.close());
addEventListener("pageshow", (event) => event.persisted && listen());
listen();
