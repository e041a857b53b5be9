// The shape of the piece: phrases, cadences, sequences, tension, the richness curve, and the graces of each time through.
import { draw } from "./making.js";

const LANES = { numbers: 12, arcs: 42, tension: [50, 94], legs: 104, rows: 110, step: 18 };
const APART = 32; // pixels between handles of the curve
const TIMES = ["", "first time", "again", "third time", "fourth time"];

export class Shape {
  constructor(place, desk) {
    this.place = place;
    this.desk = desk;
    this.at = 0;
    this.width = 0;
    new ResizeObserver(([entry]) => {
      const width = Math.round(entry.contentRect.width);
      if (width !== this.width && this.state && !this.dragging) { this.width = width; this.drawn(); }
    }).observe(place);
  }

  show(state) {
    this.state = state;
    const kept = document.activeElement?.dataset?.grip;
    if (!this.dragging) this.drawn();
    if (kept !== undefined) this.place.querySelector(`[data-grip="${kept}"]`)?.focus();
  }

  x(at) { return this.left + (at / this.state.shape.length) * (this.width - this.left - 8); }

  drawn() {
    const { shape } = this.state;
    const style = getComputedStyle(this.place);
    this.width = this.place.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
    this.narrow = this.width < 700;
    this.left = this.narrow ? 8 : 128;
    const bottom = LANES.rows + LANES.step * shape.times.length + 6;
    const svg = draw("svg", { viewBox: `0 0 ${this.width} ${bottom}`, role: "group", "aria-label": this.told() });
    svg.append(...this.bars(bottom), ...this.tension(), ...this.sequences(), ...this.rows(), ...this.phrases(bottom),
      ...this.cadences(), ...this.lanes());
    this.curve = draw("g", {});
    this.curve.append(...this.handles());
    this.line = draw("line", { class: "head", y1: 4, y2: bottom - 8 });
    svg.append(this.curve, this.line);
    this.place.replaceChildren(svg);
    this.mark(this.at);
  }

  told() {
    const { shape } = this.state;
    const closes = shape.cadences.map((one) => one.words).join("; ");
    return `${shape.bars.length} bars, ${shape.phrases.length} phrases. ${closes ? `Closes: ${closes}.` : ""}`;
  }

  lanes() {
    if (this.narrow) return [];
    const label = (y, words) => draw("text", { class: "lane", x: 0, y }, words);
    return [label(36, "phrases"), label(68, "tension, and"), label(84, "your richness"),
      ...(this.state.shape.sequences.length ? [label(LANES.legs + 4, "sequences")] : []),
      ...this.state.shape.times.map((row, n) => label(LANES.rows + n * LANES.step + 16, this.state.shape.times.length === 1 ? "graces" : TIMES[row.time] ?? `time ${row.time}`))];
  }

  bars(bottom) {
    const { bars } = this.state.shape;
    const room = (this.width - this.left) / bars.length;
    const every = [1, 2, 4, 5, 10, 20, 50].find((step) => step * room > 26) ?? 100;
    return bars.flatMap((bar, n) => {
      const x = this.x(bar.at);
      const strong = bar.repeat_start || bars[n - 1]?.repeat_end || bars[n - 1]?.double;
      const line = draw("line", { class: strong ? "bar strong" : "bar", x1: x, x2: x, y1: 18, y2: bottom - 10 });
      return n % every ? [line] : [line, draw("text", { x: x + 2, y: LANES.numbers }, bar.number)];
    });
  }

