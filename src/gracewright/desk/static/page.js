// The page of music: systems as the server engraves them, drawn only where they can be seen.
import { ask } from "./asking.js";
import { draw, drawing, make } from "./making.js";

const NEAR = 34; // pixels within which a touch finds a note
const AHEAD = 120; // systems fetched before they are seen
const LANE = 9; // pixels above everything at a note where its mark stands

export class Page {
  constructor(score, rows, written, desk) {
    Object.assign(this, { score, rowsField: rows, writtenField: written, desk });
    this.rows = "first";
    this.drawings = new Map();
    this.systems = [];
    this.places = new Map(); // note id → the figure that shows it
    for (const [value, words] of [["first", "first time"], ["again", "again"], ["both", "both"]]) {
      rows.append(make("label", {}, make("input", { type: "radio", name: "rows", value, checked: value === "first", onchange: () => { this.rows = value; if (value !== "both") desk.time = value === "first" ? 1 : 2; desk.look(); } }), make("span", {}, words)));
    }
    written.addEventListener("change", () => desk.look());
    this.watch = new IntersectionObserver((entries) => this.seen(entries), { rootMargin: "500px 0px" });
    new ResizeObserver(() => this.resized()).observe(score);
    score.addEventListener("pointerup", (event) => this.touched(event));
    score.addEventListener("keydown", (event) => this.key(event));
  }

  // How large the stave is on this screen: pixels for a tenth of a millimetre of the engraving.
  get scale() { return innerWidth < 560 ? 0.34 : innerWidth < 1000 ? 0.4 : 0.43; }

