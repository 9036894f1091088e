// A short tone at the end of a timer: two falling notes of our own. Off until somebody switches it on at this device.
const KEY = "tone";
let audio = null;

export function toneOn() {
  try { return localStorage.getItem(KEY) === "on"; } catch { return false; }
}

export function setTone(on) {
  try { localStorage.setItem(KEY, on ? "on" : "off"); } catch { /* a browser that keeps nothing: it stays off */ }
}

export function chime() {
  if (!toneOn() || !("AudioContext" in window)) return;
  audio ??= new AudioContext();
  audio.resume();
  [[880, 0], [660, 0.22], [880, 0.6], [660, 0.82]].forEach(([hertz, after]) => {
    const [voice, volume, at] = [audio.createOscillator(), audio.createGain(), audio.currentTime + after];
    voice.frequency.value = hertz;
    volume.gain.setValueAtTime(0, at);
    volume.gain.linearRampToValueAtTime(0.3, at + 0.02);
    volume.gain.exponentialRampToValueAtTime(0.001, at + 0.4);
    voice.connect(volume).connect(audio.destination);
    voice.start(at);
    voice.stop(at + 0.45);
  });
  document.dispatchEvent(new CustomEvent("chimed"));
}
