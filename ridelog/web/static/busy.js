// Forms whose answer takes a while say so at once, also to those who do not see the page.
import { working } from "./common.js";

for (const form of document.querySelectorAll("form[data-busy]")) {
  form.addEventListener("submit", () => {
    const said = form.querySelector("[role=status]");
    if (said) working(said, form.dataset.busy);
  });
}
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
