// The page of one ride: its charts, and its figures as they are measured.
import { follow, renew, unfold, words } from "./common.js";
import { Charts } from "./charts.js";
import { Marking } from "./marking.js";

const page = document.getElementById("ride");
const ride = page.dataset.ride;
const work = document.getElementById("work");
// The same beside the marks: whoever has just made one looks there.
const report = (text) => { for (const place of [work, ...document.querySelectorAll("[data-work]")]) place.textContent = text; };
let charts = null;
let seen = "";

if (document.getElementById("charts")) {
  charts = new Charts(ride);
  const marking = new Marking(charts);
  charts.draw().then(() => marking.turn()).catch(() => { work.textContent = "The charts cannot be drawn yet."; });
}
unfold();

const look = follow(async (tasks) => {
  const task = tasks.filter((one) => String(one.ride_id) === ride).at(-1);
  if (!task) return;
  const now = `${task.number} ${task.state} ${Boolean(task.first)}`;
  if (now === seen) return;
  const before = seen;
  seen = now;
  const busy = !["done", "failed"].includes(task.state);
  report(busy ? `This ride ${words(task)}…` : "");
  const first = task.first?.words[document.body.dataset.unit];
  if (first && document.getElementById("first-value")) {
    const [value, bounds] = first.length ? first : ["none", ""];
    document.getElementById("first-value").textContent = value;
    document.getElementById("first-bounds").textContent = first.length
      ? `${bounds}: a first look, the rest is being measured` : "the rest is being measured";
  }
  // On a slow line all of it may have happened before the first news: what the page itself shows decides then.
  if (task.state === "failed") { if (before || page.dataset.state === "waiting") location.reload(); return; }
  if ((task.state === "drawing" || task.state === "done") && (before || page.dataset.current !== "yes")) {
    // A page that had no figures at all lacks charts and forms too: load it whole.
    if (!document.getElementById("charts")) { location.reload(); return; }
    await renew("figures", "sections", "kept-files");
    await charts?.draw();
    if (task.state === "done") page.dataset.current = "yes";
  }
});
if (page.dataset.current !== "yes") look();
