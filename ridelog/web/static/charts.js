// The charts of a ride: drawn by the library from the server's frames, filled, linked and steered here.
/* global Bokeh */

const dark = matchMedia("(prefers-color-scheme: dark)");
const NAN = Number.NaN;
const PHASE_WORDS = { standstill: "standing" };
const PHASES = ["standstill", "launch", "pull", "steady", "coasting", "braking", "turning", "reverse"];
const LEAST_PHASE_PX = 5;
const LEAST_PATTERN_PX = 24;
const NARROW_PX = 600;
const NARROW_TICKS = 3;
const NARROW_HEIGHTS = { speed: 240, path: 280 };
const SPAN_WORDS = { best: "behind the top speed", gap: "gap in the log", reverse: "reverse", left_out: "left out", mode: "drive mode" };

export function clock(seconds) {
  const tenths = Math.round(Math.abs(seconds) * 10);
  const sign = seconds < 0 && tenths ? "−" : "";
  const [hours, minutes, rest] = [Math.floor(tenths / 36000), Math.floor(tenths / 600) % 60, tenths % 600];
  const two = (number) => String(number).padStart(2, "0");
  return `${sign}${hours ? `${hours}:${two(minutes)}` : minutes}:${two(Math.floor(rest / 10))}.${rest % 10}`;
}

export class Charts {
  constructor(ride) {
    this.ride = ride;
    this.boxes = Object.fromEntries(["speed", "path"].map((name) => [name, document.getElementById(`${name}-chart`)]));
    this.readout = document.getElementById("readout");
    this.cursor = null;      // seconds
    this.marks = Object.fromEntries(["speed", "path"].map((name) => [name, document.getElementById(`${name}-mark`)]));
    this.asked = 0;
    this.steer();
    new ResizeObserver(() => soon("place", () => this.place())).observe(this.boxes.speed);
    dark.addEventListener("change", () => this.draw());
  }

  async get(what) {
    const answer = await fetch(`/rides/${this.ride}/${what}`);
    if (!answer.ok) throw new Error(`${what}: ${answer.status}`);
    return answer.json();
  }

  // Draw anew, for another result, unit or shade, without moving what is in view.
  async draw() {
    const view = this.range && [this.range.start, this.range.end];
    const frame = await this.get(`chart?shade=${dark.matches ? "dark" : "light"}`);
    Object.assign(this, { frame, path: frame.route, start: frame.start, end: frame.end, unit: frame.unit, span: frame.end - frame.start });
    for (const name of ["charts", "place"]) document.getElementById(name).hidden = false;
    const [layouts, views] = [{}, {}];
    for (const name of ["speed", "path"]) {
      const box = this.boxes[name];
      box.replaceChildren();
      const drawn = await Bokeh.embed.embed_item({ ...frame[name], target_id: box.id }, box.id);
      views[name] = [...drawn.roots][0];
      layouts[name] = views[name].model;
      // A telephone shows the speed and what stands below it at once.
      const chart = layouts[name].name === `${name}-chart` ? layouts[name] : layouts[name].select_one(`${name}-chart`);
      if (box.clientWidth >= NARROW_PX) continue;
      chart.height = NARROW_HEIGHTS[name];
      for (const { ticker } of chart.below) ticker.desired_num_ticks = NARROW_TICKS;
    }
    this.views = { path: views.path, speed: views.speed.child_views?.find((view) => view.model.name === "speed-chart") ?? views.speed };
    // A thumb that moves up or down over a chart moves the page; sideways and pinching stay with the chart.
    for (const view of [views.path, views.speed, ...(views.speed.child_views ?? [])]) {
      if (view.canvas_view) view.canvas_view.events_el.style.touchAction = "pan-y";
    }
    const inside = (name) => (layouts.speed.name === name ? layouts.speed : layouts.speed.select_one(name));
    this.models = { speed: inside("speed-chart"), strip: frame.phases.length ? inside("strip-chart") : null, path: layouts.path };
    this.link();
    const shown = view ?? this.longestPiece();
    if (shown) [this.range.start, this.range.end] = shown;
    this.plain();
    await this.fill();
    if (this.cursor !== null) this.point(this.cursor);
    this.place();
    this.say();
    document.getElementById("charts").dataset.drawn = frame.result;
  }

  // Where gaps take up most of the time, the first view is of the longest piece between them; "Whole ride" shows all.
  longestPiece() {
    const gaps = this.frame.spans.filter(([, , kind]) => kind === "gap").sort((a, b) => a[0] - b[0]);
    if (gaps.reduce((sum, [from, to]) => sum + to - from, 0) < 0.5 * this.span) return null;
    let [from, best] = [this.start, [this.start, this.start]];
    for (const [gapFrom, gapTo] of [...gaps, [this.end, this.end]]) {
      if (gapFrom - from > best[1] - best[0]) best = [from, gapFrom];
      from = gapTo;
    }
    return best[1] > best[0] ? best.map((seconds) => 1000 * seconds) : null;
  }

