// A stretch of the ride, chosen on the speed chart: dragged by mouse or thumb, moved by keys, or typed; all of it is one value.
import { clock } from "./charts.js";

const STEPS = { ArrowLeft: -0.1, ArrowDown: -0.1, ArrowRight: 0.1, ArrowUp: 0.1, PageDown: -10, PageUp: 10 };
const LEAST_S = 0.1;
// How high the grips at the feet of the two ends are, for a thumb. [px]
const GRIP_PX = 44;

// Seconds from "1:04:36", "1:23.4" or "83,4"; null for what is no time.
export function seconds(text) {
  const found = /^\s*(?:(?:(\d{1,3}):)?(\d{1,5}):)?(\d{1,6}(?:[.,]\d{1,6})?)\s*$/.exec(text);
  return found && 3600 * Number(found[1] ?? 0) + 60 * Number(found[2] ?? 0) + Number(found[3].replace(",", "."));
}

export class Marking {
  constructor(charts) {
    this.charts = charts;
    this.panel = document.getElementById("marks");
    this.layer = document.getElementById("stretch");
    this.fields = ["start", "end"].map((name) => document.getElementById(`mark-${name}`));
    this.edges = ["start", "end"].map((name) => document.getElementById(`edge-${name}`));
    this.stretch = null;      // [from, to] in seconds
    this.own = false;         // whether somebody chose it, or it is only where the ends wait to be moved
    charts.onplace = () => this.place();
    document.getElementById("how-to-drag").hidden = false;
    this.panel.addEventListener("toggle", () => this.turn());
    for (const field of this.fields) field.addEventListener("input", () => this.typed());
    this.edges.forEach((edge, which) => edge.addEventListener("keydown", (event) => this.key(event, which)));
    this.layer.addEventListener("pointerdown", (event) => this.press(event));
    this.layer.addEventListener("pointermove", (event) => this.drag(event));
    this.layer.addEventListener("pointerup", () => this.release());
    this.layer.addEventListener("pointercancel", () => this.cancel());
    this.layer.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      charts.zoom(event.deltaY < 0 ? 0.8 : 1.25);
    }, { passive: false });
    // What was typed before, and kept, is still to be sent.
    if (this.fields.some((field) => field.value)) this.panel.open = true;
  }

  turn() {
    if (!this.charts.range) return;
    if (!this.panel.open && !this.own) for (const field of this.fields) field.value = "";
    if (this.panel.open && !this.typed() && this.fields.every((field) => !field.value)) {
      // The ends wait inside what is in view, so that keys and thumbs find something to move.
      const [from, to] = this.view();
      this.set([from + 0.4 * (to - from), from + 0.6 * (to - from)]);
    }
    this.place();
  }

  view() {
    const { range, start, end } = this.charts;
    return [Math.max(range.start / 1000, start, 0), Math.min(range.end / 1000, end)];
  }

  // Take what stands in the fields, if it is a stretch.
  typed() {
    const [from, to] = this.fields.map((field) => seconds(field.value));
    if (from === null || to === null || to <= from) return false;
    this.own = true;
    this.stretch = [from, to];
    this.place();
    return true;
  }

  set([from, to], own = false) {
    const { start, end } = this.charts;
    const tenth = (time) => Math.round(10 * Math.min(end, Math.max(start, 0, time))) / 10;
    this.stretch = [tenth(Math.min(from, to)), tenth(Math.max(from, to))];
    this.own ||= own;
    this.fields.forEach((field, which) => {
      field.value = clock(this.stretch[which]);
      // Whoever chose it finds it again, as if it had been typed.
      if (own) field.dispatchEvent(new Event("change", { bubbles: true }));
    });
    this.place();
  }

  place() {
    const shown = this.panel.open && this.stretch && this.charts.views;
    this.layer.hidden = !shown;
    if (!shown) return;
    const box = this.charts.box();
    for (const side of ["left", "top", "width", "height"]) this.layer.style[side] = `${box[side]}px`;
    const across = this.stretch.map((time) => (1000 * time - this.charts.range.start) / (this.charts.range.end - this.charts.range.start));
    const inside = across.map((share) => Math.min(1, Math.max(0, share)));
    this.layer.style.setProperty("--from", `${100 * inside[0]}%`);
    this.layer.style.setProperty("--to", `${100 * inside[1]}%`);
    this.edges.forEach((edge, which) => {
      const [time, speed] = [this.stretch[which], this.charts.speedAt(this.stretch[which])];
      edge.style.left = `${100 * inside[which]}%`;
      edge.classList.toggle("beyond", inside[which] !== across[which]);
      edge.setAttribute("aria-valuemin", Math.max(0, this.charts.start).toFixed(1));
      edge.setAttribute("aria-valuemax", this.charts.end.toFixed(1));
      edge.setAttribute("aria-valuenow", time.toFixed(1));
      edge.setAttribute("aria-valuetext", `${clock(time)}${speed ? `, ${speed}` : ""}`);
    });
  }

  words() {
    return `Stretch from ${clock(this.stretch[0])} to ${clock(this.stretch[1])}, ${(this.stretch[1] - this.stretch[0]).toFixed(1)} s.`;
  }

  key(event, which) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const [from, to] = this.stretch;
    const limits = which ? [from + LEAST_S, this.charts.end] : [Math.max(0, this.charts.start), to - LEAST_S];
    let time;
    if (event.key in STEPS) time = this.stretch[which] + STEPS[event.key] * (event.shiftKey ? 10 : 1);
    else if (event.key === "Home") [time] = limits;
    else if (event.key === "End") [, time] = limits;
    else return;
    event.preventDefault();
    time = Math.min(limits[1], Math.max(limits[0], time));
    this.set(which ? [from, time] : [time, to], true);
    // What is moved stays in view; its value is spoken by the end itself.
    const { start, end } = this.charts.range;
    if (1000 * time < start || 1000 * time > end) this.charts.view(1000 * time - (end - start) / 2, 1000 * time + (end - start) / 2);
    this.charts.show(this.words());
  }

  at(event) {
    const box = this.layer.getBoundingClientRect();
    const share = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
    const { start, end } = this.charts.range;
    return (start + share * (end - start)) / 1000;
  }

  press(event) {
    if (event.button > 0 || !event.isPrimary) return;
    // While the ends only wait, they are held by their grips alone: a stretch may begin anywhere else.
    const held = this.own || event.clientY > this.layer.getBoundingClientRect().bottom - GRIP_PX;
    const which = held ? this.edges.indexOf(event.target) : -1;
    this.before = [this.stretch, this.own];
    // An end is moved against the other; anywhere else a new stretch begins.
    this.fixed = which < 0 ? this.at(event) : this.stretch[1 - which];
    this.from = which < 0 ? event.clientX : null;
    this.layer.setPointerCapture(event.pointerId);
    event.preventDefault();
  }

  drag(event) {
    const here = this.at(event);
    if (this.fixed === undefined) { this.charts.point(here); return; }
    // A tap is no stretch.
    if (this.from !== null && Math.abs(event.clientX - this.from) < 4) return;
    this.from = null;
    if (Math.abs(here - this.fixed) < LEAST_S) return;
    this.charts.cursor = here;
    this.set([this.fixed, here], true);
    this.charts.place();
    this.charts.show(this.words());
  }

  release() {
    if (this.fixed === undefined) return;
    this.fixed = undefined;
    if (this.from === null) this.charts.announce(this.words());
  }

  // The page was scrolled instead.
  cancel() {
    if (this.fixed === undefined) return;
    this.fixed = undefined;
    [this.stretch, this.own] = this.before;
    this.set(this.stretch);
  }
}
