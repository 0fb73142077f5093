// The figures stand there at once; the picture of the runs follows when it is drawn.
import { renew, unfold, working } from "./common.js";

unfold();
const drawing = document.getElementById("drawing");
if (drawing) {
  working(drawing, drawing.firstChild.textContent);
  const answer = await fetch(drawing.dataset.drawn, { method: "HEAD" }).catch(() => null);
  // Whoever has gone on to another page meanwhile needs no picture.
  const drawn = answer?.ok && (await renew("runs").catch(() => null));
  if (!drawn) drawing.textContent = "The picture could not be made. Load the page again to try once more.";
}