  link() {
    const speed = this.models.speed;
    this.range = speed.x_range;
    this.trace = speed.select_one("trace");
    this.shaded = speed.center.filter((one) => one.type === "BoxAnnotation").map((box) => ({ box, pattern: box.hatch_pattern }));
    this.namePhases();
    this.range.change.connect(() => this.moved());
    for (const range of ["x_range", "y_range"]) this.models.path[range].change.connect(() => soon("place", () => this.place()));
    for (const kind of ["mousemove", "tap"]) {
      for (const name of ["speed", "strip"]) this.models[name]?.on_event(kind, (event) => soon("point", () => this.point(event.x / 1000)));
      this.models.path.on_event(kind, (event) => soon("point", () => this.nearest(event.x, event.y)));
    }
  }

  moved() {
    clearTimeout(this.later);
    this.later = setTimeout(() => {
      if (this.lacks()) this.fill();
      this.namePhases();
      this.plain();
      this.say();
    }, 120);
    soon("place", () => this.place());
  }

  // Whether what was asked for last ends in view, or is too coarse or too fine for it.
  lacks() {
    const { from, to, span } = this.have ?? { from: 0, to: 0, span: 0 };
    const [start, end] = [Math.max(this.range.start, 1000 * this.start), Math.min(this.range.end, 1000 * this.end)];
    const closer = (this.range.end - this.range.start) / span;
    return start < from || end > to || closer < 0.7 || closer > 1.5;
  }

  async fill() {
    const mine = ++this.asked;
    const width = Math.max(200, this.boxes.speed.clientWidth);
    // Half of it again beyond either end, so that a short pan shows no empty edge and asks for nothing.
    const { start, end } = this.range;
    const [from, to] = [1.5 * start - 0.5 * end, 1.5 * end - 0.5 * start];
    const data = await this.get(`trace?from=${from / 1000}&to=${to / 1000}&columns=${2 * width}`);
    if (mine !== this.asked) return;
    this.data = data;
    this.have = { from, to, span: end - start };
    this.trace.data = columns(data);
  }

  // Names of phases that are wide enough in view to carry them; where most are mere bars, what to do instead.
  namePhases() {
    const strip = this.models.strip;
    if (!strip) { this.key(false); return; }
    const perPixel = (this.range.end - this.range.start) / Math.max(1, this.boxes.speed.clientWidth - 60);
    const labels = { x: [], words: [] };
    const inView = this.frame.phases.filter(([start, end]) => 1000 * end > this.range.start && 1000 * start < this.range.end);
    const readable = (this.range.end - this.range.start) / perPixel >= LEAST_PHASE_PX * inView.length;
    strip.select_one("bars").visible = readable;
    this.key(readable);
    if (!readable) {
      labels.x.push((this.range.start + this.range.end) / 2);
      labels.words.push("zoom in to see what it was doing");
    }
    for (const [start, end, name] of readable ? inView : []) {
      const [left, right] = [Math.max(1000 * start, this.range.start), Math.min(1000 * end, this.range.end)];
      const words = PHASE_WORDS[name] ?? name;
      if ((right - left) / perPixel < 8 * words.length) continue;
      labels.x.push((left + right) / 2);
      labels.words.push(words);
    }
    strip.select_one("labels").data = labels;
  }

  // Stretches too narrow for their pattern are plain, or a ride with many of them looks like a bar code.
  plain() {
    const perPixel = (this.range.end - this.range.start) / Math.max(1, this.box().width);
    for (const { box, pattern } of this.shaded) {
      const wanted = (box.right - box.left) / perPixel < LEAST_PATTERN_PX ? "blank" : pattern;
      if (box.hatch_pattern !== wanted) box.hatch_pattern = wanted;
    }
  }

  // What is drawn in view, with a patch of how it looks; it changes with the view alone.
  key(readable) {
    const there = (list, kind) => list.some(([from, to, one]) => one === kind && 1000 * to > this.range.start && 1000 * from < this.range.end);
    // Where the strip is empty, nothing was told of what the machine did.
    const told = this.frame.phases.reduce((sum, [from, to]) => sum + Math.max(0, Math.min(1000 * to, this.range.end) - Math.max(1000 * from, this.range.start)), 0);
    const empty = readable && told < 0.98 * (this.range.end - this.range.start);
    const named = [
      ...PHASES.filter((name) => readable && there(this.frame.phases, name)).map((name) => [name, PHASE_WORDS[name] ?? name]),
      ...Object.keys(SPAN_WORDS).filter((kind) => there(this.frame.spans, kind)).map((kind) => [`span-${kind}`, SPAN_WORDS[kind]]),
      ...(empty ? [["untold", "empty: nothing told"]] : []),
    ];
    const key = document.getElementById("legend");
    if (key.dataset.named === named.join()) return;
    key.dataset.named = named.join();
    key.replaceChildren(...named.map(([look, words]) => {
      const one = document.createElement("span");
      const patch = Object.assign(document.createElement("span"), { className: "patch" });
      patch.dataset.look = look;
      one.append(patch, words);
      return one;
    }));
  }

