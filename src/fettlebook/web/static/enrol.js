// The scanned sign holds the code behind the address: put it into the field. A touch still sends it.
function take() {
  const code = decodeURIComponent(location.hash.slice(1));
  const field = document.getElementById("f-code");
  if (!field || !/^[0-9A-Z ]{4,20}$/.test(code)) return;
  field.value = code;
  history.replaceState(null, "", location.pathname);
}
addEventListener("hashchange", take);
take();
