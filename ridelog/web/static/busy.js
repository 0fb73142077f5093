// Forms whose answer takes a while say so at once, also to those who do not see the page.
for (const form of document.querySelectorAll("form[data-busy]")) {
  form.addEventListener("submit", () => {
    const said = form.querySelector("[role=status]");
    if (said) said.textContent = form.dataset.busy;
  });
}
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
