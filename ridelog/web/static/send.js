// The owner's sheet handed to whatever this device sends files with; where it sends none, there is the download.
import { unfold, working } from "./common.js";

const button = document.getElementById("send");
const said = document.getElementById("send-words");
const sheet = (parts) => new File(parts, button.dataset.name, { type: "application/pdf" });
document.getElementById("send-box").hidden = !navigator.canShare?.({ files: [sheet([""])] });

button.addEventListener("click", async () => {
  working(said, "The sheet is being made\u2026");
  try {
    const answer = await fetch(button.dataset.file);
    if (!answer.ok) throw new Error(answer.status);
    await navigator.share({ files: [sheet([await answer.blob()])], title: document.title });
    said.textContent = "Handed over.";
  } catch (error) {
    said.textContent = error.name === "AbortError" ? "Not sent." : "This did not work: keep the PDF and send it from there.";
  }
});
unfold();
