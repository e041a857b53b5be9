// The dials, as one sentence with blanks.
import { make } from "./making.js";

const RICHNESS = ["only what is on the page", "very sparingly", "sparingly", "soberly", "modestly", "with moderation",
  "freely", "generously", "richly", "very richly", "lavishly"];
const LEVELS = { beginner: "a beginner", intermediate: "an intermediate player", advanced: "an advanced player", virtuoso: "a virtuoso" };

export class Dials {
  constructor(form, desk) {
    this.form = form;
    this.desk = desk;
    this.made = false;
    form.addEventListener("submit", (event) => event.preventDefault());
  }

  show(state) {
    if (!this.made) this.build(state.choices);
    const { wishes } = state;
    for (const name of ["manner", "instrument", "level", "signs_by", "temperament", "transpose"]) this.fields[name].value = wishes[name];
    this.pitch(wishes.a);
    if (document.activeElement !== this.fields.richness || !this.dragging) this.fields.richness.value = wishes.richness;
    this.said(wishes.richness);
    if (document.activeElement !== this.fields.tempo) this.fields.tempo.value = Math.round(wishes.tempo_found * 10) / 10;
  }

  pitch(hertz) {
    const field = this.fields.a;
    if (![...field.options].some((option) => Number(option.value) === hertz)) field.append(make("option", { value: hertz }, `${hertz}`));
    field.value = [...field.options].find((option) => Number(option.value) === hertz).value;
  }

  said(richness) { this.output.textContent = `${RICHNESS[Math.round(richness)]}.`; }

  build(choices) {
    const words = { level: (one) => LEVELS[one.id] ?? one.words };
    const select = (name, label) => {
      const field = make("select", { "aria-label": label, id: `dial-${name}`, onchange: () => this.turned(name, field.value) },
        ...choices[name].map((one) => make("option", { value: one.id }, (words[name] ?? ((o) => o.words))(one))));
      return field;
    };
    this.output = make("output", { for: "dial-richness" });
    this.fields = {
      manner: select("manner", "Manner"), instrument: select("instrument", "Instrument"), level: select("level", "Level"),
      signs_by: select("signs_by", "Whose table explains the signs"), temperament: select("temperament", "Temperament"), transpose: select("transpose", "Transposition"),
      a: select("a", "Pitch of a′ in hertz"),
      richness: make("input", { type: "range", id: "dial-richness", min: 0, max: 10, step: 0.5, "aria-label": "Richness" }),
      tempo: make("input", { type: "number", id: "dial-tempo", min: 10, max: 400, step: "any", "aria-label": "Tempo: quarter notes a minute" }),
    };
    const { richness, tempo } = this.fields;
    richness.addEventListener("input", () => {
      this.dragging ??= `richness-${Date.now()}`;
      this.said(richness.value);
      this.desk.turn({ richness: Number(richness.value) }, this.dragging);
    });
    richness.addEventListener("change", () => { this.dragging = null; });
    tempo.addEventListener("change", () => {
      if (tempo.checkValidity() && tempo.value) this.desk.turn({ tempo: Number(tempo.value) });
      else if (!tempo.value) this.desk.turn({ tempo: null });
    });
    const blank = (before, field, after = "") => make("span", { class: "blank" }, before, field, after);
    const more = make("button", { type: "button", class: "unfold", "aria-expanded": "false", onclick: () => {
      const open = more.getAttribute("aria-expanded") !== "true";
      more.setAttribute("aria-expanded", String(open));
      this.form.toggleAttribute("data-open", open);
      more.textContent = open ? "fold" : "and so on …";
    } }, "and so on …");
    this.form.replaceChildren(
      blank("In the manner of ", this.fields.manner, ","), " ", more, " ",
      make("span", { class: "rest" }, blank("for ", this.fields.instrument, ","), " ", blank("", this.fields.transpose, ","), " ",
        blank("in the hands of ", this.fields.level, ";"), " ", blank("signs read by ", this.fields.signs_by, ";"), " ",
        blank("", tempo, " quarters a minute,"), " ", blank("a′ at ", this.fields.a, ""), " ", blank("in ", this.fields.temperament, ";")), " ",
      blank("graced ", richness, this.output),
    );
    this.made = true;
  }

  turned(name, value) { this.desk.turn({ [name]: name === "a" ? Number(value) : value }); }
}
