// The desk: holds what the server last said, and hands it to the parts.
import { ask, bring, tell } from "./asking.js";
import { Card } from "./card.js";
import { Dials } from "./dials.js";
import { Hear } from "./hear.js";
import { make } from "./making.js";
import { Page } from "./page.js";
import { Shape } from "./shape.js";

const $ = (id) => document.getElementById(id);

const desk = {
  state: null, chosen: null, time: 1, busy: null, waiting: null,

  say(sentence) { $("said").textContent = sentence; },

  fault(problem) {
    $("fault").textContent = problem?.message ?? String(problem);
    $("fault").hidden = false;
    if (problem?.status === 409) this.load();
  },

  clear() { $("fault").hidden = true; },

  // One change at a time; of the turns made meanwhile only the last is sent.
  async change(path, body, { latest = false } = {}) {
    if (this.busy) {
      if (latest) { this.waiting = [path, body]; return; }
      await this.busy;
    }
    const began = performance.now();
    this.busy = tell(path, { ...body, ...this.page.view(), revision: this.state.revision });
    try {
      const now = await this.busy;
      this.clear();
      this.take(now);
      document.body.dataset.took = Math.round(performance.now() - began);
    } catch (problem) { this.fault(problem); }
    finally { this.busy = null; }
    if (this.waiting) {
      const [next, content] = this.waiting;
      this.waiting = null;
      await this.change(next, content, { latest: true });
    }
  },

  turn(changes, gesture = "") { return this.change("turn", { changes, gesture }, { latest: Boolean(gesture) }); },

  decide(what, option = -1) {
    if (!this.chosen) return;
    return this.change("decide", { note: this.chosen, time: this.time, what, option });
  },

  take(now) {
    const before = this.state;
    this.state = { ...before, ...now, shape: { ...before?.shape, ...now.shape } };
    document.body.dataset.state = this.state.piece ? "ready" : "empty";
    document.body.dataset.revision = this.state.revision;
    this.head();
    if (!this.state.piece) { this.page.empty(); return; }
    this.dials.show(this.state);
    const changed = before?.piece && before.piece.digest === this.state.piece.digest ? differences(before.graces, this.state.graces) : [];
    this.page.show(this.state, changed);
    this.shape.show(this.state);
    this.hear.changed(before?.piece && (before.piece.digest !== this.state.piece.digest || before.revision !== this.state.revision));
    if (this.chosen && !this.state.notes.some((note) => note.id === this.chosen)) this.chosen = null;
    this.card.show(this.chosen, this.time);
    if (now.revision !== before?.revision || now.piece) this.review();
  },

  // What the review says of the work as it is now; a moment later, so that the page is drawn first.
  review() {
    clearTimeout(this.reviewing);
    this.reviewing = setTimeout(async () => {
      try {
        const { revision, faults, remarks } = await ask("remarks");
        if (revision === this.state.revision) this.remark(faults, remarks);
      } catch { /* the next change asks again */ }
    }, 400);
  },

  remark(faults, remarks) {
    const said = [
      ...faults.map((one) => make("li", {}, make("button", { type: "button", class: "wrong", onclick: () => { this.choose(one.note); this.page.reveal(one.note); } }, `Bar ${one.bar}: ${one.what}`))),
      ...remarks.map((one) => make("li", {}, one)),
    ];
    $("remarks").replaceChildren(...said);
    $("remarks").hidden = !said.length;
  },

  head() {
    const { piece, undo, redo } = this.state;
    $("title").textContent = piece ? piece.title : "An empty desk";
    document.title = piece ? `${piece.title} · gracewright` : "gracewright";
    $("about").textContent = piece ? [piece.composer, piece.key, piece.dance].filter(Boolean).join(" · ") : "";
    for (const [id, said] of [["undo", undo], ["redo", redo]]) {
      const known = said !== null && said !== undefined;
      $(id).disabled = !known;
      $(id).title = known ? `${id === "undo" ? "Take back" : "Do again"}: ${said}` : "";
    }
    $("take").disabled = $("play").disabled = !piece;
  },

  async load() {
    try { this.take(await ask("state", this.page.query())); }
    catch (problem) { this.fault(problem); }
  },

  // Another view of the same work: nothing is changed on the server.
  async look() {
    if (!this.state?.piece) return;
    try { this.take(await ask("state", this.page.query())); }
    catch (problem) { this.fault(problem); }
  },

  choose(note, { time = this.time, focus = false, sound = false } = {}) {
    const found = this.state.notes.find((one) => one.id === note);
    if (!found) return;
    this.chosen = note;
    this.time = found.times.includes(time) ? time : found.times[0];
    if (found.times.length > 1) this.page.turnTo(this.time);
    this.page.mark();
    this.shape.mark(found.at);
    this.card.show(note, this.time, { focus });
    this.say(this.spoken(found));
    if (sound) this.hear.note(note, this.time);
  },

  spoken(note) {
    const grace = this.state.graces[note.id]?.[this.time];
    const tail = grace?.lock === "never" ? "never a grace here this time" : grace?.words || "no grace";
    return `${note.spoken}, ${tail}${note.close ? `. ${note.close}` : ""}`;
  },

  unchoose() {
    this.chosen = null;
    this.page.mark();
    this.card.show(null);
    $("score").focus({ preventScroll: true });
  },

  step(by) {
    const notes = this.state.notes;
    const at = notes.findIndex((note) => note.id === this.chosen);
    const next = at < 0 ? this.page.firstInView() : Math.max(0, Math.min(notes.length - 1, at + by));
    this.choose(notes[next].id);
    this.page.reveal(notes[next].id);
  },
};

