// Photos of a machine are sent one by one; what is refused is said, and the others are kept.
import { token } from "./common.js";

const form = document.getElementById("photos");
const said = form?.querySelector(".state");
const value = (id) => document.getElementById(id).value;

async function put(file) {
  const query = new URLSearchParams({ name: file.name, day: value("photo-day"), note: value("photo-words") });
  const answer = await fetch(`/machines/${form.dataset.machine}/photos?${query}`,
    { method: "PUT", body: file, headers: { "x-ridelog-token": token } });
  if (answer.ok) return "";
  const text = await answer.text();
  try {
    const { problem, advice } = JSON.parse(text);
    return `${problem} ${advice}`;
  } catch { return `${file.name}: ${text}`; }
}

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const files = [...document.getElementById("photo-files").files];
  const button = form.querySelector("button");
  const wrong = [];
  button.disabled = true;
  for (const [number, file] of files.entries()) {
    said.textContent = `Sending ${number + 1} of ${files.length}…`;
    try {
      const problem = await put(file);
      if (problem) wrong.push(problem);
    } catch { wrong.push(`${file.name}: this did not get through. Is the server still running?`); }
  }
  button.disabled = false;
  if (!wrong.length) return location.assign(`/machines/${form.dataset.machine}?saved=past#past-head`);
  said.textContent = wrong.join(" ");
  return undefined;
});
