// A code in the address's fragment fills the form; the fragment never reaches a server's log.
function take() {
  const code = decodeURIComponent(location.hash.slice(1));
  if (!/^[A-Za-z0-9]{4,20}$/.test(code)) return;
  document.getElementById("code").value = code;
  history.replaceState(null, "", location.pathname);
  document.getElementById("enter").submit();
}
// Another code may be read while this page is open: then only the fragment changes.
window.addEventListener("hashchange", take);
take();
