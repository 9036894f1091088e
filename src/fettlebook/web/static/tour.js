// What was done of the tour: kept in this browser, sent nowhere. Without a store the tour works as a plain list.
const KEY = "fettlebook.tour";
const ticks = [...document.querySelectorAll("[data-stop]")];
const said = document.getElementById("tour-so-far");
const anew = document.getElementById("tour-anew");

function kept() {
  try {
    const held = JSON.parse(localStorage.getItem(KEY) || "[]");
    return new Set(Array.isArray(held) ? held.map(String) : []);
  } catch {
    return new Set();
  }
}

function keep(done) {
  try {
    localStorage.setItem(KEY, JSON.stringify([...done]));
  } catch {
    // a browser that keeps nothing: the ticks hold until the page is left
  }
}

function draw(done) {
  const next = ticks.find((tick) => !done.has(tick.dataset.stop));
  for (const tick of ticks) {
    tick.checked = done.has(tick.dataset.stop);
    const stop = tick.closest(".stop");
    stop.classList.toggle("stop-done", tick.checked);
    stop.querySelector(".button").classList.toggle("main", tick === next);
  }
  said.textContent = said.dataset.said.replace("{n}", String(ticks.filter((tick) => tick.checked).length)).replace("8", String(ticks.length));
  said.hidden = anew.hidden = done.size === 0;
}

for (const tick of ticks) {
  tick.closest("label").hidden = false;
  tick.addEventListener("change", () => {
    const done = kept();
    if (tick.checked) done.add(tick.dataset.stop);
    else done.delete(tick.dataset.stop);
    keep(done);
    draw(done);
  });
}
anew.addEventListener("click", () => {
  keep(new Set());
  draw(new Set());
  document.querySelector("h1").scrollIntoView();
});
draw(kept());
