// The front page: logs come in one after the other, the queue shows what happens to each.
import { follow, renew, token, words, working } from "./common.js";

const MOST_BYTES = 128 * 1024 * 1024;
// Slow, too many at once, no room yet: the same log may get through later.
const MAY_PASS = [408, 429, 503, 507];
const drop = document.getElementById("drop");
const files = document.getElementById("files");
const queue = document.getElementById("rows");
const failures = document.getElementById("failed-rows");
const belongs = document.getElementById("belongs-form");
const said = document.getElementById("said");
const sides = new Map();      // by ride: what its log was said to be when it was dropped
const rows = new Map();       // by key: "up N" while it comes in, "task N" afterwards
const finished = new Set();
const waiting = [];
let comparing = false;
let running = 0;
let count = 0;

const look = follow(show);

document.getElementById("choose").addEventListener("click", () => files.click());
files.addEventListener("change", () => { take(files.files); files.value = ""; });
for (const name of ["dragenter", "dragover"]) {
  drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.add("over"); });
}
for (const name of ["dragleave", "drop"]) drop.addEventListener(name, () => drop.classList.remove("over"));
drop.addEventListener("drop", async (event) => {
  event.preventDefault();
  // Entries are gone once this event is over, so they are asked for first.
  const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  take(entries.some((one) => one.isDirectory) ? (await Promise.all(entries.map(inside))).flat() : event.dataTransfer.files);
});
// A log dropped beside the zone must not make the browser leave the page.
for (const name of ["dragover", "drop"]) window.addEventListener(name, (event) => event.preventDefault());

// Every file of a folder and of those in it; hidden ones are no logs.
async function inside(entry) {
  if (entry.name.startsWith(".")) return [];
  if (entry.isFile) return new Promise((done) => entry.file((file) => done([file]), () => done([])));
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((done) => reader.readEntries(done, () => done([])));
    if (!some.length) break;
    found.push(...(await Promise.all(some.map(inside))).flat());
  }
  return found;
}

// What belongs to the logs of today is chosen once; tomorrow's may be of another machine and say so themselves.
const today = () => new Date().toDateString();
// What is of one machine or of one change to it, and so never goes over to the next.
const OF_A_MACHINE = ["setup_name", "side", "charge", "tyre_pressure"];
function named() {
  const given = [...new FormData(belongs)].map(([name, text]) => [name, text.trim()]).filter(([, text]) => text);
  return Object.fromEntries(given);
}

function tell() {
  const { side, ...given } = named();
  const words = [...Object.values(given), ...(side ? [`${side} the change`] : [])];
  document.getElementById("next-logs").hidden = !words.length;
  document.getElementById("belongs-words").textContent = `The next logs will be named: ${words.join(", ")}.`;
}

function remember() {
  localStorage.setItem("belongs", JSON.stringify({ day: today(), named: named() }));
  tell();
}

belongs.addEventListener("input", remember);
let machine = "";
belongs.elements.machine_name.addEventListener("change", ({ target }) => {
  const now = target.value.trim();
  if (machine && now && now !== machine) for (const name of OF_A_MACHINE) belongs.elements[name].value = "";
  machine = now || machine;
  remember();
});
belongs.addEventListener("submit", (event) => event.preventDefault());
document.getElementById("belongs-clear").addEventListener("click", () => { belongs.reset(); localStorage.removeItem("belongs"); machine = ""; tell(); });
const kept = JSON.parse(localStorage.getItem("belongs") ?? "{}");
if (kept.day === today()) for (const [name, text] of Object.entries(kept.named)) if (belongs.elements[name]) belongs.elements[name].value = text;
machine = belongs.elements.machine_name.value;
tell();

function take(list) {
  if (!belongs.checkValidity()) {
    document.getElementById("belongs").open = true;
    belongs.reportValidity();
    return;
  }
  const { side, ...given } = named();
  for (const file of list) {
    const row = makeRow(`up ${++count}`, file.name, "is coming in");
    if (file.size > MOST_BYTES) fail(row, "is larger than the page takes (128 MiB).");
    else waiting.push([file, row, given, side]);
  }
  next();
  // Below an open form it would be out of sight.
  requestAnimationFrame(() => document.getElementById("queue-box").scrollIntoView({ block: "nearest" }));
}

function next() {
  while (running < 3 && waiting.length) {
    const task = waiting.shift();
    running += 1;
    send(...task).finally(() => { running -= 1; next(); });
  }
}

