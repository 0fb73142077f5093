// The figures stand there at once; the picture of the runs follows when it is drawn.
import { renew, unfold, working } from "./common.js";

unfold();

// What is typed for the sheet stands in the address at once: it is there on coming back, and nothing is made without it.
const sheet = document.getElementById("sheet");
const work = document.getElementById("work");
const typed = () => [...new FormData(sheet)].filter(([, text]) => text);
let later = 0;
function keep() {
  clearTimeout(later);
  const query = new URLSearchParams(typed());
  history.replaceState(null, "", `/compare?${query}${location.hash}`);
  for (const back of document.querySelectorAll("input[name=back]")) back.value = `/compare?${query}`;
  document.getElementById("send").dataset.file = `/compare/sheet.pdf?${query}`;
  for (const one of work?.querySelectorAll("[name=done], [name=price], [name=hours], [name=open]") ?? []) one.value = sheet.elements[one.name].value;
}
// The Enter key in a field asks for nothing: the same address again would not even be loaded.
sheet.addEventListener("submit", (event) => { if (event.submitter?.id === "enter") { event.preventDefault(); keep(); } });
for (const [kind, wait] of [["input", 500], ["change", 0]]) {
  document.addEventListener(kind, (event) => {
    if (event.target.form !== sheet) return;
    clearTimeout(later);
    // Browsers take only so many addresses in a time.
    if (wait) later = setTimeout(keep, wait); else keep();
  });
}

const drawing = document.getElementById("drawing");
if (drawing) {
  working(drawing, drawing.firstChild.textContent);
  const answer = await fetch(drawing.dataset.drawn, { method: "HEAD" }).catch(() => null);
  // Whoever has gone on to another page meanwhile needs no picture.
  const drawn = answer?.ok && (await renew("runs").catch(() => null));
  if (!drawn) drawing.textContent = "The picture could not be made. Load the page again to try once more.";
}