  at(seconds, names, data) {
    const time = data.time;
    let [low, high] = [0, time.length - 1];
    if (high < 0) return null;
    const known = (k) => time[k] !== null;
    while (high - low > 1) {
      let middle = (low + high) >> 1;
      if (!known(middle)) middle = middle > low + 1 ? middle - 1 : middle + 1;
      if (middle >= high || middle <= low) break;
      if (time[middle] <= seconds) low = middle; else high = middle;
    }
    if (!known(low) || !known(high)) return null;
    const share = time[high] > time[low] ? Math.min(1, Math.max(0, (seconds - time[low]) / (time[high] - time[low]))) : 0;
    const found = Object.fromEntries(names.map((name) => [name, data[name][low] + share * (data[name][high] - data[name][low])]));
    return names.every((name) => data[name][low] !== null && data[name][high] !== null) ? found : null;
  }

  point(seconds) {
    this.cursor = Math.min(this.end, Math.max(this.start, seconds));
    this.place();
    this.say();
  }

  // The marks lie over the charts: to move them, nothing needs to be drawn anew.
  place() {
    this.onplace?.();
    if (this.cursor === null || !this.views) return;
    const across = (1000 * this.cursor - this.range.start) / (this.range.end - this.range.start);
    put(this.marks.speed, this.views.speed, across, 0);
    const here = this.at(this.cursor, ["east", "north"], this.path);
    const { x_range: x, y_range: y } = this.models.path;
    if (here) put(this.marks.path, this.views.path, (here.east - x.start) / (x.end - x.start), (y.end - here.north) / (y.end - y.start));
    else this.marks.path.hidden = true;
  }

  // Where the speed is drawn, in pixels of what the marks are placed in.
  box() {
    const { view, under } = { view: this.views.speed, under: this.marks.speed.parentElement };
    const [chart, box, { x0, x1, y0, y1 }] = [view.el.getBoundingClientRect(), under.getBoundingClientRect(), view.frame.bbox];
    return { left: chart.left - box.left - under.clientLeft + x0, top: chart.top - box.top - under.clientTop + y0, width: x1 - x0, height: y1 - y0 };
  }

  speedAt(seconds) {
    const found = this.data && this.at(seconds, ["speed"], this.data);
    return found ? `${found.speed.toFixed(1)} ${this.unit}` : "";
  }

  nearest(x, y) {
    const { east, north, time } = this.path;
    let [best, found] = [Infinity, null];
    for (let k = 0; k < east.length; k += 1) {
      if (east[k] === null) continue;
      const away = (east[k] - x) ** 2 + (north[k] - y) ** 2;
      if (away < best) { best = away; found = time[k]; }
    }
    if (found !== null) this.point(found);
  }

  say() {
    const [from, to] = [this.range.start / 1000, this.range.end / 1000];
    const view = `In view: ${clock(Math.max(from, this.start))} to ${clock(Math.min(to, this.end))}.`;
    if (this.cursor === null) { this.announce(view); return; }
    const speed = this.at(this.cursor, ["speed", "low", "high"], this.data);
    const phase = this.frame.phases.find(([start, end]) => start <= this.cursor && this.cursor < end);
    const value = speed ? `${speed.speed.toFixed(1)} ${this.unit} (${speed.low.toFixed(1)} to ${speed.high.toFixed(1)})` : "no speed known";
    this.announce(`At ${clock(this.cursor)}: ${value}${phase ? `, ${phase[2]}` : ""}. ${view}`);
  }

  // Show without speaking: a screen reader hears it from elsewhere.
  show(words) {
    clearTimeout(this.announcing);
    this.readout.setAttribute("aria-live", "off");
    this.readout.textContent = words;
  }

  announce(words) {
    // A screen reader hears the place where the pointer comes to rest, not the way there.
    this.show(words);
    this.announcing = setTimeout(() => {
      this.readout.setAttribute("aria-live", "polite");
      this.readout.textContent = `${words} `;
    }, 500);
  }