async function send(file, row, given, side) {
  let answer;
  const again = () => { waiting.push([file, makeRow(`up ${++count}`, file.name, "is coming in"), given, side]); next(); };
  try {
    answer = await fetch(`/logs?${new URLSearchParams({ ...given, name: file.name })}`, {
      method: "PUT", body: file, headers: { "x-ridelog-token": token, "content-type": "application/octet-stream" },
    });
  } catch {
    return fail(row, "did not get through. The log is still here: send it again.", again);
  }
  const said = await answer.json().catch(() => ({ problem: "The server refused it.", advice: "" }));
  const told = [said.problem, said.advice && `What to do: ${said.advice}`].filter(Boolean).join(" ");
  if (!answer.ok) return fail(row, told, MAY_PASS.includes(answer.status) ? again : null);
  // A zip brings several rides.
  for (const [number, ride] of said.rides.entries()) await placed(number ? makeRow(`up ${++count}`, ride.file, "") : row, ride, side);
  look();
  return undefined;
}

async function placed(row, said, side) {
  if (side) sides.set(String(said.ride), side);
  if (said.task === null) {
    settle(row, "is in the book already", said.ride);
    row.item.classList.add("known");
    finished.add(row.key);
    await renew("list");
    tick();
    return;
  }
  const key = `task ${said.task}`;
  if (rows.has(key)) row.item.remove();
  else if (finished.has(key)) settle(row, "is measured", said.ride);
  else { row.key = key; rows.set(key, row); row.ride = said.ride; row.file.textContent = said.file; }
}

// How far all of it is, in one line; what failed stays together below, folded once it is more than a few.
function count_up() {
  const [shown, bad] = [queue.children.length, failures.children.length];
  const all = shown + bad;
  const [measured, done] = ["measured", "settled"].map((name) => queue.querySelectorAll(`li.${name}`).length);
  // What is done stands in the list below, which comes up to here; what was known before is told here alone.
  const each = document.getElementById("each");
  if (each.open && all && done + bad === all && !each.dataset.seen && !queue.querySelector("li.known")) { each.open = false; each.dataset.seen = "yes"; }
  const pictures = measured + bad === all && done < measured ? ` The pictures of their pages follow: ${done} of ${measured} drawn.` : "";
  document.getElementById("tally").textContent = all
    ? `${measured} of ${all} ${all === 1 ? "log" : "logs"} measured${bad ? `, ${bad} without figures` : ""}.${pictures}` : "";
  const folded = document.getElementById("failed");
  const was = Number(folded.dataset.count ?? 0);
  if (was <= 3 && was !== bad) folded.open = bad <= 3;
  folded.dataset.count = bad;
  folded.hidden = !bad;
  // Written only when it changes: this line stands in what is watched.
  const words = `${bad} ${bad === 1 ? "log" : "logs"} without figures`;
  const line = document.getElementById("failed-words");
  if (line.textContent !== words) line.textContent = words;
  document.getElementById("queue-box").hidden = !all;
}
new MutationObserver(count_up).observe(document.getElementById("queue"), { childList: true, subtree: true, attributes: true, attributeFilter: ["class"] });

function makeRow(key, name, text) {
  const item = document.createElement("li");
  const file = Object.assign(document.createElement("span"), { className: "file", textContent: name });
  const words = Object.assign(document.createElement("span"), { className: "words", textContent: text });
  const bar = document.createElement("progress");
  bar.setAttribute("aria-label", `Progress of ${name}`);
  item.append(file, words, bar);
  queue.append(item);
  const each = document.getElementById("each");
  each.open = true;
  delete each.dataset.seen;
  const row = { key, item, file, words, bar };
  rows.set(key, row);
  return row;
}

function fail(row, text, again = null) {
  row.item.classList.add("failed");
  const name = row.file.textContent;
  // The sentence may begin with the name that stands beside it already.
  const rest = text.startsWith(name) ? text.slice(name.length).replace(/^[:,]\s*/, "") : text;
  row.words.textContent = rest[0].toUpperCase() + rest.slice(1);
  row.bar.remove();
  said.textContent = `${name}: ${rest}`;
  if (again) {
    const retry = Object.assign(document.createElement("button"), { type: "button", textContent: "Send again" });
    retry.setAttribute("aria-label", `Send ${name} again`);
    retry.addEventListener("click", () => { row.item.remove(); again(); });
    row.item.append(retry);
  }
  const away = Object.assign(document.createElement("button"), { type: "button", textContent: "Dismiss" });
  away.setAttribute("aria-label", `Dismiss ${name}`);
  away.addEventListener("click", () => {
    row.item.remove();
    if (row.key.startsWith("task ")) {
      fetch("/tasks/dismiss", { method: "POST", body: new URLSearchParams({ token, task: row.key.slice(5) }) });
    }
  });
  row.item.append(away);
  failures.append(row.item);
}

