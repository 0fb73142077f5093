// The figures stand there at once; the picture of the runs follows when it is drawn.
import { renew, unfold, working } from "./common.js";

unfold();
const drawing = document.getElementById("drawing");
if (drawing) {
  working(drawing, drawing.firstChild.textContent);
  const answer = await fetch(drawing.dataset.drawn, { method: "HEAD" }).catch(() => null);
  if (answer?.ok) await renew("runs");
  else drawing.textContent = "The picture could not be made. Load the page again to try once more.";
}
