// A note's card: what the music does here, which grace and why, how it is played, what else would do.
import { ask } from "./asking.js";
import { drawing, icon, make } from "./making.js";

const TIMES = ["", "first time", "again", "third time", "fourth time"];

export class Card {
  constructor(place, desk) {
    this.place = place;
    this.desk = desk;
    this.asked = 0;
    place.addEventListener("keydown", (event) => this.key(event));
    this.blank();
  }

  blank() {
    this.place.dataset.empty = "";
    delete document.body.dataset.card;
    this.place.replaceChildren(
      make("p", { class: "place" }, "The note chosen"),
      make("p", {}, "Choose a note: touch it, or go along the line with the arrow keys. Its card tells what the harmony does there, why it has a grace or none, and what else would do."),
      make("p", { class: "keys" }, kbd("←"), " ", kbd("→"), " note to note · ", kbd("↑"), " ", kbd("↓"), " grace to grace · ", kbd("Enter"), " to the card · ",
        kbd("k"), " keep · ", kbd("n"), " never here · ", kbd("l"), " let it change · ", kbd("t"), " the other time · ", kbd("h"), " hear it · ", kbd("Space"), " listen"),
    );
  }

  async show(note, time, { focus = false } = {}) {
    this.asked += 1;
    const mine = this.asked;
    if (!note) { this.blank(); return; }
    let card;
    try { card = await ask("card", { note, time }); }
    catch (problem) { if (mine === this.asked) this.desk.fault(problem); return; }
    if (mine !== this.asked) return;
    const held = document.activeElement?.closest?.("#card") ? document.activeElement.dataset.deed : null;
    delete this.place.dataset.empty;
    document.body.dataset.card = "";
    this.card = card;
    this.place.replaceChildren(...this.parts(card));
    this.place.scrollTop = 0;
    if (innerWidth <= 900) this.desk.page.reveal();
    if (focus) this.place.focus();
    else if (held) (this.place.querySelector(`[data-deed="${held}"]`) ?? this.place).focus();
    try {
      const rest = await ask("played", { note, time });
      if (mine === this.asked) this.fill(rest);
    } catch { /* the card is of use without its drawing */ }
  }

  // What needs the piece played and judged comes a moment later.
  fill({ drawing: drawn, remarks }) {
    const frame = this.place.querySelector(".played");
    if (drawn) frame?.replaceChildren(drawing(drawn));
    else frame?.remove();
    this.place.querySelector(".found")?.replaceChildren(...remarks.map((one) => make("p", { class: one.fault ? "remark bad" : "remark" }, `${one.what} ${one.remedy}`)));
  }

  parts(card) {
    const close = make("button", { class: "closecard", type: "button", onclick: () => this.desk.unchoose() }, "close");
    const found = [
      make("p", { class: "place" }, make("span", {}, card.place), close),
      make("h2", {}, `${card.pitch}`, make("span", {}, `  ${this.headline(card)}`)),
    ];
    if (card.times.length > 1) found.push(this.times(card));
    found.push(this.deeds(card));
    found.push(...this.graced(card));
    found.push(make("div", { class: "found" }));
    found.push(make("h3", {}, "The harmony here"), ...card.here.map((sentence) => make("p", {}, sentence)));
    if (card.options.length) found.push(make("h3", {}, card.grace ? "What else would do" : "What could stand here"), ...card.options.map((one) => this.option(one)));
    found.push(...this.fingers(card.fingering));
    return found;
  }

  headline(card) {
    if (card.grace) return card.grace.words;
    return card.lock === "never" ? "never a grace here this time" : "left bare";
  }

  times(card) {
    return make("fieldset", { class: "rows" }, make("legend", { class: "unseen" }, "Which time through"), ...card.times.map((time) =>
      make("label", {}, make("input", { type: "radio", name: "cardtime", value: time, checked: time === card.time, "data-deed": `time${time}`,
        onchange: () => this.desk.choose(card.note, { time }) }), make("span", {}, TIMES[time] ?? `time ${time}`))));
  }

  graced({ grace, bare, lock, note, time }) {
    const listen = make("button", { class: "listen", type: "button", "data-deed": "hear", onclick: () => this.desk.hear.note(note, time) }, icon("i-ear"), "Hear it");
    const picture = make("div", { class: "played", role: "img", "aria-label": grace?.played || "The bar as it is played" });
    if (!grace) return [make("p", {}, lock === "never" ? "You have said that this note stays plain." : bare), picture, listen];
    return [
      make("p", { class: `origin ${grace.origin}` }, grace.origin_words, lock === "keep" ? ", and kept whatever the dials say" : ""),
      ...grace.reasons.map((reason) => make("p", {}, reason)),
      make("p", { class: "origin" }, `After ${grace.source || "common practice"}.`),
      make("h3", {}, "How it is played"), picture,
      grace.played ? make("p", {}, upper(grace.played)) : null, listen,
    ].filter(Boolean);
  }

  deeds({ grace, lock }) {
    const deed = (what, words, pressed) => make("button", { class: "deed", type: "button", "data-deed": what, "aria-pressed": pressed ? "true" : "false",
      onclick: () => this.desk.decide(pressed ? "free" : what) }, words);
    return make("div", { class: "deeds", role: "group", "aria-label": "Decide" },
      grace ? deed("keep", lock === "keep" ? "Kept" : "Keep it", lock === "keep") : null,
      deed("never", "Never here", lock === "never"));
  }

  option(one) {
    const { note, time } = this.card;
    return make("div", { class: "option" },
      make("button", { class: "pick", type: "button", "data-deed": `option${one.index}`, onclick: () => this.desk.decide("change", one.index) },
        make("b", {}, upper(one.words)), make("small", {}, one.effect)),
      make("button", { class: "listen", type: "button", "aria-label": `Hear: ${one.words}`, onclick: () => this.desk.hear.note(note, time, one.index) }, icon("i-ear")));
  }

  fingers({ note, shake, weak }) {
    const rows = [["The note", note], ["Its shake", shake], ["Mind", weak]].filter(([, words]) => words);
    if (!rows.length) return [];
    return [make("h3", {}, "Under the fingers"), make("dl", {}, ...rows.flatMap(([name, words]) => [make("dt", {}, name), make("dd", {}, words)]))];
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches("input")) return;
    const number = Number(event.key);
    if (this.card && number >= 1 && number <= this.card.options.length) { event.preventDefault(); this.desk.decide("change", number - 1); return; }
    const deed = { k: "keep", n: "never", l: "free" }[event.key];
    if (deed) { event.preventDefault(); this.desk.decide(deed); }
    if (event.key === "h" && this.card) this.desk.hear.note(this.card.note, this.card.time);
  }
}

const kbd = (name) => make("kbd", {}, name);
const upper = (words) => words.charAt(0).toUpperCase() + words.slice(1);
