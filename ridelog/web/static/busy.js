// Forms whose answer takes a while say so at once, also to those who do not see the page.
import { working } from "./common.js";

for (const form of document.querySelectorAll("form[data-busy]")) {
  form.addEventListener("submit", ({ submitter }) => {
    // A file is kept beside the page, which stays.
    if (submitter?.matches("[data-file]")) return;
    const said = (submitter?.closest(".row") ?? form).querySelector("[role=status]");
    if (said) working(said, submitter?.dataset.busy ?? form.dataset.busy);
  });
}
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
