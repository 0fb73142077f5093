// The page for the handlebar: asks the workshop's computer once a second how the receiver is, and says so when no answer comes.
// A question a second; an answer later than this is as good as none, and a rider is told so. Slow networks need a second or two.
const EVERY_MS = 1000;
const GIVE_UP_MS = 6000;
const LATE_S = 5;

const place = (name) => document.getElementById(name);
const panel = place("panel");
let last = null;             // what the server said last, and when
let heard = performance.now();
let outside = false;         // whether this telephone has to come in again
let shown = panel.dataset.word;

function clock(seconds) {
  const [minutes, rest] = [Math.floor(seconds / 60), String(Math.floor(seconds % 60)).padStart(2, "0")];
  return minutes < 60 ? `${minutes}:${rest}` : `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${rest}`;
}

// Text is written only when it changes: some of it is watched by those who do not see it.
function write(name, text) {
  const there = place(name);
  if (there && there.textContent !== text) there.textContent = text;
}

function show() {
  const silent = (performance.now() - heard) / 1000;
  const late = Math.max(silent, last?.late_s ?? 0);
  const lost = late > LATE_S;
  const word = lost ? "no word" : last?.word ?? panel.dataset.word;
  if (lost) {
    write("reason", outside ? "this telephone has to come in again"
      : `no answer from the workshop's computer for ${Math.floor(late)} s${last?.ride_s == null ? "" : "; it goes on recording by itself as long as it hears the receiver"}`);
    write("last", "");
  } else if (last) {
    write("reason", last.reason);
    write("last", last.details.map((one) => one.replaceAll(" ", "\u00a0")).join(", "));
  }
  if (panel.dataset.word !== word) panel.dataset.word = word;
  write("word", word);
  const riding = last?.ride_s != null;
  place("clock").hidden = !riding;
  if (riding) write("clock", clock(last.ride_s + silent));
  if (word !== shown) changed(word);
  document.title = `${word[0].toUpperCase()}${word.slice(1)} – ridelog`;
}

function changed(word) {
  const before = shown;
  shown = word;
  write("said", `${word}: ${place("reason").textContent}`);
  if (word === "ready") play(READY);
  else if (["lost", "no word"].includes(word) || (word === "no fix" && before === "riding")) play(LOST);
}

// What can be done depends on whether something is listened to and ridden; the server lays that out.
// What is typed or ticked meanwhile, and where, stays.
const shows = (box) => box.closest("li")?.textContent.trim() ?? box.name;
async function layOut() {
  const answer = await fetch(location.pathname, { headers: { accept: "text/html" } });
  if (!answer.ok || answer.redirected) return;
  const now = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("controls");
  const old = place("controls");
  for (const box of old.querySelectorAll("input:not([type=hidden])")) {
    const same = [...now.querySelectorAll("input:not([type=hidden])")].find((one) => shows(one) === shows(box));
    if (!same) continue;
    if (box.type === "checkbox") same.checked = box.checked;
    else if (box.value !== box.defaultValue) same.value = box.value;
  }
  const focused = old.contains(document.activeElement) ? document.activeElement.id : "";
  old.replaceWith(document.adoptNode(now));
  if (focused) place(focused)?.focus({ preventScroll: true });
}

let following = null;
function follow(anyhow = false) {
  const controls = place("controls");
  const fits = controls.dataset.listening === (last?.listening ? "yes" : "no") && controls.dataset.riding === (last?.ride_s == null ? "no" : "yes");
  if (!busy && (anyhow || !fits)) following ??= layOut().then(awake, () => null).finally(() => { following = null; });
  return following;
}

async function ask() {
  const ending = new AbortController();
  const timer = setTimeout(() => ending.abort(), GIVE_UP_MS);
  try {
    const answer = await fetch("/receiver/state", { signal: ending.signal, cache: "no-store" });
    outside = answer.redirected;
    if (answer.ok && !outside) {
      last = await answer.json();
      heard = performance.now();
      show();
      follow(); // not waited for: on a slow network the next answer would be late
    }
  } catch { /* the page says so by itself */ } finally {
    clearTimeout(timer);
  }
}

let next = null;
async function again() {
  clearTimeout(next);
  await ask();
  clearTimeout(next);
  next = setTimeout(again, EVERY_MS);
}

// Start and stop without leaving the page: a page that is loaded anew would be silent and let the screen sleep.
let busy = false;
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("form.act")) return;
  event.preventDefault();
  if (busy) return;
  busy = true;
  const button = form.querySelector("button");
  button.disabled = true;
  form.querySelector(".form-note")?.remove();
  let refused = "";
  try {
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { accept: "application/json" } });
    const said = await answer.json().catch(() => ({ problem: "the server refused it", advice: "load the page again" }));
    if (!answer.ok) refused = [said.problem, said.advice].filter(Boolean).map((one) => one[0].toUpperCase() + one.slice(1)).join(" ");
  } catch {
    refused = "This did not get through. Press again once there is an answer from the workshop's computer.";
  }
  busy = false;
  if (refused) {
    button.disabled = false;
    const note = Object.assign(document.createElement("p"), { className: "form-note", textContent: refused });
    note.setAttribute("role", "alert");
    button.after(note);
    return;
  }
  await again();
  await follow(button.isConnected);
  const controls = place("controls");
  (controls.querySelector(`form[action="${form.getAttribute("action")}"] button`) ?? controls.querySelector("button"))?.focus({ preventScroll: true });
  if ("top" in form.dataset) window.scrollTo(0, 0);
});

// Tones, if they are asked for: browsers let a page sound only after it was touched.
const READY = [[660, 0, 0.18], [880, 0.22, 0.35]];
const LOST = [[220, 0, 0.9]];
let audio = null;
function play(notes) {
  if (!audio) return;
  for (const [hertz, from, length] of notes) {
    const [tone, volume] = [audio.createOscillator(), audio.createGain()];
    const at = audio.currentTime + from;
    tone.frequency.value = hertz;
    volume.gain.setValueAtTime(0.0001, at);
    volume.gain.exponentialRampToValueAtTime(0.6, at + 0.02);
    volume.gain.exponentialRampToValueAtTime(0.0001, at + length);
    tone.connect(volume).connect(audio.destination);
    tone.start(at);
    tone.stop(at + length);
  }
}
place("sound").addEventListener("click", async (event) => {
  event.target.setAttribute("aria-pressed", String(!audio));
  if (audio) {
    audio.close();
    audio = null;
    return;
  }
  audio = new AudioContext();
  await audio.resume();
  play(READY); // so that whoever asks hears what to listen for
});

// The screen is kept awake while a receiver is listened to and the page is in sight.
let lock = null;
async function awake() {
  const wanted = place("controls").dataset.listening === "yes" && !document.hidden;
  if (!wanted) {
    await lock?.release();
    lock = null;
    return write("awake", "");
  }
  if (lock && !lock.released) return undefined;
  try {
    lock = await navigator.wakeLock.request("screen");
    return write("awake", "The screen stays awake while this page is in sight.");
  } catch {
    // No such thing in this browser, on a page that is not encrypted, or with an empty battery.
    return write("awake", "This browser lets the screen go to sleep: set the telephone to keep it on.");
  }
}
document.addEventListener("visibilitychange", () => { awake(); if (!document.hidden) again(); });

setInterval(show, 500);
again().then(awake);