  view(start, end) {
    const least = 500;
    // A fiftieth of what is seen may lie beyond either end.
    const beyond = 0.02 * Math.min(1000 * this.span, end - start);
    const [low, high] = [1000 * this.start - beyond, 1000 * this.end + beyond];
    const width = Math.min(high - low, Math.max(least, end - start));
    const from = Math.min(Math.max(start, low), high - width);
    this.range.setv({ start: from, end: from + width });
  }

  zoom(factor) {
    const { start, end } = this.range;
    const inside = this.cursor !== null && 1000 * this.cursor > start && 1000 * this.cursor < end;
    const about = inside ? 1000 * this.cursor : (start + end) / 2;
    this.view(about + (start - about) * factor, about + (end - about) * factor);
  }

  shift(share) {
    const width = this.range.end - this.range.start;
    const from = this.range.start + share * width;
    const middle = (from + width / 2) / 1000;
    // A gap longer than the view holds nothing to look at: the next piece comes instead.
    const gap = this.frame.spans.find(([start, end, kind]) => kind === "gap" && start < middle && middle < end && 1000 * (end - start) > width);
    const beside = gap && (share > 0 ? 1000 * gap[1] - 0.1 * width : 1000 * gap[0] - 0.9 * width);
    this.view(beside ?? from, (beside ?? from) + width);
  }

  steer() {
    const acts = {
      in: () => this.zoom(0.5), out: () => this.zoom(2), left: () => this.shift(-0.4), right: () => this.shift(0.4),
      all: () => this.view(1000 * this.start - 20 * this.span, 1000 * this.end + 20 * this.span),
    };
    for (const button of document.querySelectorAll("#charts [data-do]")) {
      button.addEventListener("click", () => this.range && acts[button.dataset.do]());
    }
    const keys = { "+": acts.in, "=": acts.in, "-": acts.out, 0: acts.all, PageUp: acts.left, PageDown: acts.right };
    this.boxes.speed.addEventListener("keydown", (event) => {
      if (!this.range || event.ctrlKey || event.altKey || event.metaKey) return;
      const width = (this.range.end - this.range.start) / 1000;
      const step = event.shiftKey ? width / 10 : width / 100;
      const here = this.cursor ?? this.range.start / 1000 + width / 2;
      if (event.key === "ArrowLeft") this.step(here - step);
      else if (event.key === "ArrowRight") this.step(here + step);
      else if (event.key === "Home") this.step(this.start);
      else if (event.key === "End") this.step(this.end);
      else if (keys[event.key]) keys[event.key]();
      else return;
      event.preventDefault();
    });
  }

  // Move the cursor by hand; what is in view follows it.
  step(seconds) {
    this.point(seconds);
    const [at, { start, end }] = [1000 * this.cursor, this.range];
    if (at < start || at > end) this.view(at - (end - start) / 2, at + (end - start) / 2);
  }
}

// Line and band of what is in view. A band would go on across an interruption: there it closes to nothing.
function columns({ time, speed, low, high }) {
  const found = { time: [], speed: [], low: [], high: [] };
  const put = (at, value, from, to) => { found.time.push(1000 * at); found.speed.push(value); found.low.push(from); found.high.push(to); };
  for (let k = 0; k < time.length; k += 1) {
    if (time[k] !== null) { put(time[k], speed[k], low[k], high[k]); continue; }
    if (k > 0) put(time[k - 1], NAN, speed[k - 1], speed[k - 1]);
    if (k + 1 < time.length) put(time[k + 1], NAN, speed[k + 1], speed[k + 1]);
  }
  return Object.fromEntries(Object.entries(found).map(([name, list]) => [name, Float64Array.from(list)]));
}

// Once for each picture of the screen, however often the pointer or the range moved before it.
const due = new Map();
function soon(what, act) {
  if (!due.size) {
    requestAnimationFrame(() => {
      const acts = [...due.values()];
      due.clear();
      for (const one of acts) one();
    });
  }
  due.set(what, act);
}

// Move a mark to a place of a chart: shares of the frame from the left and from above.
function put(mark, view, across, down) {
  mark.hidden = !(across >= 0 && across <= 1 && down >= 0 && down <= 1);
  if (mark.hidden) return;
  const [chart, box, frame] = [view.el.getBoundingClientRect(), mark.offsetParent.getBoundingClientRect(), view.frame.bbox];
  mark.style.left = `${chart.left - box.left - mark.offsetParent.clientLeft + frame.x0 + across * (frame.x1 - frame.x0)}px`;
  const top = chart.top - box.top - mark.offsetParent.clientTop + frame.y0;
  if (mark.dataset.shape === "line") { mark.style.height = `${top + frame.y1 - frame.y0}px`; mark.style.top = "0"; }
  else mark.style.top = `${top + down * (frame.y1 - frame.y0)}px`;
}
