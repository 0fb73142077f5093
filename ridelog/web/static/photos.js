// Photos and logos are sent one by one; what is refused is said, and the others are kept.
import { token } from "./common.js";

async function put(place, file, more) {
  const query = new URLSearchParams({ name: file.name, ...more });
  const answer = await fetch(`${place}?${query}`, { method: "PUT", body: file, headers: { "x-ridelog-token": token } });
  if (answer.ok) return "";
  const text = await answer.text();
  try {
    const { problem, advice } = JSON.parse(text);
    return `${problem} ${advice}`;
  } catch { return `${file.name}: ${text}`; }
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.dataset.put) return;
  event.preventDefault();
  const said = form.querySelector(".state");
  const files = [...form.querySelector("input[type=file]").files];
  const more = Object.fromEntries([...form.elements].filter((one) => one.name).map((one) => [one.name, one.value]));
  const button = form.querySelector("button");
  const wrong = [];
  button.disabled = true;
  for (const [number, file] of files.entries()) {
    said.textContent = `Sending ${number + 1} of ${files.length}…`;
    try {
      const problem = await put(form.dataset.put, file, more);
      if (problem) wrong.push(problem);
    } catch { wrong.push(`${file.name}: this did not get through. Is the server still running?`); }
  }
  button.disabled = false;
  if (wrong.length) { said.textContent = wrong.join(" "); return; }
  const there = new URL(form.dataset.then, location.href);
  if (there.pathname + there.search !== location.pathname + location.search) { location.assign(there); return; }
  history.replaceState(null, "", there);
  location.reload();
});

// Before there is somebody to take them, the browser would leave the page and forget what was chosen.
for (const button of document.querySelectorAll("form[data-put] button")) button.disabled = false;
