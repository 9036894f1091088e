// Codes from a scanner that types, or from the tablet's camera, as one event `scanned` on the document.
// Whoever takes a code calls preventDefault(); what nobody on the page takes comes again as `scanned-unused`, for tablet.js.
const SCHEME = "fettlebook:";
const THINGS = ["chair", "machine", "set", "load", "badge"];
const FAST_MS = 40; // mean time between keys of a scanner; a quick typist needs 80 and more
const PAUSE_MS = 150; // a wireless scanner may falter
const SHORTEST = 8;

// What a key would type on a US layout, by where it is: scanners come set to it, whatever the tablet's own layout is.
const PLAIN = {
  Minus: "-_", Equal: "=+", Slash: "/?", Period: ".>", Comma: ",<", Semicolon: ";:", Quote: "'\"", Backquote: "`~", BracketLeft: "[{",
  BracketRight: "]}", Backslash: "\\|", Space: "  ", Digit1: "1!", Digit2: "2@", Digit3: "3#", Digit4: "4$", Digit5: "5%", Digit6: "6^",
  Digit7: "7&", Digit8: "8*", Digit9: "9(", Digit0: "0)",
};

function byPlace(event) {
  if (/^Key[A-Z]$/.test(event.code)) return event.shiftKey ? event.code[3] : event.code[3].toLowerCase();
  if (/^Numpad[0-9]$/.test(event.code)) return event.code[6];
  return (PLAIN[event.code] || "")[event.shiftKey ? 1 : 0] || "";
}

/** What one of our codes stands for: {kind: "step" | "card", chair, duty, step} or {kind: a thing, id}; null: not ours. */
export function read(text) {
  if (!text.startsWith(SCHEME)) return null;
  const rest = text.slice(SCHEME.length);
  try {
    const [, thing, id] = rest.match(/^([a-z]+)=([^/=]+)$/) || [];
    if (thing) return THINGS.includes(thing) ? { kind: thing, id: decodeURIComponent(id) } : null;
    const parts = rest.split("/");
    if (![2, 3].includes(parts.length) || parts.includes("")) return null;
    const [chair, duty, step] = parts.map(decodeURIComponent);
    return step === undefined ? { kind: "card", chair, duty } : { kind: "step", chair, duty, step };
  } catch { return null; }
}

/** Tell the page of a code. `by` is "scanner" or "camera". */
export function scanned(text, by) {
  const meant = read(text);
  const event = new CustomEvent("scanned", { detail: { text, by, kind: "other", ...meant }, cancelable: true });
  if (document.dispatchEvent(event)) document.dispatchEvent(new CustomEvent("scanned-unused", { detail: event.detail }));
}

let burst = null; // {keys, places, began, last, field, value}

function field() {
  const at = document.activeElement;
  return at && (at.matches("textarea") || (at.matches("input") && !/^(button|checkbox|radio|submit|range|file)$/.test(at.type))) ? at : null;
}

addEventListener("keydown", (event) => {
  if (event.isTrusted === false || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  const now = event.timeStamp;
  if (burst && now - burst.last > PAUSE_MS) burst = null;
  if (event.key === "Enter" || event.key === "Tab") return end(event, now);
  if (event.key.length !== 1) return; // Shift and the like, which a scanner presses too
  if (!burst) {
    const at = field();
    burst = { keys: "", places: "", began: now, last: now, field: at, value: at && at.value };
  }
  burst.keys += event.key;
  burst.places += byPlace(event);
  burst.last = now;
  // In a list or on a radio button letters would choose something: from the third on they are a scanner's.
  if (burst.keys.length > 2 && !burst.field && (now - burst.began) / (burst.keys.length - 1) < FAST_MS) event.preventDefault();
}, true);

function end(event, now) {
  const done = burst;
  burst = null;
  if (!done || done.keys.length < SHORTEST) return;
  const text = [done.keys, done.places].find((one) => read(one));
  const fast = (now - done.began) / done.keys.length <= FAST_MS;
  if (!text && (!fast || done.field)) return; // typed, or a package's code scanned into its own field
  event.preventDefault();
  event.stopImmediatePropagation();
  if (text && done.field) { // the field did not want it
    done.field.value = done.value;
    done.field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  scanned(text || done.keys, "scanner");
}

/** Whether this browser reads codes by camera: a Chromium on a tablet does, most on a desk don't. */
export async function canSee() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return false;
  return (await BarcodeDetector.getSupportedFormats().catch(() => [])).includes("qr_code");
}

/** Look through the camera until a code is seen or the dialog is closed. */
export async function look(dialog) {
  const video = dialog.querySelector("video");
  const said = dialog.querySelector("[role=alert]");
  said.textContent = "";
  dialog.showModal();
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    video.srcObject = stream;
    await video.play();
    const detector = new BarcodeDetector({ formats: ["qr_code", "data_matrix"] });
    while (dialog.open) {
      const [seen] = await detector.detect(video).catch(() => []);
      if (seen) {
        dialog.close();
        scanned(seen.rawValue, "camera");
      }
      await new Promise((resolve) => { setTimeout(resolve, 150); });
    }
  } catch (error) {
    said.textContent = error.name === "NotAllowedError" ? dialog.dataset.refused : dialog.dataset.none;
  } finally {
    for (const track of stream ? stream.getTracks() : []) track.stop();
    video.srcObject = null;
  }
}
