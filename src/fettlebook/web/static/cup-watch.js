// The watch beside a cup: a touch starts it, it counts down, and says when the cup is to be taken away.
import { chime } from "/static/tone.js";

const watch = document.getElementById("watch");
const [button, left, end] = [watch.querySelector("button"), watch.querySelector("output"), watch.querySelector("[role=status]")];
const seconds = Number(watch.dataset.seconds);
let until = 0;
let ticking = 0;

function show() {
  const rest = (until - performance.now()) / 1000;
  left.value = String(Math.max(0, Math.ceil(rest)));
  if (rest > 0) return;
  clearInterval(ticking);
  end.textContent = end.dataset.end;
  document.getElementById("answer").focus();
  chime();
}

button.addEventListener("click", () => {
  clearInterval(ticking);
  until = performance.now() + seconds * 1000;
  end.textContent = "";
  ticking = setInterval(show, 100);
  show();
});
watch.hidden = false;