// Places (note, time through) whose grace is another one now.
function differences(before, after) {
  const found = [];
  for (const note of new Set([...Object.keys(before), ...Object.keys(after)])) {
    for (const time of new Set([...Object.keys(before[note] ?? {}), ...Object.keys(after[note] ?? {})])) {
      if (before[note]?.[time]?.words !== after[note]?.[time]?.words) found.push([note, Number(time)]);
    }
  }
  return found;
}

desk.page = new Page($("score"), $("rows"), $("written"), desk);
desk.shape = new Shape($("shape"), desk);
desk.card = new Card($("card"), desk);
desk.dials = new Dials($("dials"), desk);
desk.hear = new Hear(desk);

// Bring and take away.
async function opened(promise) {
  try {
    const now = await promise;
    desk.chosen = null;
    desk.hear.stop();
    desk.clear();
    desk.take(now);
    $("bringing").close();
    desk.say(`${now.piece.title} is on the desk.`);
  } catch (problem) { $("bringing").close(); desk.fault(problem); }
}

$("bring").addEventListener("click", async () => {
  $("bringing").showModal();
  try {
    const { recent } = await ask("recent");
    $("recent").replaceChildren(...recent.map((one) => make("li", {}, make("button", {
      type: "button", onclick: () => opened(tell("resume", { piece: one.piece, ...desk.page.view() })),
    }, make("b", {}, one.title || one.name), make("small", {}, one.name)))));
  } catch (problem) { desk.fault(problem); }
});
$("file").addEventListener("change", (event) => {
  const [file] = event.target.files;
  if (file) opened(bring(file, desk.page.query()));
  event.target.value = "";
});
let depth = 0;
addEventListener("dragenter", (event) => { if (event.dataTransfer?.types.includes("Files")) { depth += 1; document.body.dataset.drop = ""; } });
addEventListener("dragleave", () => { depth -= 1; if (depth <= 0) delete document.body.dataset.drop; });
addEventListener("dragover", (event) => event.preventDefault());
addEventListener("drop", (event) => {
  event.preventDefault();
  depth = 0;
  delete document.body.dataset.drop;
  const [file] = event.dataTransfer.files;
  if (file) opened(bring(file, desk.page.query()));
});

const RESULTS = [
  ["signs.musicxml", "The score with its signs", "MusicXML; your own document, with the signs added"],
  ["played.musicxml", "The line written out", "MusicXML; every grace in notes, repeats unfolded"],
  ["sheet.pdf", "The sheet", "PDF; plain and played line over the bass, with the reasons"],
  ["sound.ogg", "The sound", "the plain line, then the ornamented one; takes some seconds"],
  ["plan.txt", "The plan", "every choice with its reason, as a text you can edit"],
];
$("results").replaceChildren(...RESULTS.map(([name, title, words]) => make("li", {}, make("a", {
  href: `api/take/${name}`, download: true,
}, make("b", {}, title), make("small", {}, words)))));
$("take").addEventListener("click", () => $("taking").showModal());

$("undo").addEventListener("click", () => desk.change("undo", {}));
$("redo").addEventListener("click", () => desk.change("redo", {}));

addEventListener("keydown", (event) => {
  const typing = event.target.closest?.("input:not([type=checkbox],[type=radio],[type=range]), select, dialog");
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !typing) {
    event.preventDefault();
    (event.shiftKey ? $("redo") : $("undo")).click();
  } else if (event.key === " " && (event.target === document.body || event.target === $("score") || event.target === $("card"))) {
    event.preventDefault();
    $("play").click();
  } else if (event.key === "Escape" && desk.chosen && !event.target.closest?.("dialog")) desk.unchoose();
});

desk.load();
