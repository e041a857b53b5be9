// Hearing: stretches of sound from the server, laid end to end on the audio clock; the cursor reads the same clock.
import { ask, sound } from "./asking.js";

const BREATH = 0.35; // seconds between the plain and the ornamented phrase when heard in turn
const AHEAD = 2.5; // seconds before its start at which the next stretch is fetched at the latest
const $ = (id) => document.getElementById(id);

export class Hear {
  constructor(desk) {
    this.desk = desk;
    this.playing = null;
    $("play").addEventListener("click", () => (this.playing ? this.stop() : this.start()));
    for (const id of ["slow", "continuo"]) $(id).addEventListener("change", () => this.again());
    $("slow").addEventListener("input", () => { $("slowsaid").textContent = Number($("slow").value) === 100 ? "full tempo" : `${$("slow").value} % of it`; });
    $("what").addEventListener("change", () => this.again());
    $("loop").addEventListener("change", () => this.looped($("loop").checked));
  }

  get asked() { return { percent: $("slow").value, continuo: $("continuo").checked ? "1" : "0" }; }

  get what() { return document.querySelector("#what input:checked").value; }

  audio() {
    this.context ??= new AudioContext();
    if (this.context.state === "suspended") this.context.resume();
    return this.context;
  }

  // Looping begins with the phrase that sounds now, from its start; unlooped, the next one follows.
  looped(on) {
    const { playing } = this;
    if (!playing) return;
    if (on) this.again();
    else if (playing.loop) { playing.loop = false; playing.index += 1; }
  }

  // The work was changed: what is still to come is fetched anew.
  changed(really) { if (really && this.playing) this.again(); }

  again() { if (this.playing) this.start(this.playing.now?.stretch.index ?? this.playing.index ?? 0); }

  async start(from = null) {
    this.stop();
    const context = this.audio();
    const playing = (this.playing = { queue: [], sources: [], played: [], loop: $("loop").checked });
    this.button(true);
    try {
      const lists = await Promise.all((this.what === "turn" ? ["plain", "ornamented"] : [this.what]).map(async (what) =>
        (await ask("hear", { what, ...this.asked })).stretches.map((stretch) => ({ what, stretch }))));
      if (this.playing !== playing) return;
      playing.lists = lists;
      playing.index = from ?? this.beginning(lists[0]);
      playing.at = context.currentTime + 0.12;
      if ($("countin").checked && from === null) playing.at = this.countIn(lists[0][playing.index].stretch, playing.at, playing);
      this.follow(playing);
      await this.feed(playing);
    } catch (problem) { this.stop(); this.desk.fault(problem); }
  }

  // From the phrase of the note chosen, in the time through chosen; else from the start.
  beginning(list) {
    const note = this.desk.state.notes.find((one) => one.id === this.desk.chosen);
    if (!note) return 0;
    const found = list.findIndex(({ stretch }) => stretch.time === this.desk.time && stretch.start <= note.at && note.at < stretch.end);
    return Math.max(0, found);
  }

  countIn(stretch, at, playing) {
    const context = this.context;
    for (let beat = 0; beat < stretch.beats; beat += 1) {
      const click = context.createOscillator(), gain = context.createGain(), when = at + beat * stretch.beat;
      click.type = "triangle";
      click.frequency.value = beat ? 900 : 1250;
      gain.gain.setValueAtTime(0.0001, when);
      gain.gain.exponentialRampToValueAtTime(0.25, when + 0.004);
      gain.gain.exponentialRampToValueAtTime(0.0001, when + 0.09);
      click.connect(gain).connect(context.destination);
      click.start(when);
      click.stop(when + 0.12);
      playing.sources.push(click);
    }
    return at + stretch.beats * stretch.beat;
  }

  // Keep the clock fed: fetch the next stretch, lay it at its exact place, wait until the one after is due.
  async feed(playing) {
    const context = this.context;
    while (this.playing === playing && playing.index < playing.lists[0].length) {
      const group = playing.lists.map((list) => list[playing.index]);
      const buffers = await Promise.all(group.map(async ({ what, stretch }) =>
        context.decodeAudioData(await sound({ what, stretch: stretch.index, ...this.asked }))));
      if (this.playing !== playing) return;
      if (playing.at < context.currentTime) playing.at = context.currentTime + 0.05;
      group.forEach((item, n) => {
        const source = context.createBufferSource();
        source.buffer = buffers[n];
        source.connect(context.destination);
        source.start(playing.at);
        playing.sources.push(source);
        playing.played.push({ ...item, at: playing.at });
        playing.at += item.stretch.seconds + (group.length > 1 ? BREATH : 0);
      });
      if (!playing.loop) playing.index += 1;
      while (this.playing === playing && playing.at - context.currentTime > AHEAD) await pause(100);
    }
    while (this.playing === playing && context.currentTime < playing.at + 0.6) await pause(100);
    if (this.playing === playing) this.stop();
  }

  // Read the audio clock at every frame, and show the note that sounds now.
  follow(playing) {
    const tick = () => {
      if (this.playing !== playing) return;
      const late = this.context.outputLatency || 0;
      const now = this.context.currentTime - late;
      while (playing.played.length > 1 && playing.played[1].at <= now) playing.played.shift();
      const item = playing.played[0];
      if (item && item.at <= now) this.cursor(playing, item, now - item.at);
      requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
  }

  cursor(playing, item, seconds) {
    const notes = item.stretch.notes;
    let n = playing.item === item ? playing.n : -1;
    while (n + 1 < notes.length && notes[n + 1].at <= seconds + 0.005) n += 1;
    if (playing.item !== item) {
      playing.item = item;
      playing.now = item;
      this.desk.page.turnTo(item.stretch.time);
      const time = this.desk.state.shape.times.length > 1 ? (item.stretch.time === 1 ? ", first time" : ", again") : "";
      $("where").textContent = `from bar ${item.stretch.bar}${time}${playing.lists.length > 1 ? `: ${item.what}` : ""}`;
    }
    if (n >= 0 && (playing.n !== n || playing.shown !== notes[n])) {
      playing.shown = notes[n];
      document.body.dataset.sounding = notes[n].note;
      document.body.dataset.lag = (Math.round((seconds - notes[n].at) * 1000)).toString();
      this.desk.page.cursor(notes[n].note, item.stretch.time);
      this.desk.shape.mark(notes[n].page);
    }
    playing.n = n;
  }

  stop() {
    const { playing } = this;
    this.playing = null;
    for (const source of playing?.sources ?? []) { try { source.stop(); } catch { /* not yet begun */ } }
    this.desk.page?.cursor(null);
    delete document.body.dataset.sounding;
    $("where").textContent = "";
    this.button(false);
  }

  button(on) {
    $("play").setAttribute("aria-pressed", on ? "true" : "false");
    $("play").querySelector("use").setAttribute("href", on ? "#i-rest" : "#i-ear");
    $("play").querySelector("span").textContent = on ? "Pause" : "Listen";
  }

  // One note in its surroundings, as it is or as an option would have it.
  async note(note, time, option = null) {
    this.stop();
    const context = this.audio();
    try {
      const query = { note, time, what: "ornamented", ...this.asked };
      if (option !== null) query.option = option;
      const source = context.createBufferSource();
      source.buffer = await context.decodeAudioData(await sound(query));
      this.single?.stop();
      this.single = source;
      source.connect(context.destination);
      source.start();
    } catch (problem) { this.desk.fault(problem); }
  }
}

const pause = (milliseconds) => new Promise((done) => { setTimeout(done, milliseconds); });
