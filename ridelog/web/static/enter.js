// A code in the address's fragment fills the form; the fragment never reaches a server's log.
const code = decodeURIComponent(location.hash.slice(1));
if (/^[A-Za-z0-9]{4,20}$/.test(code)) {
  document.getElementById("code").value = code;
  history.replaceState(null, "", location.pathname);
  document.getElementById("enter").submit();
}
