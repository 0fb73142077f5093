// Forms whose answer takes a while say so at once, also to those who do not see the page.
import { working } from "./common.js";

for (const form of document.querySelectorAll("form[data-busy], #sheet")) {
  form.addEventListener("submit", (event) => {
    const { submitter } = event;
    if (event.defaultPrevented) return;
    const said = (submitter?.closest(".row") ?? form).querySelector("[role=status]");
    if (submitter?.matches("[data-file]")) {
      event.preventDefault();
      keepFile(form, submitter, said);
      return;
    }
    const there = filled(form, submitter);
    if (form.method === "get" && there.pathname + there.search === location.pathname + location.search) {
      // To the same address a browser only moves within the page, and no answer would ever come.
      event.preventDefault();
      history.replaceState(null, "", there);
      location.reload();
    } else if (said) working(said, submitter?.dataset.busy ?? form.dataset.busy);
  });
}

function filled(form, button) {
  const place = new URL(button?.hasAttribute("formaction") ? button.formAction : form.action);
  place.search = new URLSearchParams(new FormData(form));
  return place;
}

// A file is kept beside the page, which stays: it says that the file is being made, that it is there, or what went wrong.
async function keepFile(form, button, said) {
  working(said, "The file is being made\u2026");
  const answer = await fetch(filled(form, button), { headers: { accept: "application/json" } }).catch(() => null);
  if (!answer?.ok) {
    const told = await answer?.json().catch(() => null);
    said.textContent = told ? `${told.problem} ${told.advice}` : "This did not get through. Is the server still running?";
    return;
  }
  const name = answer.headers.get("content-disposition")?.match(/filename="([^"]+)"/)?.[1] ?? button.textContent;
  const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(await answer.blob()), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  said.textContent = `${name} is downloaded.`;
}
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
