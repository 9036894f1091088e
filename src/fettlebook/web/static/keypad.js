// Large keys below a PIN's field, for gloved hands.
for (const form of document.querySelectorAll("form[data-keypad]")) {
  const keys = form.querySelector(".keypad");
  const field = form.querySelector('input[type="password"]');
  keys.hidden = false;
  keys.addEventListener("click", (event) => {
    const key = event.target.closest("button")?.dataset.key;
    if (!key) return;
    field.value = key === "wipe" ? field.value.slice(0, -1) : field.value + key;
  });
}