  phrases(bottom) {
    return this.state.shape.phrases.flatMap((phrase, n) => {
      const [a, b] = [this.x(phrase.start) + 2, this.x(phrase.end) - 4];
      const high = Math.min(24, 10 + (b - a) / 14);
      const here = this.at >= phrase.start && this.at < phrase.end;
      return [
        draw("path", { class: here ? "arc here" : "arc", "data-phrase": n, d: `M${a} ${LANES.arcs}C${a + (b - a) * 0.2} ${LANES.arcs - high} ${b - (b - a) * 0.2} ${LANES.arcs - high} ${b} ${LANES.arcs}` }),
        draw("rect", { class: "reach", x: a, y: 16, width: Math.max(1, b - a), height: 32, tabindex: 0, role: "button", "aria-label": `Go to ${phrase.words}`,
          onclick: (event) => this.go(event), onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); this.desk.page.go(phrase.start, true); } } },
          draw("title", {}, phrase.words + (phrase.reason ? ` (ends by ${phrase.reason})` : ""))),
        draw("rect", { class: "reach", x: a, y: LANES.legs - 6, width: Math.max(1, b - a), height: bottom - LANES.legs - 2, onclick: (event) => this.go(event) }),
      ];
    });
  }

  go(event) {
    const box = this.place.querySelector("svg").getBoundingClientRect();
    const at = ((event.clientX - box.left - this.left) / (this.width - this.left - 8)) * this.state.shape.length;
    this.desk.page.go(Math.max(0, at), true);
  }

  cadences() {
    return this.state.shape.cadences.map((one) => {
      const room = Math.min(1, (this.width - this.left) / this.state.shape.cadences.length / 26);
      const x = this.x(one.at), y = LANES.arcs, r = (3 + 2.6 * one.strength) * Math.max(0.5, room);
      const full = one.kind === "authentic-perfect";
      const path = {
        half: `M${x - r} ${y}h${2 * r}l${-r} ${r}z`, phrygian: `M${x - r} ${y}h${2 * r}l${-r} ${r}z`,
        deceptive: `M${x - r} ${y - r}l${2 * r} ${2 * r}m0 ${-2 * r}l${-2 * r} ${2 * r}`, evaded: `M${x - r} ${y - r}l${2 * r} ${2 * r}m0 ${-2 * r}l${-2 * r} ${2 * r}`,
      }[one.kind] ?? `M${x} ${y - r}l${r} ${r}l${-r} ${r}l${-r} ${-r}z`;
      return draw("path", { class: full ? "cadence full" : "cadence", d: path }, draw("title", {}, one.words));
    });
  }

  sequences() {
    return this.state.shape.sequences.flatMap((one) => one.legs.map(([start, end]) => {
      const [a, b] = [this.x(start) + 2, this.x(end) - 2];
      return draw("path", { class: "leg", d: `M${a} ${LANES.legs + 5}v-5H${b}v5` }, draw("title", {}, one.words));
    }));
  }

  tension() {
    const [top, bottom] = LANES.tension;
    const most = Math.max(0.4, ...this.state.shape.tension.map(([, value]) => value));
    const points = this.state.shape.tension.map(([at, value]) => `${this.x(at).toFixed(1)} ${(bottom - (value / most) * (bottom - top - 4)).toFixed(1)}`);
    const middle = (top + bottom) / 2;
    const level = draw("line", { class: "level", x1: this.left, x2: this.width - 8, y1: middle, y2: middle });
    if (!points.length) return [level];
    return [draw("path", { class: "tension", d: `M${this.x(0)} ${bottom}L${points.join("L")}L${this.x(this.state.shape.length)} ${bottom}z` },
      draw("title", {}, "tension of the harmony and the line")), level];
  }

  rows() {
    return this.state.shape.times.flatMap((row, n) => {
      const y = LANES.rows + n * LANES.step + 17;
      const lines = row.spans.map(([a, b]) => draw("line", { class: "row", x1: this.x(a), x2: this.x(b), y1: y, y2: y }));
      const ticks = row.graces.map((grace) => {
        const x = this.x(grace.at) + 3;
        return draw("line", { class: `tick-${grace.origin}`, x1: x, x2: x, y1: y, y2: y - (grace.origin === "page" ? 7 : 12) });
      });
      return [...lines, ...ticks];
    });
  }

  // Phrases, neighbours taken together where their handles would lie too close to touch.
  spans() {
    const spans = [];
    for (const { start, end, words } of this.state.shape.phrases) {
      const last = spans.at(-1);
      if (last && (this.x(end) + this.x(start) - this.x(last.end) - this.x(last.start)) / 2 < APART) Object.assign(last, { end, words: `${last.first} to ${words}` });
      else spans.push({ start, end, words, first: words });
    }
    return spans;
  }

  // The curve has a handle for each phrase; between handles the planner draws straight lines, and so do we.
  points() {
    const curve = this.state.shape.curve.map(([onset, factor]) => [fraction(onset), factor]);
    const value = (at) => {
      if (!curve.length) return 1;
      const after = curve.findIndex(([x]) => x > at);
      if (after === 0) return curve[0][1];
      if (after < 0) return curve[curve.length - 1][1];
      const [[a, low], [b, high]] = [curve[after - 1], curve[after]];
      return low + ((high - low) * (at - a)) / (b - a);
    };
    return this.spans().map(({ start, end, words }) => {
      const at = Math.round((start + end) * 8) / 16;
      return { at, factor: value(at), words };
    });
  }

  handles() {
    this.now = this.points();
    const [top, bottom] = LANES.tension;
    const y = (factor) => bottom - (factor / 2) * (bottom - top);
    const path = draw("path", { class: "curve" });
    const redraw = () => {
      const through = this.now.map((point) => `${this.x(point.at)} ${y(point.factor)}`);
      path.setAttribute("d", `M${this.x(0)} ${y(this.now[0].factor)}L${through.join("L")}L${this.x(this.state.shape.length)} ${y(this.now[this.now.length - 1].factor)}`);
    };
    redraw();
    const parts = this.now.flatMap((point, n) => {
      const grip = draw("circle", { class: "grip", r: 18, cx: this.x(point.at), cy: y(point.factor), tabindex: 0, role: "slider", "data-grip": n,
        "aria-label": `Richness of ${point.words}`, "aria-orientation": "vertical", "aria-valuemin": 0, "aria-valuemax": 2, "aria-valuenow": point.factor.toFixed(2), "aria-valuetext": said(point.factor) },
        draw("title", {}, `${point.words}: ${said(point.factor)}; drag, or use the arrow keys`));
      const dot = draw("circle", { class: "handle", r: 5.5, cx: this.x(point.at), cy: y(point.factor), "pointer-events": "none" });
      const set = (factor, gesture) => {
        point.factor = Math.max(0, Math.min(2, Math.round(factor * 20) / 20));
        for (const one of [grip, dot]) one.setAttribute("cy", y(point.factor));
        grip.setAttribute("aria-valuenow", point.factor.toFixed(2));
        grip.setAttribute("aria-valuetext", said(point.factor));
        redraw();
        this.desk.turn({ curve: this.now.map((one) => [String(one.at), one.factor]) }, gesture);
      };
      grip.addEventListener("keydown", (event) => {
        const by = { ArrowUp: 0.1, ArrowRight: 0.1, ArrowDown: -0.1, ArrowLeft: -0.1, PageUp: 0.5, PageDown: -0.5 }[event.key];
        if (by !== undefined) { event.preventDefault(); set(point.factor + by, ""); }
      });
      grip.addEventListener("pointerdown", (event) => {
        grip.setPointerCapture(event.pointerId);
        this.dragging = `curve-${Date.now()}`;
        const box = grip.ownerSVGElement.getBoundingClientRect();
        const scale = grip.ownerSVGElement.viewBox.baseVal.height / box.height;
        const move = (moved) => set(((bottom - (moved.clientY - box.top) * scale) / (bottom - top)) * 2, this.dragging);
        const up = () => { grip.removeEventListener("pointermove", move); this.dragging = null; };
        grip.addEventListener("pointermove", move);
        grip.addEventListener("pointerup", up, { once: true });
        grip.addEventListener("pointercancel", up, { once: true });
      });
      return [grip, dot];
    });
    return [path, ...parts];
  }

  mark(at) {
    this.at = at;
    if (!this.line) return;
    const x = this.x(at) + 3;
    this.line.setAttribute("x1", x);
    this.line.setAttribute("x2", x);
    for (const arc of this.place.querySelectorAll(".arc")) {
      const phrase = this.state.shape.phrases[arc.dataset.phrase];
      arc.setAttribute("class", at >= phrase.start && at < phrase.end ? "arc here" : "arc");
    }
  }
}

const fraction = (text) => { const [over, under = "1"] = String(text).split("/"); return Number(over) / Number(under); };

const said = (factor) => {
  if (factor < 0.05) return "no graces of ours";
  if (Math.abs(factor - 1) < 0.05) return "as the dial says";
  return `${factor.toFixed(1).replace(/\.0$/, "")} times the dial`;
};