  get width() {
    const style = getComputedStyle(this.score);
    return Math.max(240, this.score.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight));
  }

  query() { return { rows: this.rows, written: this.writtenField.checked ? "1" : "", width: Math.round(this.width / this.scale) }; }

  view() {
    const shown = this.systems.map((figure, n) => [figure.getBoundingClientRect(), n]).filter(([box]) => box.bottom > 0 && box.top < innerHeight).map(([, n]) => n);
    const first = shown.length ? shown[0] : 0;
    return { ...this.query(), form: this.state?.shape?.form ?? "", holds: [...this.drawings.keys()], first, count: Math.max(1, shown.length) };
  }

  resized() {
    const width = Math.round(this.width / this.scale);
    if (!this.state || Math.abs(width - this.drawnFor) < 12) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.desk.look(), 200);
  }

  empty() { this.score.replaceChildren(make("p", { class: "empty" }, "Nothing lies on the desk yet. Bring a piece, or drop a score anywhere on this page.")); }

  show(state, changed) {
    this.state = state;
    this.drawnFor = this.query().width;
    for (const [key, text] of Object.entries(state.page.drawings)) this.drawings.set(key, text);
    const wanted = state.page.systems;
    const keep = new Set(wanted.map((one) => one.key));
    for (const key of this.drawings.keys()) if (!keep.has(key) && this.drawings.size > 300) this.drawings.delete(key);
    const repeats = state.shape.times.length > 1;
    this.rowsField.hidden = !repeats;
    if (this.systems.length !== wanted.length) {
      for (const figure of this.systems) this.watch.unobserve(figure);
      this.systems = wanted.map(() => make("figure", { class: "system" }));
      this.score.replaceChildren(...this.systems);
      for (const figure of this.systems) this.watch.observe(figure);
    }
    const late = [];
    this.systems.forEach((figure, n) => {
      const one = wanted[n];
      figure.style.height = `${one.height * this.scale}px`;
      figure.dataset.bars = one.bars.join(" ");
      if (figure.dataset.key !== one.key) { figure.dataset.key = one.key; delete figure.dataset.drawn; }
      if (this.visible(figure) && !this.mount(figure) && figure.childElementCount) late.push(figure);
    });
    if (late.length) this.seen(late.map((target) => ({ target, isIntersecting: true })));
    this.marks();
    this.mark();
    this.glow(changed);
    clearTimeout(this.idling);
    this.idling = setTimeout(() => this.fetchAhead(), 400);
  }

  // While nothing happens, fetch what is not in view, nearest first, so that scrolling only has to mount.
  async fetchAhead() {
    const now = this.state;
    const middle = this.systems.findIndex((figure) => figure.getBoundingClientRect().bottom > 0);
    const missing = this.systems.map((figure, n) => [n, Math.abs(n - middle), figure.dataset.key])
      .filter(([, , key]) => !this.drawings.has(key)).sort((a, b) => a[1] - b[1]).slice(0, AHEAD).map(([n]) => n);
    for (let n = 0; n < missing.length && this.state === now; n += 6) {
      try {
        const { drawings } = await ask("system", { ...this.query(), places: missing.slice(n, n + 6).join(",") });
        for (const [key, text] of Object.entries(drawings)) this.drawings.set(key, text);
      } catch { return; }
    }
  }

  visible(figure) {
    const box = figure.getBoundingClientRect();
    return box.bottom > -500 && box.top < innerHeight + 500;
  }

  mount(figure) {
    const { key } = figure.dataset;
    if (figure.dataset.drawn === key) return true;
    const text = this.drawings.get(key);
    if (!text) return false;
    const music = drawing(text);
    figure.style.height = `${music.viewBox.baseVal.height * this.scale}px`;
    figure.replaceChildren(music, draw("svg", { class: "over", "aria-hidden": "true" }));
    figure.dataset.drawn = key;
    figure.notes = null;
    return true;
  }

  async seen(entries) {
    const missing = [];
    for (const { target, isIntersecting } of entries) {
      if (!isIntersecting) { if (!this.visible(target)) { target.replaceChildren(); delete target.dataset.drawn; } }
      else if (this.mount(target)) this.marks([target]);
      else if (target.dataset.key) missing.push(target);
    }
    if (!missing.length) { this.mark(); return; }
    try {
      const { drawings } = await ask("system", { ...this.query(), places: missing.map((figure) => this.systems.indexOf(figure)).join(",") });
      for (const [key, text] of Object.entries(drawings)) this.drawings.set(key, text);
      const fresh = missing.filter((figure) => this.mount(figure));
      this.marks(fresh);
      this.mark();
    } catch (problem) { this.desk.fault(problem); }
  }

  // Where the line's notes lie in a figure: id, row (0 upper, 1 the second of "both"), middle of the head, top of its staff.
  notesIn(figure) {
    if (figure.notes) return figure.notes;
    const box = figure.getBoundingClientRect();
    const wanted = this.byDrawn ??= new Map();
    if (this.byDrawnFor !== this.state.notes) {
      wanted.clear();
      this.state.notes.forEach((note, n) => note.ids.forEach((id, k) => wanted.set(id, { n, first: k === 0 })));
      this.byDrawnFor = this.state.notes;
    }
    const found = [];
    for (const group of figure.querySelectorAll("g.note[data-id]")) {
      const safe = group.dataset.id;
      if (safe.includes("--")) continue;
      const row = safe.startsWith("again.") ? 1 : 0;
      const there = wanted.get(plain(row ? safe.slice(6) : safe));
      if (!there) continue;
      const head = (group.querySelector(".notehead") ?? group).getBoundingClientRect();
      const staff = group.closest(".staff");
      const lines = staff?.querySelector("path")?.getBoundingClientRect();
      found.push({ drawn: safe, id: this.state.notes[there.n].id, n: there.n, row, first: there.first, x: head.left + head.width / 2 - box.left, y: head.top + head.height / 2 - box.top,
        w: head.width, top: staff ? topOf(staff) - box.top : head.top - box.top, lines });
    }
    figure.notes = found;
    return found;
  }

  // Show the time through that a note was chosen in.
  turnTo(time) {
    if (this.rows === "both" || this.rowsField.hidden || this.timeOf(0) === Math.min(time, 2)) return;
    this.rows = time === 1 ? "first" : "again";
    this.rowsField.querySelector(`input[value="${this.rows}"]`).checked = true;
    this.desk.look();
  }

  timeOf(row) { return this.rows === "both" ? row + 1 : this.rows === "again" ? 2 : 1; }

  graceAt(note, row) {
    const { times } = this.state.notes[note.n];
    const time = times.includes(this.timeOf(row)) ? this.timeOf(row) : times[times.length - 1];
    return this.state.graces[note.id]?.[time];
  }

  // The marks above each staff: whose a grace is, told by shape as well as colour.
  marks(figures = this.systems) {
    for (const figure of figures) {
      const over = figure.querySelector(".over");
      if (!over) continue;
      const marks = [];
      const box = figure.getBoundingClientRect();
      for (const note of this.notesIn(figure)) {
        const grace = note.first && this.graceAt(note, note.row);
        if (!grace) continue;
        const id = grace.lock === "never" ? "m-never" : `m-${grace.origin}`;
        marks.push(draw("use", { href: `#${id}`, x: note.x - 8, y: Math.max(9, this.above(figure, note, box) - LANE) - 8, width: 16, height: 16, class: "sign" }));
      }
      let layer = over.querySelector(".signs");
      if (!layer) { layer = draw("g", { class: "signs" }); over.append(layer); }
      layer.replaceChildren(...marks);
    }
  }

  // The top of everything that stands at a note: its staff, its stem, its signs and small notes.
  above(figure, note, box) {
    const drawn = CSS.escape(note.drawn);
    const parts = figure.querySelectorAll(`[data-id="${drawn}"], [data-id^="${drawn}--s"], [data-id^="${drawn}--b"]`);
    return Math.min(note.top, ...[...parts].map((part) => part.getBoundingClientRect()).filter((one) => one.height).map((one) => one.top - box.top));
  }

  glow(changed) {
    if (!changed?.length) return;
    const wanted = new Map(changed.map(([id, time]) => [`${id} ${time}`, true]));
    for (const figure of this.systems) {
      const over = figure.querySelector(".over");
      if (!over) continue;
      for (const old of over.querySelectorAll(".glow")) old.remove();
      for (const note of this.notesIn(figure)) {
        if (!note.first || !wanted.has(`${note.id} ${this.timeOf(note.row)}`)) continue;
        const spot = draw("ellipse", { class: "glow", cx: note.x, cy: (note.top + note.y) / 2 + 4, rx: 17, ry: Math.abs(note.y - note.top) / 2 + 26 });
        spot.addEventListener("animationend", () => spot.remove());
        over.prepend(spot);
      }
    }
  }

  find(id, row = null) {
    for (const figure of this.systems) {
      if (!figure.querySelector(".over")) continue;
      const note = this.notesIn(figure).find((one) => one.id === id && one.first && (row === null || one.row === row));
      if (note) return { figure, note };
    }
    return null;
  }

  ring(id, time, name) {
    const row = this.rows === "both" ? Math.max(0, time - 1) : 0;
    const there = this.find(id, row) ?? this.find(id);
    for (const old of this.score.querySelectorAll(`.${name}-mark`)) old.remove();
    if (!there) return null;
    const { figure, note } = there;
    const over = figure.querySelector(".over");
    const marks = name === "chosen"
      ? [draw("ellipse", { class: "chosen", cx: note.x, cy: note.y, rx: note.w * 0.5 + 8, ry: note.w * 0.5 + 7 })]
      : [draw("rect", { class: "cursor", x: note.x - note.w / 2 - 6, y: note.top - 18, width: note.w + 12, height: figure.clientHeight - note.top + 8, rx: 6 })];
    over.prepend(draw("g", { class: `${name}-mark` }, ...marks));
    return there;
  }

  mark() {
    for (const old of this.score.querySelectorAll(".chosen-mark")) old.remove();
    if (this.desk.chosen) this.ring(this.desk.chosen, this.desk.time, "chosen");
  }

  cursor(id, time) {
    if (!id) { for (const old of this.score.querySelectorAll(".cursor-mark")) old.remove(); return; }
    const there = this.ring(id, time, "cursor");
    this.figureAt = there?.figure ?? null;
    if (there && this.figureAt !== this.followed) { this.followed = this.figureAt; this.intoView(this.figureAt); }
  }

  intoView(figure) {
    const box = figure.getBoundingClientRect();
    const card = document.getElementById("card");
    const over = getComputedStyle(card).position === "fixed" ? card.offsetHeight : 0; // on small screens the card lies over the music
    const room = innerHeight - document.getElementById("hear").clientHeight - over;
    if (box.top < 0 || box.bottom > room) scrollBy({ top: box.top - Math.max(0, (room - box.height) / 2) });
  }

  touched(event) {
    if (event.button > 0 || !this.state) return;
    const figure = event.target.closest?.("figure.system");
    if (!figure) return;
    const box = figure.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    let best = null;
    for (const note of this.notesIn(figure)) {
      const lane = Math.abs(x - note.x) < 14 && y < note.top && y > note.top - 30 ? 8 : Infinity;
      const away = Math.min(Math.hypot(x - note.x, (y - note.y) * 0.8), lane);
      if (away < NEAR && (!best || away < best.away)) best = { ...note, away };
    }
    if (best) this.desk.choose(best.id, { time: this.rows === "both" ? best.row + 1 : this.timeOf(0) });
  }

  key(event) {
    if (!this.state?.notes || event.ctrlKey || event.metaKey || event.altKey) return;
    const deeds = {
      ArrowRight: () => this.desk.step(1), ArrowLeft: () => this.desk.step(-1),
      Home: () => this.desk.step(-1e6), End: () => this.desk.step(1e6),
      ArrowDown: () => this.graced(1), ArrowUp: () => this.graced(-1),
      Enter: () => this.desk.chosen && this.desk.choose(this.desk.chosen, { focus: true }),
      k: () => this.desk.decide("keep"), n: () => this.desk.decide("never"), l: () => this.desk.decide("free"),
      t: () => this.desk.chosen && this.desk.choose(this.desk.chosen, { time: this.desk.time === 1 ? 2 : 1 }),
      h: () => this.desk.chosen && this.desk.hear.note(this.desk.chosen, this.desk.time),
    };
    const deed = deeds[event.key];
    if (deed) { event.preventDefault(); deed(); }
  }

  // To the next note that bears a grace.
  graced(by) {
    const { notes, graces } = this.state;
    let at = notes.findIndex((note) => note.id === this.desk.chosen);
    if (at < 0) at = by > 0 ? -1 : notes.length;
    for (at += by; at >= 0 && at < notes.length; at += by) {
      const own = notes[at].times.includes(this.desk.time) ? this.desk.time : notes[at].times[0];
      if (graces[notes[at].id]?.[own]) {
        this.desk.choose(notes[at].id);
        this.reveal(notes[at].id);
        return;
      }
    }
  }

  firstInView() {
    for (const figure of this.systems) {
      if (figure.getBoundingClientRect().bottom < 60 || !figure.querySelector(".over")) continue;
      const note = this.notesIn(figure)[0];
      if (note) return note.n;
    }
    return 0;
  }

  figureOf(at) {
    const bars = this.state.shape.bars;
    const index = bars.findLast((bar) => bar.at <= at + 1e-9)?.index ?? 0;
    return this.systems.find((figure) => { const [a, b] = figure.dataset.bars.split(" ").map(Number); return a <= index && index <= b; });
  }

  reveal(id = this.desk.chosen) {
    const note = this.state.notes.find((one) => one.id === id);
    const figure = note && this.figureOf(note.at);
    if (figure) this.intoView(figure);
  }

  // Go to a place along the piece, and choose the note there.
  go(at, choose) {
    const figure = this.figureOf(at);
    if (figure) this.intoView(figure);
    if (!choose) return;
    const notes = this.state.notes;
    const note = notes.find((one) => one.end > at) ?? notes[notes.length - 1];
    this.desk.choose(note.id);
  }
}

// The drawn id made plain again (the server makes awkward letters safe as _hex_).
const plain = (safe) => safe.replace(/_([0-9a-f]+)_/g, (_, code) => String.fromCodePoint(parseInt(code, 16)));

const topOf = (staff) => Math.min(...[...staff.querySelectorAll(":scope > path")].slice(0, 1).map((line) => line.getBoundingClientRect().top));
