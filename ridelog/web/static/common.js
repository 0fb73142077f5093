// What the pages share: the token of this page, and news about rides that are being measured.
import { localise } from "./times.js";

export const token = document.body.dataset.token;

// A stream is held only while something is going on and the page is in sight: browsers allow few.
export function follow(report) {
  let source = null;
  let wanted = false;
  let again = false;
  const close = () => { source?.close(); source = null; };
  const open = () => {
    if (source || !wanted || document.hidden) return;
    source = new EventSource("/events");
    source.onmessage = (event) => {
      const tasks = JSON.parse(event.data);
      report(tasks);
      if (tasks.some((task) => ["waiting", "working", "drawing"].includes(task.state))) return;
      // Asked for since it was opened: this news may be older than what was asked for.
      wanted = again;
      again = false;
      close();
      open();
    };
    source.onerror = () => { if (source?.readyState === EventSource.CLOSED) { close(); setTimeout(open, 1500); } };
  };
  document.addEventListener("visibilitychange", () => (document.hidden ? close() : open()));
  window.addEventListener("pagehide", close);
  return () => { wanted = true; again = Boolean(source); open(); };
}

// Take parts of a page that the server has made anew, and leave the rest as it is.
export async function renew(...names) {
  const answer = await fetch(location.pathname + location.search, { headers: { accept: "text/html" } });
  if (!answer.ok) return null;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const name of names) {
    const [old, now] = [document.getElementById(name), fresh.getElementById(name)];
    if (!old || !now) continue;
    localise(now);
    // Ticked while the answer was on its way, and ticked still.
    const ticked = new Set([...old.querySelectorAll("input[type=checkbox]:checked")].map((box) => `${box.name} ${box.value}`));
    for (const box of now.querySelectorAll("input[type=checkbox]")) if (ticked.has(`${box.name} ${box.value}`)) box.checked = true;
    const held = old.contains(document.activeElement) ? mark(document.activeElement) : null;
    old.replaceWith(document.adoptNode(now));
    // Who goes by the keyboard stays where he was, though the part is new.
    if (held) [...now.querySelectorAll("a, button, input, select, summary, textarea")].find((one) => mark(one) === held)?.focus({ preventScroll: true });
  }
  return fresh;
}

// What tells one thing that can be gone to from another, before and after its part is renewed.
const mark = (one) => [one.tagName, one.id, one.name, one.value, one.getAttribute("href"), one.closest("tr")?.textContent.trim().split(/\s/)[0]].join(" ");

export function words(task) {
  if (task.state === "failed") return task.problem;
  if (task.state === "waiting") return "waits its turn";
  if (task.state === "working") {
    const first = task.first?.words[document.body.dataset.unit];
    return `is being measured${first?.length ? `; first look: ${first[0]} (${first[1]})` : ""}`;
  }
  if (task.state === "drawing") return "is measured; the pictures of its page follow";
  return "is measured";
}

// Say that something is going on, for which nobody knows how long it takes.
export function working(place, text) {
  const bar = document.createElement("progress");
  bar.setAttribute("aria-label", "Progress");
  place.replaceChildren(text, bar);
}

// A link to something folded unfolds it.
export function unfold() {
  document.addEventListener("click", (event) => {
    const name = event.target.closest('a[href^="#"]')?.getAttribute("href").slice(1);
    const folded = name && document.getElementById(name)?.closest("details");
    if (folded) folded.open = true;
  });
}
