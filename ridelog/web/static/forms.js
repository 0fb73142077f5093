// Forms are sent without leaving the page: what is refused is said beside its field, and what was typed stays in this tab
// until the server has it, also across a lost session or a server that was started again.
const KEPT = "form[method=post]:not(#enter, .units, [data-whole])";
const place = (form) => `typed ${location.pathname} ${form.getAttribute("action")}`;
const fields = (form) => [...form.elements].filter((one) => one.name && one.matches("input:not([type=hidden]), textarea, select"));
// What follows from the page alone need not be kept.
const typed = (field) => (field.type === "checkbox" ? field.checked !== field.defaultChecked
  : field.matches("select") ? [...field.options].some((one) => one.selected !== one.defaultSelected) : field.value !== field.defaultValue);

function keep(form) {
  const values = Object.fromEntries(fields(form).filter(typed).map((one) => [one.name, one.type === "checkbox" ? one.checked : one.value]));
  if (Object.keys(values).length) sessionStorage.setItem(place(form), JSON.stringify(values));
  else sessionStorage.removeItem(place(form));
}

function refill(form) {
  const values = JSON.parse(sessionStorage.getItem(place(form)) ?? "{}");
  let any = false;
  for (const field of fields(form)) {
    const value = values[field.name];
    if (value === undefined) continue;
    if (field.type === "checkbox") field.checked = value; else field.value = value;
    if (!typed(field)) continue;
    any = true;
    const folded = field.closest("details");
    if (folded) folded.open = true;
  }
  if (!any) return;
  const away = Object.assign(document.createElement("button"), { type: "button", textContent: "Throw it away" });
  away.addEventListener("click", () => { form.reset(); sessionStorage.removeItem(place(form)); note(form); });
  note(form, "What you typed here is back. It is not saved yet.", away);
}

// Say something at the end of a form, or nothing any more.
function note(form, words, ...more) {
  form.querySelector(".form-note")?.remove();
  if (!words) return;
  const said = Object.assign(document.createElement("p"), { className: "form-note" });
  said.setAttribute("role", "status");
  said.append(words, " ", ...more);
  form.append(said);
}

function clear(form) {
  note(form);
  for (const one of form.querySelectorAll(".wrong")) one.remove();
  for (const one of form.querySelectorAll("[aria-invalid]")) { one.removeAttribute("aria-invalid"); one.removeAttribute("aria-errormessage"); }
}

function link(address, words) {
  return Object.assign(document.createElement("a"), { href: address, textContent: words });
}

function refuse(form, { problem, advice = "", field = "" }) {
  const words = problem[0].toUpperCase() + problem.slice(1) + (advice && ` ${advice[0].toUpperCase()}${advice.slice(1)}`);
  const wrong = field && form.elements[field];
  if (!wrong?.name) return note(form, words);
  const said = Object.assign(document.createElement("p"), { className: "wrong", id: `wrong-${field}-${place(form).replace(/\W/g, "-")}`, textContent: words });
  said.setAttribute("role", "alert");
  wrong.after(said);
  wrong.setAttribute("aria-invalid", "true");
  wrong.setAttribute("aria-errormessage", said.id);
  // What is folded away cannot be looked at.
  const folded = wrong.closest("details");
  if (folded) folded.open = true;
  wrong.focus();
  return undefined;
}

// Whoever has gone on to another page meanwhile is not called back from there.
let leaving = false;
window.addEventListener("beforeunload", () => { leaving = true; });

async function send(form, pressed) {
  leaving = false;
  const body = new URLSearchParams(new FormData(form));
  if (pressed?.name) body.append(pressed.name, pressed.value);
  let answer;
  try {
    // A small form arrives even if the page is left meanwhile; browsers let no large ones do so.
    answer = await fetch(form.action, { method: "POST", body, headers: { accept: "application/json" }, keepalive: String(body).length < 50_000 });
  } catch {
    return note(form, "This did not get through. Is the server still running? What you typed stays here.");
  }
  const text = await answer.text();
  let said = null;
  try { said = JSON.parse(text); } catch { /* a refusal before any page: plain words */ }
  if (said?.to) {
    sessionStorage.removeItem(place(form));
    if (leaving) return undefined;
    const there = new URL(said.to, location.href);
    const same = there.pathname + there.search === location.pathname + location.search;
    if (!same) return location.assign(there);
    history.replaceState(null, "", there);
    return location.reload();
  }
  if (answer.status === 403 && (said ?? text.startsWith("Enter the code"))) {
    keep(form);
    const here = location.pathname + location.search;
    return said ? note(form, "The server was started again meanwhile, so this is not saved yet. What you typed is kept.", link(here, "Load the page again"))
      : note(form, "This telephone has to come in again. What you typed is kept.", link(`/enter?back=${encodeURIComponent(here)}`, "Enter a code"));
  }
  return refuse(form, said ?? { problem: text.trim() || "The server refused it." });
}

for (const form of document.querySelectorAll(KEPT)) refill(form);
// A page loaded again begins for the keyboard at its top: who has sent a form goes on at the place in the address.
const sentTo = document.getElementById(location.hash.slice(1));
if (sentTo && document.activeElement === document.body) {
  sentTo.tabIndex = -1;
  sentTo.focus({ preventScroll: true });
  sentTo.removeAttribute("tabindex");
}
for (const kind of ["input", "change"]) document.addEventListener(kind, (event) => { const form = event.target.form; if (form?.matches(KEPT)) keep(form); });
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches(KEPT) || event.defaultPrevented) return;
  event.preventDefault();
  if (form.dataset.sending) return;
  form.dataset.sending = "yes";
  clear(form);
  await send(form, event.submitter);
  delete form.dataset.sending;
});