// The figures are there; the pictures may still be to come.
function measured(row, text, ride) {
  row.item.classList.add("measured");
  row.words.textContent = text;
  const link = Object.assign(document.createElement("a"), { href: `/rides/${ride}`, textContent: row.file.textContent });
  row.file.replaceChildren(link);
}

function settle(row, text, ride) {
  measured(row, text, ride);
  row.item.classList.add("settled");
  row.bar.remove();
}

async function show(tasks) {
  let fresh = false;
  for (const task of tasks) {
    const key = `task ${task.number}`;
    if (finished.has(key)) continue;
    const ended = task.state === "failed" || task.state === "done";
    if (!rows.has(key) && ended && task.state === "done") { finished.add(key); continue; }
    const row = rows.get(key) ?? makeRow(key, task.file, "");
    row.words.textContent = words(task);
    row.bar.value = task.progress;
    row.bar.hidden = task.state === "waiting";
    if (task.state === "drawing" && !row.listed) {
      row.listed = fresh = true;
      measured(row, words(task), task.ride_id);
    }
    if (!ended) continue;
    finished.add(key);
    fresh = true;
    if (task.state === "failed") fail(row, task.problem);
    else { settle(row, "is measured", task.ride_id); said.textContent = `${task.file} is measured.`; }
  }
  // Who has asked for a comparison keeps the sign that it is being made.
  if (fresh && !comparing) { await renew("list"); tick(); }
}

// A ride that has just got its figures takes the side that it was dropped with, once.
function tick() {
  for (const [ride, side] of sides) {
    const box = document.querySelector(`#pick input[name=${side}][value="${ride}"]`);
    if (box) { box.checked = true; sides.delete(ride); }
  }
  counted();
}

const naming = document.getElementById("naming");
const ticked = (name) => [...document.querySelectorAll(`#pick input[name=${name}]:checked`)].map((box) => box.value);

// The rides ticked on either side are named together; on a page without ticks there is nothing to name.
function told() {
  const rides = [...ticked("before"), ...ticked("after")];
  document.getElementById("naming-rides").value = rides.join();
  document.getElementById("naming-words").textContent =
    `For ${rides.length} ticked ${rides.length === 1 ? "ride" : "rides"}. What is left empty stays as it is.`;
  document.getElementById("name-them").hidden = !rides.length;
  if (!rides.length) naming.hidden = true;
}
document.addEventListener("click", (event) => {
  if (event.target.id === "name-them") {
    naming.hidden = false;
    document.getElementById("naming-head").focus();
  } else if (event.target.id === "naming-away") {
    naming.hidden = true;
    document.getElementById("name-them").focus();
  }
});

function counted() {
  const picked = document.getElementById("picked");
  if (!picked) return;
  told();
  const [before, after] = ["before", "after"].map((name) => ticked(name).length);
  const now = document.getElementById("compare-now");
  now.hidden = !before || !after;
  now.textContent = `Compare ${before} before with ${after} after`;
  picked.closest(".bar").classList.toggle("held", Boolean(before || after));
  picked.textContent = before || after ? `${before} before, ${after} after` : "Tick the rides before the change and those after it.";
}

document.addEventListener("change", (event) => {
  const box = event.target;
  if (!box.matches("#pick input[type=checkbox]")) return;
  // A ride was ridden before the change or after it, never both.
  if (box.checked) {
    const other = box.name === "before" ? "after" : "before";
    document.querySelector(`#pick input[name=${other}][value="${box.value}"]`).checked = false;
  }
  counted();
});
document.addEventListener("submit", (event) => {
  if (event.target.id !== "pick") return;
  const picked = document.getElementById("picked");
  const missing = ["before", "after"].filter((name) => !document.querySelector(`#pick input[name=${name}]:checked`));
  if (missing.length) {
    event.preventDefault();
    picked.textContent = `Tick at least one ride ${missing.join(" and one ")} the change.`;
  } else {
    comparing = true;
    working(picked, "The rides are being compared…");
    document.getElementById("compare-now").textContent = "The rides are being compared…";
  }
});
window.addEventListener("pageshow", () => { comparing = false; counted(); });
look();
